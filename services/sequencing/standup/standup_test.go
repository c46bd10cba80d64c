package standup_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
	"github.com/pikepole/pikepole/services/sequencing/standup"
)

const gravity = 9.80665

// king is a rough frame of three king-post bents.
func king(t testing.TB) *frame.Frame {
	t.Helper()
	return shape(t, func(*rough.King) {})
}

// shape is a rough frame of three bents of another shape.
func shape(t testing.TB, change func(k *rough.King)) *frame.Frame {
	t.Helper()
	k := rough.King{
		Title: "king", BentCount: 3, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: 2, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	}
	change(&k)
	return frametest.Rough(t, k)
}

// bent is the middle bent of a frame, with all its pegs in or none.
func bent(f *frame.Frame, pegged bool) standup.Problem {
	p := standup.Problem{Frame: f, Pieces: f.Members("bent-2"), Rules: standing.DefaultRules(), Pegged: make([]bool, len(f.Joints()))}
	for j := range p.Pegged {
		p.Pegged[j] = pegged
	}
	return p
}

func check(t testing.TB, p standup.Problem) *standup.Answer {
	t.Helper()
	a, err := standup.Check(context.Background(), p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The hook carries W·zcg/zpick while the bent stands on its feet and W when it hangs, at every tilt, each with the factor on the
// weight: equilibrium about the line of the feet, which the frame's own weights give.
func TestHookLoadIsThatOfEquilibrium(t *testing.T) {
	t.Parallel()
	f := king(t)
	p := bent(f, true)
	p.DynamicFactor = 1.1
	a := check(t, p)
	mass, center := f.Weigh(p.Pieces)
	weight := 1.1 * mass * gravity
	point := a.Points[0]
	height := f.Timbers()[point.Timber].Start.Z + point.FromStartMM*f.Axes(point.Timber).Axis.Z
	if height <= center.Z {
		t.Fatalf("the points are %.0f mm up, the center of gravity %.0f", height, center.Z)
	}
	if len(a.Steps) != 8 {
		t.Fatalf("%d steps", len(a.Steps))
	}
	for i, s := range a.Steps {
		want := weight * center.Z / height
		if s.Hanging {
			want = weight
		}
		// Tenons are weighed with their stick along its centre line here, and in their own places there.
		if math.Abs(s.HookN-want) > 0.01*want || math.Abs(s.HookN+s.BaseUpN-weight) > 1e-6*weight {
			t.Errorf("step %d: the hook carries %.0f N and the feet %.0f, want %.0f of %.0f", i, s.HookN, s.BaseUpN, want, weight)
		}
		if s.Hanging != (i == 7) || math.Abs(s.TiltDeg-min(90, 15*float64(i))) > 1e-9 {
			t.Errorf("step %d is at %v, hanging %v", i, s.TiltDeg, s.Hanging)
		}
		if i > 0 && i < 7 && s.BendingAcrossNM > a.Steps[i-1].BendingAcrossNM+1e-6 {
			t.Errorf("step %d bends more across its plane than the one before: %v", i, s.BendingAcrossNM)
		}
	}
	if upright := a.Steps[6]; upright.BendingAcrossNM > 0.05*a.Steps[0].BendingAcrossNM {
		t.Errorf("plumb, it bends across its plane with %v, flat with %v", upright.BendingAcrossNM, a.Steps[0].BendingAcrossNM)
	}
}

// Lifted flat by its rafters, a bent folds about its tie beam; strongbacks from the feet up to the slings bridge it, and with them it
// holds. Common practice: that is what strongbacks are for.
func TestStrongbacksKeepABentFromFolding(t *testing.T) {
	t.Parallel()
	f := king(t)
	a := check(t, bent(f, true))
	if a.Holds || a.Governing.Share <= 1 || !strings.Contains(a.Governing.Combination, "flat") {
		t.Fatalf("it holds by itself: %+v", a.Governing)
	}
	for _, r := range a.Remedies {
		if strings.Contains(r.Words, "straight up to the slings") {
			if !r.Holds || r.Governing.Share > 1 {
				t.Errorf("%s: %+v", r.Words, r.Governing)
			}
			return
		}
	}
	t.Errorf("no strongbacks among %+v", a.Remedies)
}

// Whatever its shape, a bent of sound timber finds two places for its slings and a way to be lifted, pegged or not.
func TestEveryBentCanBeLiftedSomehow(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(k *rough.King){
		"no struts": func(k *rough.King) { k.Struts = false }, "no braces": func(k *rough.King) { k.BraceLegMM, k.WallBraces = 0, false },
		"steep": func(k *rough.King) { k.RoofPitchDeg = 55 }, "flat": func(k *rough.King) { k.RoofPitchDeg = 25 },
		"planed oak": func(k *rough.King) { k.Species, k.Planed = "white-oak", true },
		"barn": func(k *rough.King) {
			k.SpanMM, k.PostHeightMM, k.RoofPitchDeg, k.BraceLegMM, k.Species, k.Grade = 10973, 3658, 35, 1067, "eastern-hemlock", "No.2"
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := shape(t, change)
			for _, pegged := range []bool{true, false} {
				a := check(t, bent(f, pegged))
				if !a.Holds && !slices.ContainsFunc(a.Remedies, func(r standup.Remedy) bool { return r.Holds }) {
					t.Errorf("pegged %v: %s; none of %d remedies holds", pegged, a.Governing.Words, len(a.Remedies))
				}
				_, center := f.Weigh(f.Members("bent-2"))
				for _, p := range a.Points {
					if z := f.Timbers()[p.Timber].Start.Z + p.FromStartMM*f.Axes(p.Timber).Axis.Z; z < center.Z {
						t.Errorf("a sling holds %.0f mm up, the center of gravity is at %.0f", z, center.Z)
					}
				}
				for _, r := range a.Remedies {
					if r.Holds != (r.Governing.Share <= 1) || r.Words == "" {
						t.Errorf("%+v", r)
					}
				}
			}
		})
	}
}

// Without pegs what hangs falls out: the joints are named, and driving their pegs comes first among the remedies.
func TestUnpeggedJointsComeApart(t *testing.T) {
	t.Parallel()
	f := king(t)
	a := check(t, bent(f, false))
	if a.Holds || a.Governing.Kind != standing.JointApart || !math.IsInf(a.Governing.Share, 1) || !strings.Contains(a.Governing.Words, "nothing holds them") {
		t.Fatalf("%+v", a.Governing)
	}
	if len(a.Remedies) == 0 || !strings.HasPrefix(a.Remedies[0].Words, "Drive all pegs") || a.Remedies[0].Governing.Kind == standing.JointApart && math.IsInf(a.Remedies[0].Governing.Share, 1) {
		t.Errorf("%+v", a.Remedies)
	}
	// King, posts and struts hang in the air on their pegs: the force turns round against that in service.
	hanging := check(t, bent(f, true)).Steps[7]
	for _, id := range []string{"K-2.foot", "P-2A.top", "P-2B.top", "S-2A.foot", "R-2A.foot"} {
		if j, ok := f.JointIndex(id); !ok || !slices.Contains(hanging.Pulled, j) {
			t.Errorf("%s is not pulled while it hangs", id)
		}
	}
}

// A tie across the feet and slings straight up each ease what a pair of angled legs does to the joints while hanging.
func TestSpreaderEasesTheRafters(t *testing.T) {
	t.Parallel()
	f := king(t)
	p := bent(f, true)
	angled := check(t, p)
	p.SlingDeg = 90
	straight := check(t, p)
	if a, s := angled.Steps[7].Governing, straight.Steps[7].Governing; !(s.Share < a.Share) {
		t.Errorf("hanging: straight %v of %s, angled %v of %s", s.Share, s.Piece, a.Share, a.Piece)
	}
	flat, _ := f.Index("P-2A")
	other, _ := f.Index("P-2B")
	p.SlingDeg, p.FeetTied = 60, []int{flat, other}
	if tied := check(t, p); tied.Steps[7].HookN <= angled.Steps[7].HookN {
		t.Error("the tie weighs nothing")
	}
}

// Slings out of balance leave one of them slack or lift one foot first; slings at the foot of the bent turn it over.
func TestPointsOutOfBalance(t *testing.T) {
	t.Parallel()
	f := king(t)
	p := bent(f, true)
	right, _ := f.Index("R-2B")
	post, _ := f.Index("P-2B")
	p.Points = []standup.Point{{Timber: right, FromStartMM: 600}, {Timber: right, FromStartMM: 1500}}
	if a := check(t, p); a.Holds || a.Governing.Kind != standing.Uplift && a.Governing.Kind != standing.Overturning {
		t.Errorf("both on one rafter: %+v", a.Governing)
	}
	left, _ := f.Index("P-2A")
	p.Points = []standup.Point{{Timber: left, FromStartMM: 1200}, {Timber: post, FromStartMM: 1200}}
	a := check(t, p)
	if a.Holds || a.Governing.Kind != standing.Overturning || !strings.Contains(a.Governing.Words, "center of gravity") {
		t.Errorf("at half the posts: %+v", a.Governing)
	}
}

func TestProblemsAreRefused(t *testing.T) {
	t.Parallel()
	f := king(t)
	index := func(mark string) int {
		i, ok := f.Index(mark)
		if !ok {
			t.Fatal(mark)
		}
		return i
	}
	for name, tt := range map[string]struct {
		change      func(p *standup.Problem)
		piece, want string
	}{
		"no frame":      {func(p *standup.Problem) { p.Frame = nil }, "frame", "no frame"},
		"one stick":     {func(p *standup.Problem) { p.Pieces = p.Pieces[:1] }, "pieces", "at least two"},
		"unknown stick": {func(p *standup.Problem) { p.Pieces = append(slices.Clone(p.Pieces), 9999) }, "pieces", "9999"},
		"twice":         {func(p *standup.Problem) { p.Pieces = append(slices.Clone(p.Pieces), p.Pieces[0]) }, f.Timbers()[f.Members("bent-2")[0]].Mark, "twice"},
		"two bents":     {func(p *standup.Problem) { p.Pieces = append(slices.Clone(p.Pieces), f.Members("bent-1")...) }, "pieces", "one plane"},
		"pegs":          {func(p *standup.Problem) { p.Pegged = p.Pegged[1:] }, "pegs", "joints"},
		"flat slings":   {func(p *standup.Problem) { p.SlingDeg = 20 }, "slings", "30 to 90"},
		"NaN slings":    {func(p *standup.Problem) { p.SlingDeg = math.NaN() }, "slings", "30 to 90"},
		"factor":        {func(p *standup.Problem) { p.DynamicFactor = 0.5 }, "dynamic factor", "0.5"},
		"steps":         {func(p *standup.Problem) { p.Steps = 1000 }, "steps", "1000"},
		"one point":     {func(p *standup.Problem) { p.Points = []standup.Point{{Timber: index("T-2"), FromStartMM: 100}} }, "slings", "two"},
		"point off": {func(p *standup.Problem) {
			p.Points = []standup.Point{{Timber: index("T-2"), FromStartMM: -5}, {Timber: index("T-2")}}
		}, "T-2", "-5 mm"},
		"point elsewhere":  {func(p *standup.Problem) { p.Points = []standup.Point{{Timber: index("T-1")}, {Timber: index("T-2")}} }, "slings", "not among"},
		"point twice":      {func(p *standup.Problem) { p.Points = []standup.Point{{Timber: index("T-2")}, {Timber: index("T-2")}} }, "slings", "one place"},
		"foot of a beam":   {func(p *standup.Problem) { p.FeetTied = []int{index("P-2A"), index("T-2")} }, "T-2", "no post"},
		"one foot":         {func(p *standup.Problem) { p.FeetTied = []int{index("P-2A")} }, "P-2A", "no other"},
		"foot elsewhere":   {func(p *standup.Problem) { p.FeetTied = []int{index("P-1A"), index("P-2A")} }, "feet", "not among"},
		"strongback":       {func(p *standup.Problem) { p.Strongback = &brace.Lumber{Species: "balsa", WidthMM: 38, DepthMM: 140} }, "strongback", "balsa"},
		"no slings' place": {func(p *standup.Problem) { p.Pieces = []int{index("P-2A"), index("B-2A")} }, "slings", "no two places"},
	} {
		p := bent(f, true)
		tt.change(&p)
		_, err := standup.Check(context.Background(), p)
		var in *statics.InputError
		if !errors.As(err, &in) || in.Piece != tt.piece || !strings.Contains(in.Problem, tt.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCheckEndsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := standup.Check(ctx, bent(king(t), true)); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// The same problem has the same answer, whatever the order of its pieces.
func TestSameProblemSameAnswer(t *testing.T) {
	t.Parallel()
	f := king(t)
	p := bent(f, false)
	first := check(t, p)
	p.Pieces = slices.Clone(p.Pieces)
	slices.Reverse(p.Pieces)
	if diff := cmp.Diff(first, check(t, p), cmpopts.IgnoreFields(standup.Step{}, "Result")); diff != "" {
		t.Error(diff)
	}
}

// Turning the whole frame in plan changes nothing.
func TestTurnedInPlan(t *testing.T) {
	t.Parallel()
	f := king(t)
	const deg = 37
	turn := geom.Turn(geom.Vec{}, geom.Up(), deg)
	d := f.Draft()
	for _, lines := range [2][]frame.GridLine{d.Grid.BentLines, d.Grid.WallLines} {
		for i := range lines {
			lines[i].Point, lines[i].HeadingDeg = turn.Point(lines[i].Point), math.Mod(lines[i].HeadingDeg+deg, 360)
		}
	}
	for i := range d.Timbers {
		x := &d.Timbers[i]
		if plumb := math.Hypot(x.End.X-x.Start.X, x.End.Y-x.Start.Y) < 1e-6; plumb {
			// A plumb stick has its depth along Y at roll 0, wherever the frame is turned to.
			x.RollDeg += deg * math.Copysign(1, x.End.Z-x.Start.Z)
		}
		x.Start, x.End = turn.Point(x.Start), turn.Point(x.End)
	}
	for i := range d.Joints {
		d.Joints[i].At = turn.Point(d.Joints[i].At)
	}
	for i := range d.Hardware {
		d.Hardware[i].At = turn.Point(d.Hardware[i].At)
	}
	turned := frametest.Parse(t, d)
	one, two := check(t, bent(f, true)), check(t, bent(turned, true))
	near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-6*math.Max(1, math.Abs(a)) }
	for i, s := range one.Steps {
		o := two.Steps[i]
		if !near(s.HookN, o.HookN) || !near(s.BaseUpN, o.BaseUpN) || !near(s.BendingAcrossNM, o.BendingAcrossNM) || !near(s.MoveMM, o.MoveMM) || !near(s.Governing.Share, o.Governing.Share) {
			t.Errorf("step %d: %+v turned %+v", i, s, o)
		}
	}
	if one.Holds != two.Holds || len(one.Remedies) != len(two.Remedies) {
		t.Errorf("%v with %d remedies, turned %v with %d", one.Holds, len(one.Remedies), two.Holds, len(two.Remedies))
	}
}

// What is handed out for a second opinion is what is analysed: solved again it has the same hook load.
func TestLiftedIsWhatIsAnalysed(t *testing.T) {
	t.Parallel()
	p := bent(king(t), true)
	a := check(t, p)
	for _, i := range []int{0, 3, 7} {
		s := a.Steps[i]
		m, load, err := standup.Lifted(p, s.TiltDeg, s.Hanging, model.Soft)
		if err != nil {
			t.Fatal(err)
		}
		solver, err := statics.Prepare(m)
		if err != nil {
			t.Fatal(err)
		}
		r, err := solver.Solve([]statics.Case{load}, statics.Options{})
		if err != nil || r[0].Outcome != statics.Solved {
			t.Fatal(err, r[0].Outcome)
		}
		sum := 0.0
		for k := range m.Supports {
			if m.Supports[k].Name == "sling" && math.Abs(r[0].Axial[k]) > 1 {
				sum += r[0].Axial[k]
			}
		}
		if math.Abs(sum-s.HookN) > 1e-6*s.HookN {
			t.Errorf("step %d: the slings carry %v, the hook %v", i, sum, s.HookN)
		}
	}
	if _, _, err := standup.Lifted(p, 120, false, model.Soft); err == nil {
		t.Error("a tilt of 120 degrees passes")
	}
}

func BenchmarkCheck(b *testing.B) {
	p := bent(king(b), false)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := standup.Check(context.Background(), p); err != nil {
			b.Fatal(err)
		}
	}
}

// A strut whose other end is not lifted with it would drop out: the answer says that it is taken as tied up.
func TestLooseStrutIsNamed(t *testing.T) {
	t.Parallel()
	f := king(t)
	p := bent(f, true)
	p.Pieces = slices.DeleteFunc(slices.Clone(p.Pieces), func(i int) bool {
		m := f.Timbers()[i].Mark
		return m == "R-2A" || m == "R-2B"
	})
	tie, _ := f.Index("T-2")
	p.Points = []standup.Point{{Timber: tie, FromStartMM: 1200}, {Timber: tie, FromStartMM: f.Stick(tie).ShoulderMM() - 1200}}
	a := check(t, p)
	for _, mark := range []string{"S-2A", "S-2B"} {
		if !slices.ContainsFunc(a.Notes, func(n string) bool { return strings.Contains(n, mark) && strings.Contains(n, "tie it up") }) {
			t.Errorf("no note names %s: %q", mark, a.Notes)
		}
	}
}
