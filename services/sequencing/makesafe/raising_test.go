package makesafe

import (
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/standing"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

func raisingOf(t testing.TB, bents int) RaisingProblem {
	f := roughFrame(t, small(bents))
	return RaisingProblem{
		Frame: f, Moves: movesOf(t, f), Rules: standing.DefaultRules(), Stock: brace.DefaultStock(),
		Site: Site{Deck: wideDeck(f, 3000), DeckMM: 600},
	}
}

// checkRaising follows a plan with pencil and paper: what is on is what was set and not struck, nothing set is in the way of
// what comes while it is on, and every state passes its judge, with any one brace knocked out too.
func checkRaising(t *testing.T, p RaisingProblem, j judge, got RaisingPlan) {
	t.Helper()
	if len(got.Stages) != len(p.Moves) {
		t.Fatalf("%d stages of %d moves", len(got.Stages), len(p.Moves))
	}
	var on []brace.Brace
	for k := range got.Stages {
		st := &got.Stages[k]
		on = append(on, st.Set...)
		ids := func(b []brace.Brace) []string {
			var s []string
			for i := range b {
				s = append(s, b[i].ID)
			}
			slices.Sort(s)
			return s
		}
		if !slices.Equal(ids(on), ids(st.On)) {
			t.Fatalf("move %d: on are %v, but set and not struck are %v", k+1, ids(st.On), ids(on))
		}
		m := Released
		if st.PegFirst {
			m = Pegged
		}
		s := p.State(k+1, st.On, m)
		checkClear(t, p.Frame, p.Site, s.Standing, nil, st.On)
		passes := func(name string, s standing.Situation, knocked bool) {
			v, err := j.verdict(t.Context(), s, knocked)
			if err != nil {
				t.Fatal(err)
			}
			if !v.Stands {
				t.Errorf("move %d %s: %s", k+1, name, v.Governing.Words)
			}
		}
		knock := func(name string, s standing.Situation) {
			s.GustMPS = min(s.GustMPS, p.Rules.LowGustMPS)
			all := s.Braces
			for i := range all {
				s.Braces = slices.Delete(slices.Clone(all), i, i+1)
				passes(name+" without "+all[i].ID, s, true)
			}
		}
		if st.Refusal == "" {
			passes("released", s, false)
			knock("released", s)
		}
		for _, x := range st.Strike {
			on = slices.DeleteFunc(on, func(b brace.Brace) bool { return b.ID == x.ID })
			if x.Once == "" {
				t.Errorf("move %d: nothing is said to be on before %s comes off", k+1, x.ID)
			}
		}
		if p.Moves[k].DayEnds && st.Refusal == "" {
			s := p.State(k+1, slices.Clone(on), Overnight)
			passes("overnight", s, false)
			knock("overnight", s)
		}
		if k+1 < len(p.Moves) {
			checkClear(t, p.Frame, p.Site, nil, p.Moves[k+1:k+2], on)
		}
	}
}

func TestRaisingCounted(t *testing.T) {
	t.Parallel()
	p := raisingOf(t, 3)
	enough := 0
	for _, m := range p.Moves[:7] {
		enough += len(m.Pieces)
	}
	j := counter{f: p.Frame, enough: enough}
	told := 0
	got, err := raise(t.Context(), p, j, Budget{}, func(RaisingPlan) { told++ })
	if err != nil {
		t.Fatal(err)
	}
	checkRaising(t, p, j, got)
	if !got.Planned || got.First != 0 || told != 2*len(p.Moves) {
		t.Errorf("planned %v, first falling move %d, told %d times", got.Planned, got.First, told)
	}
	last := got.Stages[len(got.Stages)-1]
	if n := len(last.On) - len(last.Strike); n != 0 {
		t.Errorf("%d braces stay on at the end of a frame that holds itself", n)
	}
	if n := len(got.Stages[6].Strike); n == 0 {
		t.Error("nothing comes off after the move that makes the frame hold itself")
	}
}

// Every state stands by package standing itself, with any one brace knocked out, and every day's end the night's gust.
func TestRaisingStands(t *testing.T) {
	t.Parallel()
	p := raisingOf(t, 2)
	got, err := Raising(t.Context(), p, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	checkRaising(t, p, newChecked(p.Frame, p.Rules), got)
	for _, st := range got.Stages {
		t.Logf("move %d: set %d, on %d, off %d, peg first %v, stands %v %s", st.Move, len(st.Set), len(st.On), len(st.Strike), st.PegFirst, st.stands(), st.Refusal)
	}
	if got.First != 0 {
		t.Errorf("it does not stand after move %d: %s", got.First, got.Stages[got.First-1].Refusal)
	}
}

func TestGivenBraces(t *testing.T) {
	t.Parallel()
	p := raisingOf(t, 2)
	j := counter{f: p.Frame}
	planned, err := raise(t.Context(), p, j, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	p.Given = map[int]Given{}
	got, err := raise(t.Context(), p, j, Budget{}, nil)
	if err != nil || got.Planned || got.First != 1 {
		t.Errorf("without braces: planned %v, first %d, %v", got.Planned, got.First, err)
	}
	p.Given[1] = Given{Set: planned.Stages[0].Set}
	got, err = raise(t.Context(), p, j, Budget{}, nil)
	if err != nil || got.First < 2 || len(got.Stages[3].On) != len(planned.Stages[0].Set) {
		t.Errorf("with the braces of the first move: first %d, %v", got.First, err)
	}
	p.Given[2] = Given{Strike: []string{"none such"}}
	if _, err = raise(t.Context(), p, j, Budget{}, nil); err == nil {
		t.Error("a brace that is not on was struck")
	}
}

func TestDaysEnd(t *testing.T) {
	t.Parallel()
	r := &plan.Raising{}
	for i, minutes := range []float64{200, 200, 100, 600, 60, 60} {
		r.Moves = append(r.Moves, plan.Move{Number: i + 1, Minutes: minutes, Machine: work.Crane, Home: geom.V(0, 0, -1)})
	}
	r.Moves[4].Machine = work.Hands
	f := roughFrame(t, small(2))
	var ends []int
	moves := Moves(r, f, 8)
	for _, m := range moves {
		if m.DayEnds {
			ends = append(ends, m.Number)
		}
	}
	if want := []int{2, 3, 4, 6}; !slices.Equal(ends, want) {
		t.Errorf("days end after moves %v, want %v", ends, want)
	}
	if !moves[4].Hands || moves[0].Hands {
		t.Error("the hands of a move are not told")
	}
}
