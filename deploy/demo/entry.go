package demo

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// writer turns lines of a job's file into entries about its frame.
type writer struct {
	frame    *framev1.Frame
	order    *sequencingv1.Raising
	revision int32
	// start is when the demonstration was first loaded, in the site's time zone.
	start time.Time
}

func (w writer) write(lines []entryLine) ([]*sitelogv1.Entry, error) {
	var entries []*sitelogv1.Entry
	for _, l := range lines {
		some, err := w.expand(l)
		if err != nil {
			return nil, fmt.Errorf("entry %s: %w", l.ID, err)
		}
		entries = append(entries, some...)
	}
	return entries, nil
}

// expand makes one entry of a line, or one for each of its assemblies or moves.
func (w writer) expand(l entryLine) ([]*sitelogv1.Entry, error) {
	kind, ok := sitelogv1.EntryKind_value[l.Kind]
	if !ok {
		return nil, fmt.Errorf("there is no kind %s", l.Kind)
	}
	when, err := w.when(l)
	if err != nil {
		return nil, err
	}
	marks, err := w.marks(l.Pieces)
	if err != nil {
		return nil, err
	}
	entry := func(suffix string, after time.Duration) *sitelogv1.Entry {
		return &sitelogv1.Entry{
			Id: l.ID + suffix, Kind: sitelogv1.EntryKind(kind), OccurTime: timestamppb.New(when.Add(after)), Marks: marks,
			Cause: sitelogv1.DelayCause(sitelogv1.DelayCause_value[l.Cause]), DelayMinutes: l.DelayMinutes, Note: l.Note, Corrects: l.Corrects,
		}
	}
	var entries []*sitelogv1.Entry
	for _, n := range l.Assemblies {
		if n < 1 || n > len(w.frame.GetAssemblies()) {
			return nil, fmt.Errorf("the frame has no assembly number %d", n)
		}
		e := entry(fmt.Sprintf("-%d", n), 0)
		e.Assembly = w.frame.GetAssemblies()[n-1].GetId()
		entries = append(entries, e)
	}
	if len(l.Moves) == 2 {
		for n := l.Moves[0]; n <= l.Moves[1]; n++ {
			e := entry(fmt.Sprintf("-%d", n), time.Duration((n-l.Moves[0])*l.EveryMinutes)*time.Minute)
			e.Move, e.Revision = int32(n), w.revision
			entries = append(entries, e)
		}
	}
	if len(entries) == 0 {
		entries = append(entries, entry("", 0))
	}
	return entries, nil
}

func (w writer) when(l entryLine) (time.Time, error) {
	clock, err := time.Parse("15:04", l.Clock)
	if err != nil {
		return time.Time{}, fmt.Errorf("clock: %w", err)
	}
	day := w.start.AddDate(0, 0, -l.DaysAgo)
	return time.Date(day.Year(), day.Month(), day.Day(), clock.Hour(), clock.Minute(), 0, 0, w.start.Location()), nil
}

func (w writer) marks(pieces []string) ([]string, error) {
	var marks []string
	for _, p := range pieces {
		var first, last int
		switch n, _ := fmt.Sscanf(p, "moves %d-%d", &first, &last); {
		case n == 2:
			for _, m := range w.order.GetMoves() {
				if int(m.GetNumber()) >= first && int(m.GetNumber()) <= last {
					marks = append(marks, m.GetMarks()...)
				}
			}
		case p == "assemblies":
			marks = append(marks, w.those(func(t *framev1.Timber) bool { return t.GetAssembly() != "" })...)
		case p == "loose":
			marks = append(marks, w.those(loose)...)
		case p == "last-loose":
			if all := w.those(loose); len(all) > 0 {
				marks = append(marks, all[len(all)-1])
			}
		default:
			marks = append(marks, p)
		}
	}
	if len(pieces) > 0 && len(marks) == 0 {
		return nil, fmt.Errorf("the frame has no pieces for %v", pieces)
	}
	return marks, nil
}

func loose(t *framev1.Timber) bool { return t.GetAssembly() == "" }

func (w writer) those(wanted func(*framev1.Timber) bool) []string {
	var marks []string
	for _, t := range w.frame.GetTimbers() {
		if wanted(t) {
			marks = append(marks, t.GetMark())
		}
	}
	return marks
}
