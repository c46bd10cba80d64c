package page

import (
	"fmt"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// entryLine is an entry as a sentence.
type entryLine struct {
	*sitelogv1.Entry
	// Sentence says what the entry says, without its note.
	Sentence string
}

// Wrong says whether the entry tells of trouble.
func (l entryLine) Wrong() bool {
	switch l.GetKind() {
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING:
		return true
	}
	return false
}

func entryLines(entries []*sitelogv1.Entry) []entryLine {
	lines := make([]entryLine, len(entries))
	for i, entry := range entries {
		lines[i] = entryLine{entry, sentence(entry)}
	}
	return lines
}

// newestPosition gives the largest position among the entries; 0 when there are none.
func newestPosition(entries []*sitelogv1.Entry) int32 {
	var newest int32
	for _, entry := range entries {
		newest = max(newest, entry.GetPosition())
	}
	return newest
}

func sentence(e *sitelogv1.Entry) string {
	switch e.GetKind() {
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED:
		return "Arrived: " + list(e.GetMarks())
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_PLACED:
		return "Placed: " + list(e.GetMarks())
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED:
		return "Damaged: " + list(e.GetMarks())
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING:
		return "Missing: " + list(e.GetMarks())
	case sitelogv1.EntryKind_ENTRY_KIND_BENT_ASSEMBLED:
		return e.GetAssembly() + " is put together"
	case sitelogv1.EntryKind_ENTRY_KIND_BENT_RAISED:
		return e.GetAssembly() + " is raised"
	case sitelogv1.EntryKind_ENTRY_KIND_MOVE_STARTED:
		return fmt.Sprintf("Move %d began", e.GetMove())
	case sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE:
		return fmt.Sprintf("Move %d is done", e.GetMove())
	case sitelogv1.EntryKind_ENTRY_KIND_DELAY:
		return "Delay of " + minutes(e.GetDelayMinutes()) + ": " + word(e.GetCause())
	case sitelogv1.EntryKind_ENTRY_KIND_CORRECTION:
		return "Correction: entry “" + e.GetCorrects() + "” no longer counts"
	default:
		return "Note"
	}
}

// minutes writes a length of time as hours and minutes.
func minutes(n int32) string {
	switch {
	case n < 60:
		return fmt.Sprintf("%d min", n)
	case n%60 == 0:
		return fmt.Sprintf("%d h", n/60)
	}
	return fmt.Sprintf("%d h %d min", n/60, n%60)
}
