package model_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// fataler is what *testing.T, *testing.B and *rapid.T share.
type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// leaning is the weight with a share of it sideways along a level direction, as if the ground were tilted.
func leaning(name string, share float64, along geom.Vec) statics.Case {
	const g = statics.StandardGravity
	return statics.Case{Name: name, Gravity: geom.Add(geom.V(0, 0, -g), geom.Scale(share*g, geom.Unit(along)))}
}

func solve(t fataler, m *statics.Model, o statics.Options, cases ...statics.Case) []statics.Result {
	t.Helper()
	s, err := statics.Prepare(m)
	if err != nil {
		t.Fatalf("the model is refused: %v", err)
	}
	results, err := s.Solve(cases, o)
	if err != nil {
		t.Fatalf("the cases are refused: %v", err)
	}
	return results
}

// swayM is the most that a node moves level.
func swayM(r *statics.Result) float64 {
	most := 0.0
	for _, d := range r.Displacements {
		most = max(most, math.Hypot(d[statics.UX], d[statics.UY]))
	}
	return most
}

func why(r *statics.Result) string {
	words := r.Outcome.String()
	for _, m := range r.Motions {
		words += "; " + m.Words
	}
	return words
}

// A complete pegged frame with knee braces stands under its weight and a share of it sideways, and sways little: at most 1/200
// of its height, a limit of common practice, for 2 percent.
func TestCompleteFrameStands(t *testing.T) {
	t.Parallel()
	for _, bents := range []int{2, 4} {
		f := made(t, king(bents))
		for _, stiffness := range []model.Stiffness{model.Soft, model.Stiff} {
			st := build(t, f, complete(f), stiffness)
			for _, r := range solve(t, st.Model, statics.Options{SecondOrder: true},
				leaning("weight", 0, geom.V(1, 0, 0)),
				leaning("east", 0.02, geom.V(1, 0, 0)), leaning("west", 0.02, geom.V(-1, 0, 0)),
				leaning("north", 0.02, geom.V(0, 1, 0)), leaning("south", 0.02, geom.V(0, -1, 0)),
			) {
				if r.Outcome != statics.Solved || r.Residual > 1e-6 {
					t.Errorf("%d bents, %s, %s: %s, residual %g", bents, stiffness, r.Case, why(&r), r.Residual)
					continue
				}
				if sway := swayM(&r); sway > 5.9/200 {
					t.Errorf("%d bents, %s, %s: it sways %.1f mm", bents, stiffness, r.Case, sway*1e3)
				}
			}
		}
	}
}

// bentState is the first bent alone, pegged.
func bentState(f *frame.Frame) model.State {
	return model.State{Standing: f.Members("bent-1"), Pegged: pegged(f)}
}

// A lone bent balances on its feet, and goes over an edge of them when the weight leans so far that it leaves them: at a share of
// b/2 over the height of its centre of gravity (statics of a rigid body; the reference's file v21 reckons the same way).
func TestLoneBentBalancesOnItsFeet(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	st := build(t, f, bentState(f), model.Stiff)
	if n := len(st.Model.Contacts); n != 8 {
		t.Fatalf("%d contacts under two posts, want 8", n)
	}
	_, cg := f.Weigh(f.Members("bent-1"))
	tips := f.Stick(index(t, f, "P-1A")).WidthMM / 2 / cg.Z
	for share, stands := range map[float64]bool{0: true, 0.95 * tips: true, 1.05 * tips: false} {
		for _, along := range []geom.Vec{{X: 1}, {X: -1}} {
			r := solve(t, st.Model, statics.Options{}, leaning("lean", share, along))[0]
			if (r.Outcome == statics.Solved) != stands {
				t.Errorf("at %.4f of its weight along %v (it tips at %.4f): %s", share, along, tips, why(&r))
			}
		}
	}
}

// Without knee braces a frame goes over or sways much more.
func TestKneeBracesHoldTheFrame(t *testing.T) {
	t.Parallel()
	f := made(t, king(3))
	braced := complete(f)
	bare := model.State{Pegged: pegged(f)}
	for _, i := range braced.Standing {
		if f.Timbers()[i].Role != frame.RoleKneeBrace {
			bare.Standing = append(bare.Standing, i)
		}
	}
	for _, along := range []geom.Vec{{X: 1}, {Y: 1}} {
		c := leaning("lean", 0.02, along)
		with := solve(t, build(t, f, braced, model.Soft).Model, statics.Options{SecondOrder: true}, c)[0]
		without := solve(t, build(t, f, bare, model.Soft).Model, statics.Options{SecondOrder: true}, c)[0]
		if with.Outcome != statics.Solved {
			t.Fatalf("with braces: %s", why(&with))
		}
		if without.Outcome == statics.Solved && swayM(&without) < 2*swayM(&with) {
			t.Errorf("along %v it sways %.2f mm without braces and %.2f mm with", along, swayM(&without)*1e3, swayM(&with)*1e3)
		}
	}
}

// On pins for feet a bent without braces is a mechanism, in its plane and out of it.
func TestPinnedBentWithoutBracesMoves(t *testing.T) {
	t.Parallel()
	k := king(2)
	k.BraceLegMM, k.WallBraces = 0, false
	f := made(t, k)
	st := build(t, f, bentState(f), model.Stiff)
	pinFeet(st.Model)
	r := solve(t, st.Model, statics.Options{}, leaning("weight", 0, geom.V(1, 0, 0)))[0]
	if r.Outcome != statics.Moves || len(r.Motions) != 2 {
		t.Errorf("%s, want two free motions", why(&r))
	}
}

// Random rough frames, complete and pegged: they solve, and soft joints sway at least as much as stiff ones.
func TestRandomFramesStandAndSoftSwaysMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := genKing(t)
		heading := rapid.Float64Range(0, 2*math.Pi).Draw(t, "heading")
		c := leaning("lean", 0.01, geom.V(math.Cos(heading), math.Sin(heading), 0))
		var sways [2]float64
		for _, stiffness := range []model.Stiffness{model.Soft, model.Stiff} {
			st, err := model.Build(f, complete(f), settings(stiffness))
			if err != nil {
				t.Fatal(err)
			}
			r := solve(t, st.Model, statics.Options{}, c)[0]
			if r.Outcome != statics.Solved || r.Residual > 1e-6 {
				t.Fatalf("%s: %s, residual %g", stiffness, why(&r), r.Residual)
			}
			sways[stiffness] = swayM(&r)
		}
		if sways[model.Soft] < sways[model.Stiff] {
			t.Fatalf("soft sways %g m, stiff %g m", sways[model.Soft], sways[model.Stiff])
		}
	})
}

// turned is the draft turned in plan about the origin.
func turned(d frame.Draft, deg float64) frame.Draft {
	d = d.Clone()
	m := geom.Turn(geom.Vec{}, geom.Up(), deg)
	for _, lines := range [][]frame.GridLine{d.Grid.BentLines, d.Grid.WallLines} {
		for i := range lines {
			lines[i].Point = m.Point(lines[i].Point)
			lines[i].HeadingDeg = math.Remainder(lines[i].HeadingDeg+deg, 360)
		}
	}
	for i := range d.Timbers {
		t := &d.Timbers[i]
		if axis := geom.AxesOf(t.Start, t.End, 0).Axis; axis.Z > 1-1e-12 {
			t.RollDeg += deg // the axes of a plumb stick are counted from Y
		}
		t.Start, t.End = m.Point(t.Start), m.Point(t.End)
	}
	for i := range d.Joints {
		d.Joints[i].At = m.Point(d.Joints[i].At)
	}
	return d
}

// Turning the whole frame with its load in plan turns the answer with it.
func TestTurningInPlanChangesNothing(t *testing.T) {
	t.Parallel()
	d, err := rough.Make(king(3))
	if err != nil {
		t.Fatal(err)
	}
	first := frametest.Parse(t, d)
	rapid.Check(t, func(t *rapid.T) {
		deg := rapid.Float64Range(-180, 180).Draw(t, "deg")
		f, err := frame.Parse(turned(d, deg))
		if err != nil {
			t.Fatal(err)
		}
		m := geom.Turn(geom.Vec{}, geom.Up(), deg)
		var answers [2]statics.Result
		for k, f := range [2]*frame.Frame{first, f} {
			st, err := model.Build(f, complete(f), model.Defaults())
			if err != nil {
				t.Fatal(err)
			}
			along := geom.V(0.6, 0.8, 0)
			if k == 1 {
				along = m.Direction(along)
			}
			answers[k] = solve(t, st.Model, statics.Options{}, leaning("lean", 0.02, along))[0]
		}
		a, b := answers[0], answers[1]
		if a.Outcome != statics.Solved || b.Outcome != statics.Solved || len(a.Displacements) != len(b.Displacements) {
			t.Fatalf("%s, turned %s", why(&a), why(&b))
		}
		scale := swayM(&a)
		for n := range a.Displacements {
			p, q := a.Displacements[n], b.Displacements[n]
			if geom.Dist(m.Direction(geom.V(p[0], p[1], p[2])), geom.V(q[0], q[1], q[2])) > 1e-6*scale {
				t.Fatalf("node %d moves %v, turned %v", n, p, q)
			}
		}
	})
}

// Any set of pieces with any pegs and braces gets an answer or a fault, never a panic, and what is solved is in balance.
func TestAnyStateGetsAnAnswer(t *testing.T) {
	t.Parallel()
	rapid.Check(t, anyState(t))
}

func FuzzBuild(f *testing.F) {
	f.Fuzz(rapid.MakeFuzz(anyState(f)))
}

func anyState(tb testing.TB) func(*rapid.T) {
	frames := []*frame.Frame{made(tb, king(2)), frametest.Parse(tb, frametest.Shed(3))}
	return func(t *rapid.T) {
		f := frames[rapid.IntRange(0, len(frames)-1).Draw(t, "frame")]
		var s model.State
		for i := range f.Timbers() {
			if rapid.IntRange(0, 3).Draw(t, fmt.Sprint("stands ", i)) > 0 {
				s.Standing = append(s.Standing, i)
			}
		}
		for range f.Joints() {
			s.Pegged = append(s.Pegged, rapid.Bool().Draw(t, "pegged"))
		}
		coord := rapid.Float64Range(-500, 8000)
		for k := range rapid.IntRange(0, 2).Draw(t, "braces") {
			timber := rapid.IntRange(0, len(f.Timbers())-1).Draw(t, "timber")
			stick := f.Stick(timber)
			b := model.Brace{
				Name: fmt.Sprint("B", k+1), Timber: timber,
				Top:    geom.Along(stick.Start, rapid.Float64Range(0, stick.ShoulderMM()).Draw(t, "top"), stick.Axes.Axis),
				Foot:   geom.V(coord.Draw(t, "x"), coord.Draw(t, "y"), 0),
				Ground: model.Ground(rapid.IntRange(0, 2).Draw(t, "ground")), FootTimber: rapid.IntRange(0, len(f.Timbers())-1).Draw(t, "foot"),
				WidthMM: 76, DepthMM: 140, EPa: 9e9, DensityKgPerM3: 450, TopNPerM: 2e6, FootNPerM: 2e6,
			}
			s.Braces = append(s.Braces, b)
		}
		st, err := model.Build(f, s, settings(model.Stiffness(rapid.IntRange(0, 1).Draw(t, "stiffness"))))
		if err != nil {
			return
		}
		for _, r := range solve(t, st.Model, statics.Options{}, leaning("lean", 0.005, geom.V(1, 2, 0))) {
			if r.Outcome == statics.Solved && !(r.Residual <= 1e-6) {
				t.Fatalf("solved with a residual of %g", r.Residual)
			}
		}
	}
}
