package page

import (
	"fmt"
	"slices"
	"time"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// entryLine is an entry as a sentence.
type entryLine struct {
	*sitelogv1.Entry
	// Sentence says what the entry says, without its note.
	Sentence string
	// Corrected says that a later entry has put this one right, so that it no longer counts.
	Corrected bool
}

// Wrong says whether the entry tells of trouble that still counts.
func (l entryLine) Wrong() bool {
	switch l.GetKind() {
	case sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING:
		return !l.Corrected
	}
	return false
}

// Correctable says whether the entry can be said to have been wrong: corrections cannot, and once is
// enough.
func (l entryLine) Correctable() bool {
	return !l.Corrected && l.GetKind() != sitelogv1.EntryKind_ENTRY_KIND_CORRECTION
}

// At is when it happened, as addresses and forms name it.
func (l entryLine) At() string { return l.GetOccurTime().AsTime().Format(time.RFC3339Nano) }

// entryLines writes entries as sentences. Corrections among them, and those beside them, strike the
// entries that they correct.
func entryLines(entries []*sitelogv1.Entry, corrections ...*sitelogv1.Entry) []entryLine {
	corrected := map[string]bool{}
	known := map[string]*sitelogv1.Entry{}
	for _, entry := range entries {
		known[entry.GetId()] = entry
	}
	for _, entry := range slices.Concat(entries, corrections) {
		if entry.GetKind() == sitelogv1.EntryKind_ENTRY_KIND_CORRECTION {
			corrected[entry.GetCorrects()] = true
		}
	}
	lines := make([]entryLine, len(entries))
	for i, entry := range entries {
		lines[i] = entryLine{Entry: entry, Sentence: sentence(entry), Corrected: corrected[entry.GetId()]}
		if was := known[entry.GetCorrects()]; entry.GetKind() == sitelogv1.EntryKind_ENTRY_KIND_CORRECTION && was != nil {
			lines[i].Sentence = "Correction: “" + fullSentence(was) + "” no longer counts"
		}
	}
	return lines
}

// fullSentence says what an entry says, with its note.
func fullSentence(e *sitelogv1.Entry) string {
	text := sentence(e)
	if note := e.GetNote(); note != "" {
		text += ". " + note
	}
	return text
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
		return "Correction: an earlier entry no longer counts"
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
