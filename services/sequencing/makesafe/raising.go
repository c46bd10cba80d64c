package makesafe

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// DefaultRaisingSteps is how many states are checked for a whole raising when the budget does not say.
const DefaultRaisingSteps = 4000

// stageSteps is how many states are checked for one move at most, and fallenSteps when the one before it does not stand.
const stageSteps, fallenSteps = 600, 60

// Moment is when a state of a raising is looked at.
type Moment int

// The moments after a move.
const (
	// Released is when the hook or the hands have let go, the joints of the move not pegged yet, in the working gust.
	Released Moment = iota
	// Pegged is when they are pegged, in the working gust.
	Pegged
	// Beside is when they are pegged and the next move is being set beside it, in the working gust.
	Beside
	// Overnight is with all joints pegged, in the night's gust.
	Overnight
)

// State is the state after a move with some braces at a moment. Joints inside what is put together beforehand are
// pegged.
func (p *RaisingProblem) State(move int, on []brace.Brace, m Moment) standing.Situation {
	s := standing.Situation{Braces: on, GustMPS: p.Rules.WorkingGustMPS, Pegged: make([]bool, len(p.Frame.Joints()))}
	for j := range s.Pegged {
		s.Pegged[j] = true
	}
	for i := range p.Moves[:move] {
		s.Standing = append(s.Standing, p.Moves[i].Pieces...)
	}
	slices.Sort(s.Standing)
	switch m {
	case Released:
		for _, j := range p.Moves[move-1].Joints {
			s.Pegged[j] = false
		}
	case Beside:
		if move < len(p.Moves) && !p.Moves[move].Hands && p.footed(move+1) {
			s.OnHook = slices.Clone(p.Moves[move].Pieces)
		}
	case Overnight:
		s.GustMPS = p.Rules.NightGustMPS
	}
	return s
}

// Raising finds the braces of every state of a raising, or checks those given. It tells improve the plan so far after each
// move, and once more as every state is checked again in the end, with each of its braces knocked out in turn; improve may be
// nil. Its errors are that of the context, or a *statics.InputError for a problem that makes no sense.
//
// Going forward, braces are added to each state that does not stand with those that are on, and come off when what stands
// can do without them for a night.
func Raising(ctx context.Context, p RaisingProblem, b Budget, improve func(RaisingPlan)) (RaisingPlan, error) {
	if err := p.check(); err != nil {
		return RaisingPlan{}, err
	}
	return raise(ctx, p, newChecked(p.Frame, p.Rules), b, improve)
}

// check finds what makes no sense in a raising.
func (p *RaisingProblem) check() error {
	if err := p.Rules.Check(); err != nil {
		return err
	}
	if err := checkSite(p.Site, p.Stock); err != nil {
		return err
	}
	n, joints := len(p.Frame.Timbers()), len(p.Frame.Joints())
	for i, m := range p.Moves {
		name := fmt.Sprintf("move %d", i+1)
		if m.Number != i+1 {
			return &statics.InputError{Piece: name, Problem: fmt.Sprintf("its number is %d; number moves from 1 in their order", m.Number)}
		}
		for _, t := range m.Pieces {
			if t < 0 || t >= n {
				return &statics.InputError{Piece: name, Problem: fmt.Sprintf("piece %d is not one of the %d timbers of the frame", t, n)}
			}
		}
		for _, j := range m.Joints {
			if j < 0 || j >= joints {
				return &statics.InputError{Piece: name, Problem: fmt.Sprintf("joint %d is not one of the %d joints of the frame", j, joints)}
			}
		}
	}
	for k := range p.Given {
		if k < 1 || k > len(p.Moves) {
			return &statics.InputError{Piece: fmt.Sprintf("move %d", k), Problem: fmt.Sprintf("braces are given for it, but the raising has moves 1 to %d", len(p.Moves))}
		}
	}
	return nil
}

// raiser is a raising in the making.
type raiser struct {
	p       RaisingProblem
	j       judge
	yard    *yard
	improve func(RaisingPlan)
	// all are the braces in the order in which they are set, and from the stage that sets each, from 1.
	all  []brace.Brace
	from []int
	// off is the stage after which a brace that props or ties something until it is held was taken off going forward; 0
	// for none. places are the places of all.
	off    []int
	places []int
	// pegFirst says of each stage that its joints are pegged before the hook lets go.
	pegFirst []bool
	// refused is why a stage does not stand, in words; empty when it does.
	refused []string
	// keep are the braces that stay on after each stage, and on those that are on while it is checked.
	keep, on [][]int
	// slight says of each brace whether its loss was slight when it was looked at last.
	slight map[int]bool
	// seen are the verdicts of all states that were asked for.
	seen  map[string]*standing.Verdict
	steps int
	most  int
}

func raise(ctx context.Context, p RaisingProblem, j judge, b Budget, improve func(RaisingPlan)) (RaisingPlan, error) {
	n := len(p.Moves)
	r := &raiser{
		p: p, j: j, yard: newYard(p.Stock), improve: improve, seen: map[string]*standing.Verdict{}, slight: map[int]bool{}, most: b.Steps, pegFirst: make([]bool, n+1),
		refused: make([]string, n), keep: make([][]int, n+1), on: make([][]int, n+1),
	}
	if r.most <= 0 {
		r.most = DefaultRaisingSteps
	}
	plan := RaisingPlan{Planned: p.Given == nil}
	if p.Given != nil {
		if err := r.take(ctx); err != nil && !errors.Is(err, errSteps) {
			return RaisingPlan{}, err
		}
	} else {
		err := r.forward(ctx, &RaisingPlan{Planned: true})
		if errors.Is(err, errSteps) {
			plan.Notes = append(plan.Notes, "The steps of the search were spent: moves that were not reached have no braces of their own; allow more steps.")
			err = nil
		}
		if err != nil {
			return RaisingPlan{}, err
		}
	}
	if p.Given == nil {
		for k := 1; k <= n; k++ {
			r.on[k], r.keep[k] = r.until(k), r.after(k)
		}
	}
	if err := r.report(ctx, &plan); err != nil {
		return RaisingPlan{}, err
	}
	return plan, nil
}

// slightShare bounds what the loss of a brace may use of any capacity to count as slight. A setting of ours.
const slightShare = 0.6

// note keeps whether the loss of a brace is slight: in the low gust it uses no more of any capacity than the state itself
// uses in its own gust with all braces on. The search does not look at such a loss again while sticks and braces are only
// added; the check in the end looks at all.
func (r *raiser) note(brace int, loss, whole *standing.Verdict) {
	r.slight[brace] = loss.Stands && whole != nil && loss.Governing.Share <= min(slightShare, whole.Governing.Share)
}

// letGo is the moment at which the hook lets go of a move.
func (r *raiser) letGo(k int) Moment {
	if r.pegFirst[k] {
		return Pegged
	}
	return Released
}

// demands are the states after a move that must stand before the hook lets go of it, and their moments.
func (r *raiser) demands(k int) (d []demand, at []Moment) {
	add := func(m Moment, knocked bool) {
		d = append(d, demand{state: r.p.State(k, nil, m), knocked: knocked})
		at = append(at, m)
	}
	add(r.letGo(k), true)
	if r.hooked(k) {
		add(Beside, false)
	}
	if r.p.Moves[k-1].DayEnds {
		add(Overnight, true)
	}
	return d, at
}

// hooked says whether the move after one hangs from a hook and is drawn in. Single sticks aloft neither swing against what
// stands with a weight that counts nor take a come-along.
func (r *raiser) hooked(k int) bool {
	return k < len(r.p.Moves) && !r.p.Moves[k].Hands && r.p.footed(k+1)
}

// footed says whether a move stands something on the deck.
func (p *RaisingProblem) footed(k int) bool {
	return slices.ContainsFunc(p.Moves[k-1].Joints, func(j int) bool {
		_, on := p.Frame.Ends(j)
		return on < 0
	})
}

// forward adds braces move by move and takes none off. What stands on the deck is braced before its joints are pegged; what
// hangs on other sticks is pegged before the hook lets go, when it does not stay up by itself.
func (r *raiser) forward(ctx context.Context, plan *RaisingPlan) error {
	var sticks []int
	for i := range r.p.Moves {
		sticks = append(sticks, r.p.Moves[i].Pieces...)
	}
	c := newCatalogue(r.p.Frame, r.p.Site, r.yard, r.p.Rules.SlendernessPush, r.p.Moves, sticks)
	for k := 1; k <= len(r.p.Moves); k++ {
		s, set, stuck, err := r.stage(ctx, c, k)
		if err != nil {
			return err
		}
		if stuck != nil {
			if s, set, err = r.least(ctx, c, k, s, set, stuck); err != nil {
				return err
			}
		}
		for i, b := range s.braces(set) {
			r.all = append(r.all, b)
			r.from = append(r.from, k)
			r.off = append(r.off, 0)
			r.places = append(r.places, set[i].place)
		}
		r.learn(s, k, set)
		if stuck == nil {
			if err := r.unprop(ctx, c, k); err != nil {
				return err
			}
			if r.settled(k) {
				if err := r.strike(ctx, k); err != nil {
					return err
				}
			}
		}
		if r.improve != nil {
			r.on[k], r.keep[k] = r.until(k), r.after(k)
			plan.Cuts = brace.Cuts(r.all, r.p.Stock)
			if err := r.tell(ctx, plan, k, false); err != nil {
				return err
			}
		}
	}
	return nil
}

// stage finds the braces that one stage adds to all that are on.
func (r *raiser) stage(ctx context.Context, c *catalogue, k int) (s *search, set []choice, stuck *standing.Verdict, err error) {
	for _, first := range []bool{false, true} {
		r.pegFirst[k] = first
		demands, _ := r.demands(k)
		s = newSearch(c, r.j, demands, r.braces(r.after(k-1)), r.p.Rules.LowGustMPS, k+1, len(r.p.Moves))
		s.boards, s.next = r.all, nextNumber(r.all)
		if !r.settled(k) {
			for _, i := range r.after(k - 1) {
				s.spare = append(s.spare, r.slight[i])
			}
		}
		left := r.most - r.steps
		if left <= 0 {
			return s, nil, nil, errSteps
		}
		s.most = min(left, stageSteps)
		if k > 1 && r.refused[k-2] != "" {
			s.most = min(left, fallenSteps)
		}
		if !first && !r.p.footed(k) {
			// Does it stay up as it is? Otherwise pegs come before braces.
			f, err := s.falls(ctx, nil)
			r.steps += s.steps
			if spent(err) != nil {
				return s, nil, nil, err
			}
			if f == nil && err == nil {
				return s, nil, nil, nil
			}
			continue
		}
		set, stuck, err = s.build(ctx, nil)
		if err == nil && stuck == nil {
			set, err = s.drop(ctx, set)
			err = spent(err)
		}
		r.steps += s.steps
		if errors.Is(err, errSteps) {
			stuck, err = &standing.Verdict{Governing: standing.Usage{Words: "the steps of the search for this move were spent"}}, nil
		}
		if err != nil || stuck == nil {
			return s, set, nil, err
		}
	}
	return s, set, stuck, nil
}

// least answers a stage that cannot be made to stand with any one brace knocked out: with braces that make it stand as long
// as all are on, or else with none.
func (r *raiser) least(ctx context.Context, c *catalogue, k int, s *search, set []choice, stuck *standing.Verdict) (*search, []choice, error) {
	r.refused[k-1] = c.refusal(len(s.usable), len(set), stuck)
	demands, _ := r.demands(k)
	for i := range demands {
		demands[i].knocked = false
	}
	s = newSearch(c, r.j, demands, r.braces(r.after(k-1)), r.p.Rules.LowGustMPS, k+1, len(r.p.Moves))
	s.boards, s.next, s.most = r.all, nextNumber(r.all), min(fallenSteps, max(1, r.most-r.steps))
	s.plain = true
	set, stuck, err := s.build(ctx, nil)
	if err == nil && stuck == nil {
		set, err = s.drop(ctx, set)
	}
	r.steps += s.steps
	if stuck != nil || errors.Is(err, errSteps) {
		return s, nil, nil
	}
	if err != nil {
		return s, nil, err
	}
	r.refused[k-1] = fmt.Sprintf("It stands with the braces that are on, but not with every one of them knocked out. %s", r.refused[k-1])
	return s, set, nil
}

// unprop takes off, going forward, what propped or tied a stick until others hold it, when the stage stands without.
func (r *raiser) unprop(ctx context.Context, c *catalogue, k int) error {
	stands := make([]bool, len(r.p.Frame.Timbers()))
	for _, i := range r.p.State(k, nil, Pegged).Standing {
		stands[i] = true
	}
	is := func(i int) bool { return stands[i] }
	var out []int
	for _, i := range r.after(k) {
		p := &c.places[r.places[i]]
		if p.loose && slices.ContainsFunc(p.held, is) || p.joint >= 0 && !c.dangles(p.brace.Timber, is) {
			out = append(out, i)
		}
	}
	m := Pegged
	if r.p.Moves[k-1].DayEnds {
		m = Overnight
	}
	return r.takeOff(ctx, k, m, out)
}

// learn keeps the verdicts of a stage.
func (r *raiser) learn(s *search, k int, set []choice) {
	_, at := r.demands(k)
	on := r.until(k)
	for _, t := range s.trials(set) {
		if v := s.seen[s.named(set, t)]; v != nil {
			r.seen[r.key(k, at[t.demand], on, t.without)] = v
			if t.without >= 0 {
				r.note(on[t.without], v, s.seen[s.named(set, trial{t.demand, -1})])
			}
		}
	}
}

// take follows the braces that were given. A stage that stands only with its joints pegged has them pegged first.
func (r *raiser) take(ctx context.Context) error {
	on := []int{}
	for k := 1; k <= len(r.p.Moves); k++ {
		g := r.p.Given[k]
		for _, b := range g.Set {
			if slices.ContainsFunc(r.all, func(o brace.Brace) bool { return o.ID == b.ID }) {
				return &statics.InputError{Piece: "brace " + b.ID, Problem: "two braces have this id; give each its own"}
			}
			on = append(on, len(r.all))
			r.all = append(r.all, b)
			r.from = append(r.from, k)
			r.off = append(r.off, 0)
		}
		r.on[k] = slices.Clone(on)
		if err := r.pegs(ctx, k); err != nil {
			return err
		}
		for _, id := range g.Strike {
			i := slices.IndexFunc(on, func(i int) bool { return r.all[i].ID == id })
			if i < 0 {
				return &statics.InputError{Piece: "brace " + id, Problem: fmt.Sprintf("it comes off after move %d but is not on then; name one that was set before", k)}
			}
			on = slices.Delete(on, i, i+1)
		}
		r.keep[k] = slices.Clone(on)
	}
	return nil
}

// pegs says whether a stage with what is on stands only with its joints pegged before the hook lets go.
func (r *raiser) pegs(ctx context.Context, k int) error {
	for _, first := range []bool{false, true} {
		r.pegFirst[k] = first
		if ok, err := r.survives(ctx, k, r.letGo(k), r.on[k]); err != nil || ok {
			return err
		}
	}
	r.pegFirst[k] = false
	return nil
}

// braces are those of some indices.
func (r *raiser) braces(on []int) []brace.Brace {
	b := make([]brace.Brace, len(on))
	for i, k := range on {
		b[i] = r.all[k]
	}
	return b
}
