package statics_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// drawLinks adds links with pull, and supports that only push, to a frame.
func drawLinks(t *rapid.T, s *sample) {
	for range rapid.IntRange(0, 2).Draw(t, "links") {
		i, j := rapid.IntRange(0, len(s.model.Nodes)-1).Draw(t, "from"), rapid.IntRange(0, len(s.model.Nodes)-1).Draw(t, "to")
		if i == j {
			continue
		}
		pull := between(t, 0, 1e6, "pull")
		s.model.Links = append(s.model.Links, statics.Link{
			I: i, J: j, At: s.model.Nodes[i].At, K: [6]float64{between(t, 1e5, 1e7, "along"), 1e5, 1e5, 1e3, 0, 0}, Pull: &pull,
		})
	}
	if n := rapid.IntRange(0, len(s.model.Nodes)-1).Draw(t, "rests"); rapid.Bool().Draw(t, "rest") {
		for _, p := range s.model.Supports {
			if p.Node == n {
				return
			}
		}
		s.model.Supports = append(s.model.Supports, statics.Support{Node: n, Fixed: [6]bool{2: true}, OneSided: [6]bool{2: true}})
	}
}

// The short way and the full iteration give the same answers: outcomes, displacements, forces, states.
func TestShortAndLongWay(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawFrame(t, true)
		drawLinks(t, &s)
		rubs := rapid.Bool().Draw(t, "rubs")
		for i := range s.model.Contacts {
			s.model.Contacts[i].Held = s.model.Contacts[i].Held || !rubs
		}
		for k := range rapid.IntRange(0, 3).Draw(t, "more") {
			c := s.cases[k%2]
			c.Gravity = geom.Scale(between(t, 0.5, 1, "weight"), c.Gravity)
			w := geom.V(between(t, -80, 80, "wx"), between(t, -80, 80, "wy"), 0)
			for m := range s.model.Members {
				c.Line = append(c.Line[:len(c.Line):len(c.Line)], statics.LineLoad{Member: m, W: w})
			}
			s.cases = append(s.cases, c)
		}
		short, err := statics.Prepare(&s.model)
		if err != nil {
			t.Skip(err)
		}
		long, _ := statics.Prepare(&s.model)
		long.TakeTheLongWay()
		o := statics.Options{SecondOrder: rapid.Bool().Draw(t, "second")}
		a, b := solveBoth(t, short, long, s.cases, o, o, rubs)
		if a[0].Outcome != statics.Solved || b[0].Outcome != statics.Solved {
			return
		}
		// Again from there, with the axial forces of the first case; some members knocked out.
		var p, q statics.Options
		p.Axial, q.Axial = short.Axial(&a[0]), long.Axial(&b[0])
		for i := range p.Axial { // a third: near the edge of going over, where it begins may decide
			p.Axial[i], q.Axial[i] = p.Axial[i]/3, q.Axial[i]/3
		}
		p.Start, q.Start = []*statics.Result{&a[0]}, []*statics.Result{&b[0]}
		solveBoth(t, short, long, s.cases, p, q, rubs)
		// Not a post: what becomes of the free foot of one hangs on nothing but where it begins.
		if m := rapid.IntRange(0, len(s.model.Members)-1).Draw(t, "without"); s.model.Members[m].Kind != statics.Beam {
			p.Without, q.Without = []int{m}, []int{m}
			solveBoth(t, short, long, s.cases, p, q, rubs)
		}
	})
}

func solveBoth(t *rapid.T, short, long *statics.Solver, cases []statics.Case, o, p statics.Options, rubs bool) (a, b []statics.Result) {
	a, err := short.Solve(cases, o)
	if err != nil {
		t.Fatal(err)
	}
	if b, err = long.Solve(cases, p); err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if (a[i].Outcome == statics.Solved) != (b[i].Outcome == statics.Solved) {
			if a[i].Outcome == statics.Unsettled || b[i].Outcome == statics.Unsettled || max(a[i].Rounds, b[i].Rounds) > 24 {
				continue // at the edge of settling
			}
			t.Fatalf("case %d: %v %v, the long way %v %v", i, a[i].Outcome, a[i].Motions, b[i].Outcome, b[i].Motions)
		}
		if a[i].Outcome != statics.Solved {
			continue
		}
		// Limits of friction are found to 1e-8 of the loads, which soft structures magnify; and in the long way what counts as
		// nothing is raised every dozen of rounds.
		tol, soft := 1e-6, 1.0
		if rubs {
			tol, soft = 1e-5, 100
		}
		if r := max(a[i].Rounds, b[i].Rounds); r > 24 {
			tol *= 300
		} else if r > 12 {
			tol *= 10
		}
		sameForces(t, &a[i], &b[i], tol)
		most, off := 0.0, 0.0
		for n := range a[i].Displacements {
			for f := range 6 {
				most = max(most, math.Abs(b[i].Displacements[n][f]))
				off = max(off, math.Abs(a[i].Displacements[n][f]-b[i].Displacements[n][f]))
			}
		}
		if off > soft*tol*most {
			t.Fatalf("case %d: displacements off by %.3g of %.3g", i, off, most)
		}
		sameStates(t, &a[i], &b[i], 100*tol)
	}
	return a, b
}

// sameStates compares the states of the parts that carry more than nothing.
func sameStates(t *rapid.T, a, b *statics.Result, tol float64) {
	most := 0.0
	for m := range a.Ends {
		most = max(most, math.Abs(a.Ends[m][0][0]), math.Abs(a.Ends[m][1][0]))
	}
	for m := range a.Ends {
		for end := range 2 {
			if a.Pulled[m][end] != b.Pulled[m][end] && math.Abs(a.Ends[m][end][0]) > tol*most {
				t.Fatalf("end %d of member %d pulled: %v, the long way %v", end, m, a.Pulled[m][end], b.Pulled[m][end])
			}
		}
		if a.Idle[m] != b.Idle[m] && math.Abs(a.Ends[m][0][0]) > tol*most {
			t.Fatalf("member %d idle: %v, the long way %v", m, a.Idle[m], b.Idle[m])
		}
	}
	for i := range a.Bearings {
		if d := geom.Dist(a.Bearings[i].Across, b.Bearings[i].Across) + math.Abs(a.Bearings[i].Normal-b.Bearings[i].Normal); d > tol*most {
			t.Fatalf("bearing %d: %v, the long way %v", i, a.Bearings[i], b.Bearings[i])
		}
	}
}
