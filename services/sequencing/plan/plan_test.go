package plan_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/raising"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

func raise(t testing.TB, f *frame.Frame) *plan.Raising {
	t.Helper()
	r, err := plan.Make(t.Context(), f, site(), crew())
	if err != nil {
		t.Fatalf("no raising: %v", err)
	}
	return r
}

// Two bents, a girt with two braces in each wall, purlins and a ridge beam: what a raising lead would do, read
// off the joints.
func TestTwoBents(t *testing.T) {
	t.Parallel()
	k := numbers(2)
	k.PurlinsPerSlope = 1
	r := raise(t, roughFrame(t, k))
	type row struct {
		Marks   string
		Closing raising.Closing
		Machine work.Machine
		After   []int
		Braces  int
	}
	var got []row
	for _, m := range r.Moves {
		var after []int
		for _, b := range m.After {
			after = append(after, b.Move)
		}
		got = append(got, row{strings.Join(m.Marks, " "), m.Closing, m.Machine, after, len(m.Braces)})
	}
	want := []row{
		{"B-1A B-1B K-1 P-1A P-1B R-1A R-1B S-1A S-1B T-1", raising.Stand, work.Crane, nil, 4},
		{"G-A12 WB-A1E WB-A2W", raising.StartAllAndDrawUp, work.Telehandler, []int{1}, 0},
		{"G-B12 WB-B1E WB-B2W", raising.StartAllAndDrawUp, work.Telehandler, []int{1}, 0},
		{"B-2A B-2B K-2 P-2A P-2B R-2A R-2B S-2A S-2B T-2", raising.StartAllAndDrawUp, work.Crane, []int{2, 3}, 2},
		{"PU-A1-12", raising.DropIn, work.Telehandler, []int{1, 4}, 0},
		{"PU-B1-12", raising.DropIn, work.Telehandler, []int{1, 4}, 0},
		{"RB-12", raising.DropIn, work.Crane, []int{1, 4}, 0},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("moves (-want +got):\n%s", diff)
	}
	if wrong := replay(roughFrame(t, k), r); len(wrong) > 0 {
		t.Errorf("the replay refuses it: %s", strings.Join(wrong, "; "))
	}
}

func TestInstructions(t *testing.T) {
	t.Parallel()
	k := numbers(2)
	k.PurlinsPerSlope = 1
	r := raise(t, roughFrame(t, k))
	for _, tc := range []struct {
		move int
		want string
	}{
		{1, "Stand bent-1 on the deck and plumb it. Set 4 temporary braces before letting go; their rule is simple and not checked for standing."},
		{2, "Slide girt G-A12 with knee braces WB-A1E and WB-A2W along −X into post P-1A; start all tenons, then draw up. " +
			"Put these together and peg them before lifting: the last of them would not come home by itself, level or from above. Prop its free end until move 4 takes it."},
		{4, "Stand bent-2 plumb, the length of a tenon short of its place; start all 4 tenons onto girts G-A12 and G-B12, and knee braces WB-A2W and WB-B2W; " +
			"then draw it up along −X, its feet sliding on the deck. Set 2 temporary braces before letting go; their rule is simple and not checked for standing."},
		{5, "Let purlin PU-A1-12 down towards +Y and 50° downwards into principal rafters R-1A and R-2A."},
		{7, "Let ridge beam RB-12 down into king posts K-1 and K-2."},
	} {
		if diff := cmp.Diff(tc.want, r.Moves[tc.move-1].Instruction); diff != "" {
			t.Errorf("move %d (-want +got):\n%s", tc.move, diff)
		}
	}
	if got, want := r.Moves[3].After[0].Reason,
		"With bent-2 in place girt G-A12 with knee braces WB-A1E and WB-A2W could not come home: joints G-A12.east and WB-A2W.post would be in the way."; got != want {
		t.Errorf("reason %q, want %q", got, want)
	}
}

// Minutes and hours worked by hand from the rates: see each line.
func TestHours(t *testing.T) {
	t.Parallel()
	k := numbers(2)
	k.PurlinsPerSlope = 1
	r := raise(t, roughFrame(t, k))
	want := []float64{
		20 + 0*6 + 4*5, // crane, no joint with another piece, four braces
		15 + 2*6,       // telehandler: girt and brace into the post
		15 + 2*6,
		20 + 4*6 + 2*5, // crane, two girts and two braces
		15 + 2*6, 15 + 2*6,
		20 + 2*6, // the ridge beam is beyond the telehandler's 6 m
	}
	crane, all := 60.0, 60.0 // setting up the crane
	for i, m := range r.Moves {
		if m.Minutes != want[i] {
			t.Errorf("move %d: %g minutes, want %g", m.Number, m.Minutes, want[i])
		}
		all += want[i]
		if m.Machine == work.Crane {
			crane += want[i]
		}
	}
	if math.Abs(r.CraneHours-crane/60) > 1e-12 || math.Abs(r.TotalHours-all/60) > 1e-12 {
		t.Errorf("%g crane hours of %g, want %g of %g", r.CraneHours, r.TotalHours, crane/60, all/60)
	}
}

// The masses of the moves add up to the mass of the frame.
func TestMassesAddUp(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, numbers(4))
	all := make([]int, len(f.Timbers()))
	for i := range all {
		all[i] = i
	}
	want, _ := f.Weigh(all)
	sum := 0.0
	for _, m := range raise(t, f).Moves {
		sum += m.MassKG
	}
	if math.Abs(sum-want) > 1e-6*want {
		t.Errorf("moves weigh %g kg, the frame %g kg", sum, want)
	}
}

func TestWithoutCrane(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, numbers(2))
	r, err := plan.Make(t.Context(), f, plan.Site{}, work.Default())
	if err != nil {
		t.Fatal(err)
	}
	first := r.Moves[0]
	if first.Machine != work.Crane || first.Missing == "" || !strings.Contains(first.Instruction, "no crane is planned") {
		t.Errorf("first move by %v: %s", first.Machine, first.Instruction)
	}
	cautions := strings.Join(r.Cautions(), " ")
	for _, want := range []string{"ask for a crane", "not checked for standing", "outline of the deck"} {
		if !strings.Contains(cautions, want) {
			t.Errorf("cautions do not say %q: %s", want, cautions)
		}
	}
	pole := work.Default()
	pole.GinPoleKG = 2000
	r, err = plan.Make(t.Context(), f, plan.Site{}, pole)
	if err != nil {
		t.Fatal(err)
	}
	if m := r.Moves[0]; m.Machine != work.GinPole || m.Missing != "" || r.CraneHours != 0 {
		t.Errorf("with a gin pole: %v, missing %q, %g crane hours", m.Machine, m.Missing, r.CraneHours)
	}
}

// kingOf draws the numbers of a rough frame.
func kingOf(t *rapid.T) rough.King {
	k := rough.King{
		Title:           "Drawn",
		BentCount:       rapid.IntRange(2, 9).Draw(t, "bents"),
		SpanMM:          rapid.Float64Range(4500, 12_000).Draw(t, "span"),
		PostHeightMM:    rapid.Float64Range(2300, 5500).Draw(t, "height"),
		RoofPitchDeg:    rapid.Float64Range(25, 60).Draw(t, "pitch"),
		PurlinsPerSlope: rapid.IntRange(0, 6).Draw(t, "purlins"),
		Struts:          rapid.Bool().Draw(t, "struts"),
		Species:         "douglas-fir", Grade: "No.1", MoisturePercent: 30,
		Planed: rapid.Bool().Draw(t, "planed"),
	}
	if rapid.Bool().Draw(t, "girts") {
		k.GirtDropMM = rapid.Float64Range(50, 900).Draw(t, "drop")
	}
	if rapid.Bool().Draw(t, "braces") {
		k.BraceLegMM = rapid.Float64Range(500, 1200).Draw(t, "leg")
		k.WallBraces = rapid.Bool().Draw(t, "wall braces")
	}
	k.BaySpacingsMM = rapid.SliceOfN(rapid.Float64Range(2400, 6000), k.BentCount-1, k.BentCount-1).Draw(t, "bays")
	return k
}

// Every rough frame can be raised, and the replay accepts the order; with its sticks loose too.
func TestRoughFramesCanBeRaised(t *testing.T) {
	t.Parallel()
	made := 0
	rapid.Check(t, func(r *rapid.T) {
		d, err := rough.Make(kingOf(r))
		if err != nil {
			return // numbers that do not make a frame are refused there
		}
		made++
		if rapid.IntRange(0, 2).Draw(r, "loose") == 0 {
			d.Assemblies = nil
			for i := range d.Timbers {
				d.Timbers[i].Assembly = ""
			}
		}
		f, err := frame.Parse(d)
		if err != nil {
			r.Fatalf("parse: %v", err)
		}
		got, err := plan.Make(r.Context(), f, site(), crew())
		if err != nil {
			r.Fatalf("no raising: %v", err)
		}
		if wrong := replay(f, got); len(wrong) > 0 {
			r.Fatalf("the replay refuses it: %s", strings.Join(wrong, "; "))
		}
		for _, m := range got.Moves {
			for _, b := range m.Braces {
				slope := math.Atan2(b.Top.Z-b.Foot.Z, math.Hypot(b.Top.X-b.Foot.X, b.Top.Y-b.Foot.Y)) * 180 / math.Pi
				if slope < 44.9 || slope > 60.1 || b.Foot.Z != 0 {
					r.Fatalf("move %d: brace from %v to %v, %.1f°", m.Number, b.Top, b.Foot, slope)
				}
			}
			if m.Instruction == "" || m.Minutes <= 0 || m.Machine == work.Unspecified {
				r.Fatalf("move %d is not whole: %+v", m.Number, m)
			}
		}
	})
	if made == 0 {
		t.Error("no numbers made a frame")
	}
}

// A bent on tall posts without wall braces leans out and comes upright.
func TestTallBentsLean(t *testing.T) {
	t.Parallel()
	k := numbers(3)
	k.PostHeightMM, k.WallBraces, k.GirtDropMM = 5000, false, 300
	r := raise(t, roughFrame(t, k))
	lean := 0
	for _, m := range r.Moves {
		if m.Closing == raising.LeanAndComeUpright {
			lean++
			if !strings.Contains(m.Instruction, "leaning out by") {
				t.Errorf("instruction %q does not say how far it leans", m.Instruction)
			}
		}
	}
	if lean != 2 {
		t.Errorf("%d bents lean, want the second and the third", lean)
	}
}

func TestDowelledBentsAreRefused(t *testing.T) {
	t.Parallel()
	d := roughFrame(t, numbers(3)).Draft()
	for i := range d.Joints {
		if d.Joints[i].Kind == joinery.PostBaseBearing {
			d.Joints[i].Kind = joinery.PostBaseDowelled
		}
	}
	_, err := plan.Make(t.Context(), frametest.Parse(t, d), site(), crew())
	var lock *raising.Locked
	if !errors.As(err, &lock) || !lock.Deck {
		t.Fatalf("error %v, want a lock with the deck", err)
	}
	if !strings.Contains(err.Error(), "only comes down") {
		t.Errorf("%q does not say what to do", err)
	}
}

// Three sticks in an assembly, each trapped by the next: the assembly cannot be put together flat.
func TestLockedAssemblyIsNamed(t *testing.T) {
	t.Parallel()
	d := roughFrame(t, numbers(2)).Draft()
	for i := range d.Joints {
		// The brace's head leaves the tie beam downwards. Lapped at its foot it leaves the post square to the bent,
		// and the post's top, forked over the end of the tie beam, leaves along the beam.
		switch j := &d.Joints[i]; j.ID {
		case "B-1A.post":
			j.Kind, j.Tenon, j.Pegs = joinery.Lap, nil, nil
		case "P-1A.top":
			j.Kind = joinery.ForkAndTongue
		}
	}
	_, err := plan.Make(t.Context(), frametest.Parse(t, d), site(), crew())
	var lock *raising.Locked
	if !errors.As(err, &lock) || lock.Flat != "bent-1" {
		t.Fatalf("error %v, want a lock in bent-1", err)
	}
	if diff := cmp.Diff([]string{"B-1A", "P-1A", "T-1"}, lock.Pieces); diff != "" {
		t.Errorf("pieces (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"B-1A.post", "B-1A.tie", "P-1A.top"}, lock.Joints); diff != "" {
		t.Errorf("joints (-want +got):\n%s", diff)
	}
}

func TestDeckOutlineKeepsFeetOnDeck(t *testing.T) {
	t.Parallel()
	k := numbers(3)
	deck := []geom.Vec{geom.V(-200, -200, 0), geom.V(7800, -200, 0), geom.V(7800, 7500, 0), geom.V(-200, 7500, 0)}
	r, err := plan.Make(t.Context(), roughFrame(t, k), plan.Site{Crane: true, Deck: deck}, crew())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range r.Moves {
		for _, b := range m.Braces {
			on := b.Foot.X > -200 && b.Foot.X < 7800 && b.Foot.Y > -200 && b.Foot.Y < 7500
			if !on {
				t.Errorf("move %d: foot %v of %s lies off the deck: %s", m.Number, b.Foot, b.Mark, b.Rule)
			}
		}
	}
	if !r.DeckKnown {
		t.Error("the deck is not known")
	}
}
