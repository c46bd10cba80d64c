package makesafe

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// DefaultSteps is how many states are checked for one answer when the budget does not say: fewer of a large structure.
func DefaultSteps(sticks int) int { return min(400, max(60, 12_000/max(1, sticks))) }

// Solve finds the braces to add to one state. It tells improve each plan that is better than the last, the one that it
// returns included; improve may be nil. A plan that is not safe has a refusal.
//
// Braces are added one by one where they take most of the motion in which the state falls; then those that are not needed
// are left out; then it is tried whether fewer would do, counting up from what is needed at least. When the context ends
// by its deadline, the best plan so far is returned. Other errors are that of the context, or a *statics.InputError for a
// problem that does not make sense.
func Solve(ctx context.Context, p Problem, b Budget, improve func(Plan)) (Plan, error) {
	if err := p.check(); err != nil {
		return Plan{}, err
	}
	return solve(ctx, p, newChecked(p.Frame, p.Rules), b, improve)
}

// check finds what makes no sense in a problem.
func (p *Problem) check() error {
	if err := p.Rules.Check(); err != nil {
		return err
	}
	return checkSite(p.Site, p.Stock)
}

func checkSite(site Site, stock brace.Stock) error {
	if err := stock.Check(); err != nil {
		return &statics.InputError{Piece: "brace stock", Problem: err.Error()}
	}
	for i, c := range site.Deck {
		if !geom.Finite(c) {
			return &statics.InputError{Piece: "deck", Problem: fmt.Sprintf("corner %d of its outline is not made of numbers; give both coordinates", i+1)}
		}
	}
	if !(math.Abs(site.DeckMM) <= 20_000) {
		return &statics.InputError{Piece: "deck", Problem: fmt.Sprintf("its height of %g mm above the ground is not between −20,000 and 20,000 mm", site.DeckMM)}
	}
	return nil
}

// solver is the making of one answer.
type solver struct {
	p       Problem
	j       judge
	s       *search
	improve func(Plan)
	plan    Plan
}

func solve(ctx context.Context, p Problem, j judge, b Budget, improve func(Plan)) (Plan, error) {
	v := &solver{p: p, j: j, improve: improve}
	before := p.State
	var err error
	if v.plan.Before, err = j.verdict(ctx, before, false); err != nil {
		return Plan{}, err
	}
	y := newYard(p.Stock)
	v.s = v.search(y)
	v.s.most = b.Steps
	if b.Steps <= 0 {
		v.s.most = DefaultSteps(len(p.State.Standing))
	}
	if err = v.run(ctx); err == nil {
		return v.plan, nil
	}
	if errors.Is(err, context.DeadlineExceeded) && (v.plan.Safe || v.plan.Refusal != "") {
		v.plan.Ended = "The time was up: fewer might do."
		return v.plan, nil
	}
	return Plan{}, err
}

// search is one over all places for braces of the state with some lumber.
func (v *solver) search(y *yard) *search {
	sticks := slices.Clone(v.p.State.Standing)
	c := newCatalogue(v.p.Frame, v.p.Site, y, v.p.Rules.SlendernessPush, v.p.Coming, sticks)
	state := v.p.State
	state.Braces = nil
	return newSearch(c, v.j, []demand{{state: state, knocked: true}}, v.p.State.Braces, v.p.Rules.LowGustMPS, 0, math.MaxInt)
}

// run searches, and keeps the best plan.
func (v *solver) run(ctx context.Context) error {
	set, stuck, err := v.s.build(ctx, nil)
	if errors.Is(err, errSteps) {
		return v.refuse(ctx, set, nil, "the steps of the search were spent")
	}
	if err != nil {
		return err
	}
	if stuck != nil {
		return v.refuse(ctx, set, stuck, "")
	}
	if err := v.found(ctx, set, 0, "A first list; it may hold more than is needed."); err != nil {
		return err
	}
	if len(set) == 0 {
		v.plan.Ended = "It stands as it is."
		return nil
	}
	less, err := v.s.drop(ctx, set)
	if err == nil {
		less, err = v.s.lighten(ctx, less)
	}
	if spent(err) != nil {
		return err
	}
	if !slices.Equal(less, set) {
		if err := v.found(ctx, less, 1, "None of these can be left out; fewer in other places might do."); err != nil {
			return err
		}
	}
	return v.prove(ctx, less)
}

// prove looks for fewer, and says how few there could be.
func (v *solver) prove(ctx context.Context, set []choice) error {
	known, err := v.s.prove(ctx, len(set))
	if err != nil {
		return err
	}
	ended := fmt.Sprintf("The search was cut short: at least %d are needed, %d were found; fewer may do.", known.least, len(set))
	if known.least == len(set) {
		ended = fmt.Sprintf("No fewer will do in the %d places that were looked at.", len(v.s.firsts()))
	}
	if known.better != nil {
		set = known.better
		ended = fmt.Sprintf("No fewer will do in the %d places that were looked at.", len(v.s.firsts()))
		known.least = len(set)
	}
	return v.found(ctx, set, known.least, ended)
}

// found keeps a set as the plan, with full verdicts, and tells it.
func (v *solver) found(ctx context.Context, set []choice, least int, ended string) error {
	p := Plan{Safe: true, Before: v.plan.Before, Least: least, Ended: ended}
	p.Add = v.s.braces(set)
	p.Cuts = brace.Cuts(p.Add, v.s.c.yard.stock)
	var err error
	if p.Verdict, err = v.s.verdict(ctx, set, trial{0, -1}); err != nil {
		return err
	}
	on := v.s.on(set)
	for i := range on {
		k, err := v.s.verdict(ctx, set, trial{0, i})
		if err != nil {
			return err
		}
		if p.Knocked == nil || worse(k, p.Knocked.Verdict) {
			p.Knocked = &Knocked{Brace: on[i].ID, Verdict: k}
		}
	}
	p.Steps = v.s.steps
	v.plan = p
	if v.improve != nil {
		v.improve(p)
	}
	return nil
}

// worse says whether a verdict is worse than another.
func worse(a, b *standing.Verdict) bool {
	if a.Stands != b.Stands {
		return b.Stands
	}
	return a.Governing.Share > b.Governing.Share
}
