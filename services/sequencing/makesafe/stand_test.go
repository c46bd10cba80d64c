package makesafe

import (
	"math"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// checkSafe asks package standing anew, knowing nothing of the search, whether a plan does what it says.
func checkSafe(t *testing.T, p Problem, got Plan) {
	t.Helper()
	if !got.Safe {
		t.Fatalf("no braces were found: %s", got.Refusal)
	}
	ask := func(name string, s standing.Situation, r standing.Rules) {
		v, err := standing.Check(t.Context(), p.Frame, s, r, standing.Ask{})
		if err != nil {
			t.Fatal(err)
		}
		if !v.Stands {
			t.Errorf("%s: %s", name, v.Governing.Words)
		}
	}
	s := p.State
	s.Braces = append(slices.Clone(s.Braces), got.Add...)
	ask("with all braces", s, p.Rules)
	all := s.Braces
	// Self weight and a low gust, nobody on it.
	knocked := p.Rules
	knocked.Combinations = slices.DeleteFunc(slices.Clone(knocked.Combinations), func(c standing.Combination) bool { return c.Person != 0 })
	for _, gust := range []float64{0, min(s.GustMPS, p.Rules.LowGustMPS)} {
		s.GustMPS = gust
		for i := range all {
			s.Braces = slices.Delete(slices.Clone(all), i, i+1)
			ask("without "+all[i].ID, s, knocked)
		}
	}
	checkClear(t, p.Frame, p.Site, p.State.Standing, p.Coming, all)
	for i := range got.Add {
		checkRigger(t, &got.Add[i])
	}
	if got.Least < 1 || got.Least > len(got.Add) {
		t.Errorf("at least %d of %d braces", got.Least, len(got.Add))
	}
}

// A lone bent is held by the hook or by braces, never by its weight.
func TestFirstBent(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(3))
	p := after(t, f, 1, standing.DefaultRules().NightGustMPS)
	got, err := Solve(t.Context(), p, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got.Before.Stands {
		t.Error("a lone bent stands without braces")
	}
	checkSafe(t, p, got)
	// On both sides across the bent.
	var sides [2]bool
	for _, b := range got.Add {
		if d := b.Foot.X - b.Top.X; math.Abs(d) > 500 {
			sides[(1+int(math.Copysign(1, d)))/2] = true
		}
	}
	if !sides[0] || !sides[1] {
		t.Error("the bent is braced to one side only")
	}
}

// The deck ends at the posts and holds no lags: braces go to stakes, or from bent to bent.
func TestNoDeckAround(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(2))
	p := after(t, f, 4, standing.DefaultRules().WorkingGustMPS)
	p.Site = Site{Deck: wideDeck(f, 150), DeckMM: 400}
	p.Stock.Anchors = slices.DeleteFunc(p.Stock.Anchors, func(a brace.Anchor) bool { return a.Ground == model.OnDeck })
	got, err := Solve(t.Context(), p, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	checkSafe(t, p, got)
	for _, b := range got.Add {
		if b.FootTimber < 0 && b.Anchor.Ground != model.OnGround {
			t.Errorf("brace %s goes to the deck", b.ID)
		}
	}
}

func TestFewBoards(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, small(2))
	p := after(t, f, 1, standing.DefaultRules().NightGustMPS)
	for i := range p.Stock.Lumber {
		l := &p.Stock.Lumber[i]
		for k := range l.Counts {
			l.Counts[k] = 0
		}
	}
	p.Stock.Lumber[0].Counts[3] = 1
	got, err := Solve(t.Context(), p, Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got.Safe || got.Refusal == "" {
		t.Errorf("one board makes a lone bent safe: %+v", got.Add)
	}
	t.Log(got.Refusal)
}
