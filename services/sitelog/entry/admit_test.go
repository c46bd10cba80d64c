package entry_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/sitelog/entry"
)

func TestAdmit(t *testing.T) {
	t.Parallel()
	old := note("old")
	known := map[string]entry.Known{
		"old":  {Digest: old.Digest(), Kind: entry.Note, Position: 4},
		"gone": {Digest: "d", Kind: entry.Correction, Position: 5},
	}
	correct := func(id, of string) entry.Entry {
		return entry.Entry{ID: id, Kind: entry.Correction, OccurTime: now, Corrects: of}
	}
	batch := []entry.Entry{
		note("a"), old, with(old, func(e *entry.Entry) { e.Note = "Something else." }), note("b c"), note("a"),
		with(note("a"), func(e *entry.Entry) { e.Note = "Twice." }), correct("c1", "a"), correct("c2", "nobody"), correct("c3", "gone"),
		correct("c4", "c1"), correct("c5", "late"), note("late"), note("z"),
	}
	outcomes, taken := entry.Admit(batch, known, "person-1", now, 7)
	want := []entry.Outcome{
		{ID: "a", Fate: entry.Taken, Position: 8},
		{ID: "old", Fate: entry.Repeated, Position: 4},
		{ID: "old", Fate: entry.Refused, Fault: &entry.Fault{Field: "id"}},
		{ID: "b c", Fate: entry.Refused, Fault: &entry.Fault{Field: "id"}},
		{ID: "a", Fate: entry.Repeated, Position: 8},
		{ID: "a", Fate: entry.Refused, Fault: &entry.Fault{Field: "id"}},
		{ID: "c1", Fate: entry.Taken, Position: 9},
		{ID: "c2", Fate: entry.Refused, Fault: &entry.Fault{Field: "corrects"}},
		{ID: "c3", Fate: entry.Refused, Fault: &entry.Fault{Field: "corrects"}},
		{ID: "c4", Fate: entry.Refused, Fault: &entry.Fault{Field: "corrects"}},
		{ID: "c5", Fate: entry.Refused, Fault: &entry.Fault{Field: "corrects"}},
		{ID: "late", Fate: entry.Taken, Position: 10},
		{ID: "z", Fate: entry.Taken, Position: 11},
	}
	if diff := cmp.Diff(want, outcomes, cmpopts.IgnoreFields(entry.Fault{}, "Message")); diff != "" {
		t.Errorf("outcomes (-want +got):\n%s", diff)
	}
	for i, e := range taken {
		if e.Position != int32(8+i) || e.Author != "person-1" || !e.AcceptTime.Equal(now) {
			t.Errorf("taken %d: position %d, author %s, accepted %s", i, e.Position, e.Author, e.AcceptTime)
		}
	}
	if len(taken) != 4 {
		t.Errorf("%d taken, want 4", len(taken))
	}
	if diff := cmp.Diff([]string{"a", "old", "c1", "c2", "nobody", "c3", "gone", "c4", "c5", "late", "z"}, entry.Mentioned(batch)); diff != "" {
		t.Errorf("mentioned (-want +got):\n%s", diff)
	}
}

// TestAdmitIsSafeToRepeat posts random batches with repeats: each good id is taken exactly once, positions have no gaps,
// and whatever was taken is a repeat ever after.
func TestAdmitIsSafeToRepeat(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		known := map[string]entry.Known{}
		var last int32
		for range rapid.IntRange(1, 10).Draw(t, "batches") {
			var batch []entry.Entry
			for range rapid.IntRange(0, 8).Draw(t, "entries") {
				e := note(fmt.Sprint("e", rapid.IntRange(0, 12).Draw(t, "id")))
				e.Note = rapid.SampledFrom([]string{"one", "two", ""}).Draw(t, "note")
				batch = append(batch, e)
			}
			outcomes, taken := entry.Admit(batch, known, "p", now, last)
			for _, e := range taken {
				if e.Position != last+1 {
					t.Fatalf("position %d after %d", e.Position, last)
				}
				if _, twice := known[e.ID]; twice {
					t.Fatalf("%s is taken twice", e.ID)
				}
				last = e.Position
				known[e.ID] = entry.Known{Digest: e.Digest(), Kind: e.Kind, Position: e.Position}
			}
			again, none := entry.Admit(batch, known, "p", now, last)
			if len(none) > 0 {
				t.Fatalf("a repeat takes %d entries", len(none))
			}
			for i, o := range outcomes {
				if (o.Fate == entry.Refused) != (again[i].Fate == entry.Refused) || o.Position != again[i].Position {
					t.Fatalf("first %v, repeated %v", o, again[i])
				}
			}
		}
	})
}
