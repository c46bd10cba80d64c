package standing

import (
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The first bent, and the girts and braces of the walls started in it, while the second bent is drawn home.
func TestNeighbourPullsAtItsJoints(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	second := standingOf(f, bentOf(t, f, 1))
	var standing []int
	for i := range f.Timbers() {
		if !slices.Contains(second, i) {
			standing = append(standing, i)
		}
	}
	c := NewChecker(f, DefaultRules())
	s, err := c.prepare(Situation{Standing: standing, OnHook: second, Pegged: pegged(f, true), Braces: propUp(t, f, standing, 0.6)})
	if err != nil {
		t.Fatal(err)
	}
	combo := &c.rules.NeighbourCombinations[0]
	pulls := c.neighbourPulls(s, combo)
	if len(pulls) == 0 || len(pulls) > mostPlaces {
		t.Fatalf("%d places of the come-along", len(pulls))
	}
	mass, cg := f.Weigh(second)
	_, ours := f.Weigh(standing)
	for _, p := range pulls {
		if !slices.Contains(standing, p.timber) {
			t.Errorf("it pulls at %s, which does not stand", f.Timbers()[p.timber].Mark)
		}
		if got := geom.Dot(p.force, geom.Unit(geom.Sub(cg, ours))); got < 0.9*c.rules.ComeAlongN {
			t.Errorf("at %s it pulls with %v N, not towards the neighbour", f.Timbers()[p.timber].Mark, p.force)
		}
	}
	bumps := c.neighbourPulls(s, &c.rules.NeighbourCombinations[2])
	if len(bumps) != 2*len(pulls) {
		t.Fatalf("%d bumps at %d places, want one each way", len(bumps), len(pulls))
	}
	sum := geom.Vec{}
	for _, p := range bumps {
		near(t, "the bump", geom.Norm(p.force), c.rules.BumpShare*mass*9.80665, 1e-9)
		sum = geom.Add(sum, p.force)
	}
	if geom.Norm(sum) > 1e-6 {
		t.Errorf("bumps both ways leave %v N over", sum)
	}
}

func TestNeighbourUnknownPullsAtPostTops(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	first, second := standingOf(f, bentOf(t, f, 0)), standingOf(f, bentOf(t, f, 1))
	s := Situation{Standing: first, OnHook: second, Pegged: pegged(f, true), GustMPS: 5, Braces: propUp(t, f, first, 0.7)}
	v := check(t, f, s, DefaultRules(), Ask{Keep: true})
	tell(t, "beside a neighbour", v)
	both := 0
	for _, run := range v.Runs {
		if strings.Contains(run.Name, "come-along") && strings.Contains(run.Name, "square to the bent") {
			both++
		}
	}
	// Two combinations, two posts, both ways, both ends.
	if both != 2*2*2*2 {
		t.Errorf("%d runs of the come-along", both)
	}
	if !slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "highest post tops") }) {
		t.Errorf("no note says where it pulls: %q", v.Notes)
	}
	alone := s
	alone.OnHook = nil
	if w := check(t, f, alone, DefaultRules(), Ask{Keep: true}); len(w.Runs) >= len(v.Runs) {
		t.Errorf("alone there are %d runs, beside a neighbour %d", len(w.Runs), len(v.Runs))
	}
}

func TestHarderPullFellsIt(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	first, second := standingOf(f, bentOf(t, f, 0)), standingOf(f, bentOf(t, f, 1))
	s := Situation{Standing: first, OnHook: second, Pegged: pegged(f, true), GustMPS: 5, Braces: propUp(t, f, first, 0.7)}
	r := DefaultRules()
	r.ComeAlongN = 20_000
	v := check(t, f, s, r, Ask{})
	tell(t, "under a hard pull", v)
	if v.Stands || !strings.Contains(v.Governing.Combination, "come-along") {
		t.Errorf("a pull of two tonnes: stands %v, governing %q", v.Stands, v.Governing.Combination)
	}
}
