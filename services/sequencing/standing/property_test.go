package standing

import (
	"context"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// drawn is a random frame with what stands of it and its braces.
type drawn struct {
	draft    frame.Draft
	frame    *frame.Frame
	standing []int
	braces   []brace.Brace
	pegged   []bool
}

func draw(t *rapid.T, tb testing.TB) drawn {
	k := rough.King{
		Title: "random", BentCount: 2 + rapid.IntRange(0, 1).Draw(t, "more bents"),
		BaySpacingsMM: []float64{float64(rapid.IntRange(2400, 4800).Draw(t, "bay"))},
		SpanMM:        float64(rapid.IntRange(4200, 9000).Draw(t, "span")), PostHeightMM: float64(rapid.IntRange(2400, 3600).Draw(t, "post")),
		RoofPitchDeg: float64(rapid.IntRange(30, 45).Draw(t, "pitch")), PurlinsPerSlope: rapid.IntRange(0, 1).Draw(t, "purlins"),
		GirtDropMM: 300, BraceLegMM: 700, Struts: rapid.Bool().Draw(t, "struts"), WallBraces: rapid.Bool().Draw(t, "wall braces"),
		Species: "eastern-hemlock", Grade: "No. 1", MoisturePercent: 60,
	}
	draft, err := rough.Make(k)
	if err != nil {
		t.Skip(err.Error())
	}
	d := drawn{draft: draft, frame: frametest.Parse(tb, draft)}
	d.standing = standingOf(d.frame, bentOf(tb, d.frame, 0))
	if rapid.Bool().Draw(t, "whole") {
		d.standing = everyone(d.frame)
	}
	all := propUp(tb, d.frame, d.standing, float64(rapid.IntRange(5, 8).Draw(t, "height"))/10)
	for _, b := range all {
		if rapid.IntRange(0, 5).Draw(t, "brace") > 0 {
			d.braces = append(d.braces, b)
		}
	}
	d.pegged = pegged(d.frame, rapid.Bool().Draw(t, "pegged"))
	return d
}

func (d drawn) situation(gust float64) Situation {
	return Situation{Standing: d.standing, Pegged: d.pegged, Braces: d.braces, GustMPS: gust}
}

// With all directions and the cases without wind together, what falls in a gust falls in any higher one.
func TestMoreWindNeverHelps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := draw(rt, t)
		c := NewChecker(d.frame, DefaultRules())
		fell := -1.0
		for gust := 0.0; gust <= 44; gust += float64(rapid.IntRange(1, 9).Draw(rt, "step")) {
			v, err := c.Check(context.Background(), d.situation(gust), Ask{Light: true})
			if err != nil {
				rt.Fatal(err)
			}
			if !v.Stands && fell < 0 {
				fell = gust
			}
			if v.Stands && fell >= 0 {
				rt.Fatalf("it falls at %g m/s and stands at %g", fell, gust)
			}
		}
	})
}

// The highest gust is where it changes.
func TestHighestGustIsTheEdge(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := draw(rt, t)
		c := NewChecker(d.frame, DefaultRules())
		gust := float64(rapid.IntRange(0, 30).Draw(rt, "gust"))
		v, err := c.Check(context.Background(), d.situation(gust), Ask{HighestGust: true})
		if err != nil {
			rt.Fatal(err)
		}
		if v.Stands != (v.HighestGustMPS >= gust) && v.HighestGustMPS > 0 {
			rt.Fatalf("at %g m/s stands %v, and the highest gust is %g", gust, v.Stands, v.HighestGustMPS)
		}
		for _, step := range [2]float64{0, 0.1} {
			at, err := c.Check(context.Background(), d.situation(v.HighestGustMPS+step), Ask{Light: true})
			if err != nil {
				rt.Fatal(err)
			}
			if v.HighestGustMPS > 0 && at.Stands != (step == 0) {
				rt.Fatalf("highest gust %g, and %g above it stands %v", v.HighestGustMPS, step, at.Stands)
			}
		}
	})
}

// Turning the frame with its grid changes no answer, to a millionth, as long as no foot slides. Friction that follows the force
// on a foot has no unique answer: where feet slide, the verdict is held to two parts in a hundred of what governs. All joints are pegged: a stick that lies loose
// between two open joints moves freely or not by a hair, and counts as a mechanism when it does.
func TestTurnedFrame(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := draw(rt, t)
		d.pegged = pegged(d.frame, true)
		deg := rapid.Float64Range(-180, 180).Draw(rt, "degrees")
		turned := d
		turned.draft = turn(d.draft, deg)
		turned.frame = frametest.Parse(t, turned.draft)
		m := geom.Turn(geom.Vec{}, geom.Up(), deg)
		turned.braces = nil
		for _, b := range d.braces {
			b.Top, b.Foot = m.Point(b.Top), m.Point(b.Foot)
			turned.braces = append(turned.braces, b)
		}
		gust := float64(rapid.IntRange(0, 20).Draw(rt, "gust"))
		r := DefaultRules()
		a, b := check(t, d.frame, d.situation(gust), r, Ask{Keep: true}), check(t, turned.frame, turned.situation(gust), r, Ask{Keep: true})
		if slides(a) || slides(b) {
			alike(rt, a, b)
			return
		}
		same(rt, a, b)
	})
}

// slides says whether a foot slides in some run, or a run falls, so that it ends on the way.
func slides(v *Verdict) bool {
	for i := range v.Runs {
		if r := v.Runs[i].Result; r.Outcome != statics.Solved || slices.ContainsFunc(r.Bearings, func(b statics.Bearing) bool { return b.State == statics.Sliding }) {
			return true
		}
	}
	return false
}

func alike(t *rapid.T, a, b *Verdict) {
	x, y := a.Governing.Share, b.Governing.Share
	if a.Stands != b.Stands && math.Abs(x-1) > 0.02 && math.Abs(y-1) > 0.02 || a.Stands && b.Stands && math.Abs(x-y) > 0.02 {
		t.Fatalf("stands %v and %v: %+v and %+v", a.Stands, b.Stands, a.Governing, b.Governing)
	}
}

func same(t *rapid.T, a, b *Verdict) {
	close := func(x, y float64) bool {
		return x == y || math.Abs(x-y) <= 1e-6*math.Max(1, math.Max(math.Abs(x), math.Abs(y)))
	}
	if a.Stands != b.Stands || a.Governing.Kind != b.Governing.Kind || !close(a.Governing.Share, b.Governing.Share) {
		t.Fatalf("stands %v and %v: %+v and %+v", a.Stands, b.Stands, a.Governing, b.Governing)
	}
	if !close(a.SwayMM, b.SwayMM) || !close(a.WeightN, b.WeightN) || a.TopMark != b.TopMark {
		t.Fatalf("sway %g and %g of %s and %s", a.SwayMM, b.SwayMM, a.TopMark, b.TopMark)
	}
	for i := range a.BraceForces {
		if !close(a.BraceForces[i].Pull, b.BraceForces[i].Pull) || !close(a.BraceForces[i].Push, b.BraceForces[i].Push) {
			t.Fatalf("brace %d: %+v and %+v", i, a.BraceForces[i], b.BraceForces[i])
		}
	}
	for i := range a.Uses {
		if !close(a.Uses[i], b.Uses[i]) {
			t.Fatalf("use of timber %d is %g and %g", i, a.Uses[i], b.Uses[i])
		}
	}
}

// turn turns a draft about the origin.
func turn(d frame.Draft, deg float64) frame.Draft {
	d = d.Clone()
	m := geom.Turn(geom.Vec{}, geom.Up(), deg)
	for i := range d.Timbers {
		t := &d.Timbers[i]
		if d := geom.Unit(geom.Sub(t.End, t.Start)); math.Hypot(d.X, d.Y) < 1e-6 {
			// The depth of a plumb stick lies along Y, so it has to be rolled along.
			t.RollDeg += deg * d.Z
		}
		t.Start, t.End = m.Point(t.Start), m.Point(t.End)
	}
	for i := range d.Joints {
		d.Joints[i].At = m.Point(d.Joints[i].At)
	}
	for i := range d.Hardware {
		d.Hardware[i].At = m.Point(d.Hardware[i].At)
	}
	for _, lines := range [][]frame.GridLine{d.Grid.BentLines, d.Grid.WallLines} {
		for i := range lines {
			lines[i].Point = m.Point(lines[i].Point)
			lines[i].HeadingDeg += deg
		}
	}
	return d
}
