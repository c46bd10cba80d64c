package progress_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/sitelog/entry"
	"github.com/pikepole/pikepole/services/sitelog/progress"
)

var morning = time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)

// shed is two bents of three pieces, a truss, and two loose girts.
var shed = progress.Plan{
	Revision: 2,
	Pieces:   []string{"P1", "P2", "T1", "P3", "P4", "T2", "R1", "G1", "G2"},
	Assemblies: []progress.Assembly{
		{ID: "bent-1", Bent: true, Marks: []string{"P1", "P2", "T1"}},
		{ID: "bent-2", Bent: true, Marks: []string{"P3", "P4", "T2"}},
		{ID: "truss-1", Marks: []string{"R1"}},
	},
	Moves: []progress.Move{
		{Number: 1, Assembly: "bent-1", Marks: []string{"P1", "P2", "T1"}},
		{Number: 2, Marks: []string{"G1"}},
		{Number: 3, Assembly: "bent-2", Marks: []string{"P3", "P4", "T2"}},
		{Number: 4, Marks: []string{"G2"}},
		{Number: 5, Assembly: "truss-1", Marks: []string{"R1"}},
	},
}

// day numbers entries as a log does, a minute apart.
func day(entries ...entry.Entry) []entry.Accepted {
	var out []entry.Accepted
	for i, e := range entries {
		if e.ID == "" {
			e.ID = fmt.Sprint("e", i+1)
		}
		if e.OccurTime.IsZero() {
			e.OccurTime = morning.Add(time.Duration(i) * time.Minute)
		}
		out = append(out, entry.Accepted{Entry: e, Position: int32(i + 1)})
	}
	return out
}

func pieces(kind entry.Kind, marks ...string) entry.Entry {
	return entry.Entry{Kind: kind, Marks: marks}
}
func bent(kind entry.Kind, id string) entry.Entry { return entry.Entry{Kind: kind, Assembly: id} }
func move(kind entry.Kind, number int32) entry.Entry {
	return entry.Entry{Kind: kind, Move: number, Revision: 2}
}

func delay(cause entry.Cause, minutes int32) entry.Entry {
	return entry.Entry{Kind: entry.Delay, Cause: cause, DelayMinutes: minutes}
}
func correction(of string) entry.Entry { return entry.Entry{Kind: entry.Correction, Corrects: of} }
func at(e entry.Entry, after time.Duration) entry.Entry {
	e.OccurTime = morning.Add(after)
	return e
}

func fold(plan progress.Plan, entries ...entry.Entry) progress.Progress {
	var log progress.Log
	log.Add(day(entries...)...)
	return log.Fold(plan)
}

// TestFold counts by hand. Totals that do not change are left out of the wanted values and filled in.
func TestFold(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		entries []entry.Entry
		want    progress.Progress
	}{
		{"nothing yet", nil, progress.Progress{NextMove: 1}},
		{
			"pieces arrive, one truck counted twice",
			[]entry.Entry{pieces(entry.PiecesArrived, "P1", "P2", "P1"), pieces(entry.PiecesArrived, "P2", "G1")},
			progress.Progress{Arrived: 3, NextMove: 1},
		},
		{
			"a missing piece does not count as arrived until it comes",
			[]entry.Entry{pieces(entry.PiecesArrived, "P1", "P2", "G1"), pieces(entry.PiecesMissing, "P2", "G1"), pieces(entry.PiecesArrived, "G1")},
			progress.Progress{Arrived: 2, Missing: []string{"P2"}, NextMove: 1},
		},
		{
			"by the time of the event, not of the posting",
			[]entry.Entry{at(pieces(entry.PiecesArrived, "P2"), time.Hour), at(pieces(entry.PiecesMissing, "P2"), 0)},
			progress.Progress{Arrived: 1, NextMove: 1},
		},
		{
			"damaged until it is in its place",
			[]entry.Entry{pieces(entry.PiecesDamaged, "G2", "G1"), pieces(entry.PiecesPlaced, "G1")},
			progress.Progress{Arrived: 1, Placed: 1, Damaged: []string{"G2"}, MovesDone: 1, NextMove: 1},
		},
		{
			"a bent assembled, then raised with all its pieces",
			[]entry.Entry{bent(entry.BentAssembled, "bent-2"), bent(entry.BentAssembled, "bent-1"), bent(entry.BentRaised, "bent-1")},
			progress.Progress{Arrived: 3, Placed: 3, Assembled: 2, Raised: 1, MovesDone: 1, NextMove: 2},
		},
		{
			"a truss places its piece and is no bent",
			[]entry.Entry{bent(entry.BentRaised, "truss-1")},
			progress.Progress{Arrived: 1, Placed: 1, MovesDone: 1, NextMove: 1},
		},
		{
			"moves: begun is not done, done twice is once",
			[]entry.Entry{move(entry.MoveStarted, 1), move(entry.MoveDone, 2), move(entry.MoveDone, 2)},
			progress.Progress{Arrived: 1, Placed: 1, MovesDone: 1, NextMove: 1},
		},
		{
			"the move of a bent raises it",
			[]entry.Entry{move(entry.MoveDone, 1)},
			progress.Progress{Arrived: 3, Placed: 3, Assembled: 1, Raised: 1, MovesDone: 1, NextMove: 2},
		},
		{
			"everything stands",
			[]entry.Entry{move(entry.MoveDone, 1), move(entry.MoveDone, 2), move(entry.MoveDone, 3), move(entry.MoveDone, 4), move(entry.MoveDone, 5)},
			progress.Progress{Arrived: 9, Placed: 9, Assembled: 2, Raised: 2, MovesDone: 5},
		},
		{
			"delays by cause: 30 + 45 minutes of weather are 1.25 hours",
			[]entry.Entry{delay(entry.Crew, 20), delay(entry.Weather, 30), delay(entry.Weather, 45)},
			progress.Progress{Delays: []progress.Delay{{Cause: entry.Weather, Minutes: 75}, {Cause: entry.Crew, Minutes: 20}}, NextMove: 1},
		},
		{
			"a correction takes back what it corrects, even when it is said to have happened before",
			[]entry.Entry{bent(entry.BentRaised, "bent-1"), delay(entry.Fit, 60), pieces(entry.PiecesDamaged, "G1"), at(correction("e1"), -time.Hour), correction("e2"), correction("e3")},
			progress.Progress{NextMove: 1},
		},
	} {
		got := fold(shed, c.entries...)
		c.want.Pieces, c.want.Bents, c.want.Moves, c.want.Entries = 9, 2, 5, len(c.entries)
		if diff := cmp.Diff(c.want, got, cmpopts.IgnoreFields(progress.Progress{}, "Newest"), cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
	if h := fold(shed, delay(entry.Weather, 30), delay(entry.Weather, 45)).Delays[0].Hours(); h != 1.25 {
		t.Errorf("hours = %v, want 1.25", h)
	}
	if n := fold(shed, at(delay(entry.Fit, 1), time.Hour), delay(entry.Fit, 1)).Newest; !n.Equal(morning.Add(time.Hour)) {
		t.Errorf("newest = %s", n)
	}
}

func TestFoldRemarks(t *testing.T) {
	t.Parallel()
	older := move(entry.MoveDone, 1)
	older.Revision = 1
	newer := move(entry.MoveDone, 1)
	newer.Revision = 3
	var many []string
	for i := range 25 {
		many = append(many, fmt.Sprintf("X%02d", i))
	}
	for _, c := range []struct {
		name    string
		plan    progress.Plan
		entries []entry.Entry
		want    []string
	}{
		{"unknown marks", shed, []entry.Entry{pieces(entry.PiecesArrived, "Z9", "P1", "A1"), pieces(entry.PiecesPlaced, "Z9")}, []string{"pieces A1, Z9"}},
		{"many unknown marks", shed, []entry.Entry{pieces(entry.PiecesArrived, many...)}, []string{"X19 and 5 more"}},
		{"unknown assembly", shed, []entry.Entry{bent(entry.BentRaised, "bent-7")}, []string{"assemblies bent-7"}},
		{"unknown move", shed, []entry.Entry{move(entry.MoveDone, 6), move(entry.MoveStarted, 12)}, []string{"moves 6, 12"}},
		{"older revision", shed, []entry.Entry{older, older}, []string{"2 entries of moves of older revisions"}},
		{"newer revision", shed, []entry.Entry{newer}, []string{"1 entry of moves of revisions that do not exist"}},
		{"no frame", progress.Plan{}, []entry.Entry{pieces(entry.PiecesArrived, "P1"), delay(entry.Fit, 5)}, []string{"1 entry of pieces, bents or moves"}},
		{"no raising order", progress.Plan{Revision: 2, NoMoves: "J1 and J2 lock one another."}, []entry.Entry{move(entry.MoveDone, 1)}, []string{"J1 and J2 lock one another.", "1 entry of moves"}},
		{"damaged in place", shed, []entry.Entry{pieces(entry.PiecesPlaced, "P1"), pieces(entry.PiecesDamaged, "P1")}, []string{"damaged after being placed: pieces P1"}},
		{"missing in place", shed, []entry.Entry{pieces(entry.PiecesPlaced, "P1"), pieces(entry.PiecesMissing, "P1")}, []string{"missing after being placed"}},
		{"nothing wrong", shed, []entry.Entry{move(entry.MoveDone, 1)}, nil},
	} {
		got := fold(c.plan, c.entries...)
		if len(got.Remarks) != len(c.want) {
			t.Errorf("%s: remarks %q, want %d", c.name, got.Remarks, len(c.want))
			continue
		}
		for i, says := range c.want {
			if !strings.Contains(got.Remarks[i], says) {
				t.Errorf("%s: remark %q does not say %q", c.name, got.Remarks[i], says)
			}
		}
		if c.name != "nothing wrong" && got.MovesDone != 0 {
			t.Errorf("%s: %d moves are counted as done", c.name, got.MovesDone)
		}
	}
}

// drawEntry makes any entry that a log may hold, also about things that the plan does not have.
func drawEntry(t *rapid.T, i int) entry.Entry {
	e := entry.Entry{
		ID: fmt.Sprint("e", i), Kind: entry.Kind(rapid.IntRange(1, 11).Draw(t, "kind")),
		OccurTime: morning.Add(time.Duration(rapid.IntRange(0, 20).Draw(t, "minute")) * time.Minute),
	}
	switch e.Kind {
	case entry.PiecesArrived, entry.PiecesPlaced, entry.PiecesDamaged, entry.PiecesMissing:
		e.Marks = rapid.SliceOfN(rapid.SampledFrom(append(slices.Clone(shed.Pieces), "X1", "X2")), 1, 4).Draw(t, "marks")
	case entry.BentAssembled, entry.BentRaised:
		e.Assembly = rapid.SampledFrom([]string{"bent-1", "bent-2", "truss-1", "bent-9"}).Draw(t, "assembly")
	case entry.MoveStarted, entry.MoveDone:
		e.Move, e.Revision = rapid.Int32Range(1, 7).Draw(t, "move"), rapid.Int32Range(1, 3).Draw(t, "revision")
	case entry.Delay:
		e.Cause, e.DelayMinutes = entry.Cause(rapid.IntRange(1, 7).Draw(t, "cause")), rapid.Int32Range(1, 1440).Draw(t, "minutes")
	case entry.Correction:
		if i == 0 {
			e.Kind, e.Note = entry.Note, "first"
			break
		}
		e.Corrects = fmt.Sprint("e", rapid.IntRange(0, i-1).Draw(t, "corrects"))
	}
	return e
}

// TestFoldDoesNotDependOnBatches splits a log anyhow, in any order, with anything repeated: the progress is the same.
func TestFoldDoesNotDependOnBatches(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var entries []entry.Accepted
		for i := range rapid.IntRange(0, 40).Draw(t, "entries") {
			entries = append(entries, entry.Accepted{Entry: drawEntry(t, i), Position: int32(i + 1)})
		}
		var whole progress.Log
		whole.Add(entries...)
		want := whole.Fold(shed)

		var parts progress.Log
		for _, i := range rapid.Permutation(numbers(len(entries))).Draw(t, "order") {
			parts.Add(entries[i])
			if rapid.Bool().Draw(t, "repeat") {
				parts.Add(entries[:i+1]...)
			}
			if rapid.Bool().Draw(t, "look") {
				parts.Fold(shed)
			}
		}
		if diff := cmp.Diff(want, parts.Fold(shed)); diff != "" {
			t.Fatalf("in parts it comes to something else (-whole +parts):\n%s", diff)
		}
		whole.Add(entries...)
		if diff := cmp.Diff(want, whole.Fold(shed)); diff != "" {
			t.Fatalf("repeats change it (-once +twice):\n%s", diff)
		}
	})
}

// TestFoldStaysInBounds holds what every reader takes for granted.
func TestFoldStaysInBounds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var log progress.Log
		for i := range rapid.IntRange(0, 40).Draw(t, "entries") {
			log.Add(entry.Accepted{Entry: drawEntry(t, i), Position: int32(i + 1)})
		}
		p := log.Fold(shed)
		if p.Placed > p.Arrived || p.Arrived+len(p.Missing) > p.Pieces || p.Raised > p.Assembled || p.Assembled > p.Bents {
			t.Fatalf("counts contradict one another: %+v", p)
		}
		if (p.NextMove == 0) != (p.MovesDone == p.Moves) {
			t.Fatalf("next move %d with %d of %d done", p.NextMove, p.MovesDone, p.Moves)
		}
	})
}

func numbers(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}
