package makesafe

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// mostBraces bounds what is added to one state.
const mostBraces = 40

// hopeless is the share of what an anchor in the ground holds from which no second brace beside it is tried.
const hopeless = 1.7

// leastShare is the share of the most motion that a brace must take part in to be worth setting.
const leastShare = 0.02

// demand is a state that must stand.
type demand struct {
	// state has no braces.
	state standing.Situation
	// knocked says that it must stand with any one brace knocked out, in the low gust.
	knocked bool
}

// choice is a place and what the brace there is made of.
type choice struct{ place, kit int }

// search looks for braces that make all demands stand.
type search struct {
	c       *catalogue
	j       judge
	demands []demand
	lowMPS  float64
	// given are the braces that are on already, and next the number of the first that is added.
	given  []brace.Brace
	next   int
	bodies []box
	// spare says of those that are on already that their loss need not be looked at again; nil for none.
	spare []bool
	// boards are braces that were cut from the stock before.
	boards []brace.Brace
	// standing are the sticks that stand, and from and to the moves whose ways stay clear.
	standing []int
	from, to int
	// usable are the places that are free of what stands and of what comes, in order of cost.
	usable []int
	// plain leaves out what is not seen to take part in the motion.
	plain bool
	steps int
	most  int
	// known says whether states stand, whatever their braces are called; seen are the verdicts of those that do, by what
	// their braces are called too.
	known map[string]bool
	seen  map[string]*standing.Verdict
	// hard are the places whose loss made a state fall, and last is the trial that fell last: they are tried first.
	hard map[int]bool
	last trial
}

// trial is one check of a set: a demand, with one of the braces that are on knocked out; −1 for none.
type trial struct{ demand, without int }

// fall is a trial that a set does not stand, with its verdict and how it moves.
type fall struct {
	trial
	v    *standing.Verdict
	move mover
}

// errSteps says that the budget is spent.
var errSteps = errors.New("steps spent")

// newSearch keeps the places that may be used: on sticks that stand, clear of them, of the braces that are on, and of the
// moves from number `from` up to `to`.
func newSearch(c *catalogue, j judge, demands []demand, given []brace.Brace, lowMPS float64, from, to int) *search {
	s := &search{
		c: c, j: j, demands: demands, given: given, lowMPS: lowMPS, next: nextNumber(given),
		known: map[string]bool{}, seen: map[string]*standing.Verdict{}, hard: map[int]bool{}, last: trial{0, -1}, from: from, to: to,
	}
	standing, open := make([]bool, len(c.f.Timbers())), make([]bool, len(c.f.Joints()))
	for _, d := range demands {
		for _, i := range d.state.Standing {
			standing[i] = true
		}
		for j, pegged := range d.state.Pegged {
			open[j] = open[j] || !pegged
		}
	}
	stands := func(i int) bool { return standing[i] }
	for i := range standing {
		if standing[i] {
			s.standing = append(s.standing, i)
		}
	}
	for i := range given {
		thick, butted := thickness(c.f, &given[i])
		s.bodies = append(s.bodies, braceBox(&given[i], thick, butted))
	}
	for k := range c.places {
		p := &c.places[k]
		clear := standing[p.brace.Timber] && (p.brace.FootTimber < 0 || standing[p.brace.FootTimber]) &&
			(p.joint < 0 || open[p.joint] || c.dangles(p.brace.Timber, stands)) && !(p.loose && slices.ContainsFunc(p.held, stands)) &&
			!slices.ContainsFunc(p.hits, stands) &&
			!slices.ContainsFunc(p.blocks, func(m int) bool { return m >= from && m <= to }) &&
			!s.meetsGiven(p)
		if clear {
			s.usable = append(s.usable, k)
		}
	}
	slices.SortStableFunc(s.usable, func(a, b int) int { return compare(c.places[a].cost, c.places[b].cost) })
	return s
}

func (s *search) meetsGiven(p *place) bool {
	for i := range s.given {
		if s.bodies[i].meets(p.body, gapMM) || s.given[i].FootTimber < 0 && p.brace.FootTimber < 0 && geom.Dist(s.given[i].Foot, p.brace.Foot) < feetMM {
			return true
		}
	}
	return false
}

// body is the room of a choice.
func (s *search) body(o choice) box {
	p := &s.c.places[o.place]
	if o.kit == 0 {
		return p.body
	}
	b := s.c.brace(o)
	thick, butted := thickness(s.c.f, &b)
	return braceBox(&b, thick, butted)
}

// together says whether two choices can be used at once.
func (s *search) together(x, y choice) bool {
	a, b := &s.c.places[x.place], &s.c.places[y.place]
	if a.slot == b.slot || s.body(x).meets(s.body(y), gapMM) {
		return false
	}
	return a.brace.FootTimber >= 0 || b.brace.FootTimber >= 0 || geom.Dist(a.brace.Foot, b.brace.Foot) >= feetMM
}

// fits says whether a place can be used beside a set, with the boards that there are.
func (s *search) fits(k int, set []choice) bool {
	for _, o := range set {
		if !s.together(choice{place: k}, o) {
			return false
		}
	}
	return len(s.short(append(slices.Clip(set), choice{place: k}))) == 0
}

// swells says whether the i-th choice of a set, made of another board than the first of its kits, runs into something.
func (s *search) swells(set []choice, i int) bool {
	p, body := &s.c.places[set[i].place], s.body(set[i])
	for _, k := range s.standing {
		if k != p.brace.Timber && s.c.bodies[k].meets(body, -touchMM) {
			return true
		}
	}
	for k := range s.c.ways {
		if m := s.c.wayOf[k]; m >= s.from && m <= s.to && s.c.ways[k].meets(body, -touchMM) {
			return true
		}
	}
	for _, g := range s.bodies {
		if g.meets(body, gapMM) {
			return true
		}
	}
	for k, o := range set {
		if k != i && !s.together(set[i], o) {
			return true
		}
	}
	return false
}

// short are the braces of a set, or of those that were cut before, for which there is no board.
func (s *search) short(set []choice) []brace.Brace {
	if !s.c.yard.counted {
		return nil
	}
	return s.c.yard.short(append(slices.Clone(s.boards), s.braces(set)...))
}

// braces are those of a set.
func (s *search) braces(set []choice) []brace.Brace {
	b := make([]brace.Brace, len(set))
	for i, c := range set {
		b[i] = s.c.brace(c)
		b[i].ID = s.id(i)
	}
	return b
}

// id is what the brace of a set's i-th choice is called.
func (s *search) id(i int) string { return fmt.Sprintf("B%d", s.next+i) }

// nextNumber is the first number from which no brace is called so.
func nextNumber(given []brace.Brace) int {
	n := 0
	for i := range given {
		if k, err := strconv.Atoi(strings.TrimPrefix(given[i].ID, "B")); err == nil && k > n {
			n = k
		}
	}
	return n + 1
}

// brace is that of a choice.
func (c *catalogue) brace(o choice) brace.Brace {
	p := &c.places[o.place]
	b := p.brace
	k := p.kits[o.kit]
	if k.lumber.ID != b.Lumber.ID {
		if n, butted := thickness(c.f, &b); !butted {
			shift := (k.lumber.WidthMM - b.Lumber.WidthMM) / 2
			b.Top = rounded(geom.Along(b.Top, shift, n))
			b.Foot = rounded(geom.Along(b.Foot, shift, n))
		}
	}
	b.Lumber, b.Head, b.Anchor = k.lumber, k.head, k.anchor
	return b
}

// on are all braces that are on with a set: those given first.
func (s *search) on(set []choice) []brace.Brace {
	return append(slices.Clone(s.given), s.braces(set)...)
}

// situation is the state of a trial. To knock out one beyond the last only lowers the gust.
func (s *search) situation(set []choice, t trial) standing.Situation {
	st := s.demands[t.demand].state
	on := s.on(set)
	if t.without >= 0 {
		if t.without < len(on) {
			on = slices.Delete(on, t.without, t.without+1)
		}
		st.GustMPS = min(st.GustMPS, s.lowMPS)
	}
	st.Braces = on
	return st
}

// low says whether a demand with a set stands the low gust.
func (s *search) low(ctx context.Context, set []choice, d int) (bool, error) {
	ok, _, err := s.ask(ctx, set, trial{d, len(s.given) + len(set)})
	return ok, err
}

// ask asks the judge once for what was not asked before. What is known to fall comes without a verdict.
func (s *search) ask(ctx context.Context, set []choice, t trial) (bool, *fall, error) {
	key := s.key(set, t)
	if ok, known := s.known[key]; known {
		return ok, nil, nil
	}
	f, err := s.look(ctx, set, t)
	if err != nil {
		return false, nil, err
	}
	s.known[key] = f.v.Stands
	if f.v.Stands {
		s.seen[s.named(set, t)] = f.v
		return true, nil, nil
	}
	return false, f, nil
}

// look asks the judge.
func (s *search) look(ctx context.Context, set []choice, t trial) (*fall, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if s.most > 0 && s.steps >= s.most {
		return nil, errSteps
	}
	s.steps++
	v, move, err := s.j.look(ctx, s.situation(set, t), t.without >= 0)
	return &fall{t, v, move}, err
}

// verdict is that of a trial of a set, in full.
func (s *search) verdict(ctx context.Context, set []choice, t trial) (*standing.Verdict, error) {
	if v := s.seen[s.named(set, t)]; v != nil {
		return v, nil
	}
	s.steps++
	return s.j.verdict(ctx, s.situation(set, t), t.without >= 0)
}

// named is the key of a state by the names of its braces too.
func (s *search) named(set []choice, t trial) string {
	k := fmt.Appendf(nil, "%d %d", t.demand, t.without)
	for _, c := range set {
		k = fmt.Appendf(k, " %d.%d", c.place, c.kit)
	}
	return string(k)
}

// key names a state: what is on, and the gust.
func (s *search) key(set []choice, t trial) string {
	var on []choice
	out := -1
	for i, c := range set {
		if len(s.given)+i != t.without {
			on = append(on, c)
		}
	}
	if t.without >= 0 && t.without < len(s.given) {
		out = t.without
	}
	slices.SortFunc(on, func(a, b choice) int { return a.place - b.place })
	low := 0
	if t.without >= 0 {
		low = 1
	}
	k := binary.AppendVarint(nil, int64(t.demand))
	k = binary.AppendVarint(k, int64(low))
	k = binary.AppendVarint(k, int64(out))
	for _, c := range on {
		k = binary.AppendVarint(k, int64(c.place))
		k = binary.AppendVarint(k, int64(c.kit))
	}
	return string(k)
}

// falls finds a trial that a set does not stand; nil when it stands all. First comes what fell last, then all demands with
// everything on, then what is knocked out, from the last that fell on.
func (s *search) falls(ctx context.Context, set []choice) (*fall, error) {
	trials := s.trials(set)
	if i := slices.Index(trials, s.last); i > 0 {
		if s.last.without >= 0 {
			n := len(s.demands)
			trials = slices.Concat(trials[i:i+1], trials[:n], trials[i+1:], trials[n:i])
		} else {
			trials = slices.Concat(trials[i:i+1], trials[:i], trials[i+1:])
		}
	}
	return s.first(ctx, set, trials)
}

// quick is falls for those trials alone that fell before for some set.
func (s *search) quick(ctx context.Context, set []choice) (*fall, error) {
	trials := slices.DeleteFunc(s.trials(set), func(t trial) bool {
		i := t.without - len(s.given)
		return i >= 0 && !s.hard[set[i].place]
	})
	return s.first(ctx, set, trials)
}

// first is the first of some trials that falls.
func (s *search) first(ctx context.Context, set []choice, trials []trial) (*fall, error) {
	for _, t := range trials {
		ok, f, err := s.ask(ctx, set, t)
		if err != nil {
			return nil, err
		}
		if ok {
			continue
		}
		s.last = t
		if i := t.without - len(s.given); i >= 0 {
			s.hard[set[i].place] = true
		}
		if f == nil {
			f = &fall{trial: t}
		}
		return f, nil
	}
	return nil, nil
}

// trials are all trials of a set.
func (s *search) trials(set []choice) []trial {
	var all []trial
	for d := range s.demands {
		all = append(all, trial{d, -1})
	}
	for d := range s.demands {
		if s.demands[d].knocked {
			for i := range len(s.given) + len(set) {
				if i < len(s.spare) && s.spare[i] {
					continue
				}
				all = append(all, trial{d, i})
			}
		}
	}
	return all
}

// build adds braces to a set until everything stands. Without success it returns what governs in the trial that cannot be
// made to stand.
func (s *search) build(ctx context.Context, set []choice) ([]choice, *standing.Verdict, error) {
	for {
		f, err := s.falls(ctx, set)
		if err != nil {
			return set, nil, err
		}
		if f == nil {
			more, grown := s.otherSide(set)
			if !grown {
				return set, nil, nil
			}
			set = more
			continue
		}
		if f.v == nil {
			if f, err = s.look(ctx, set, f.trial); err != nil {
				return set, nil, err
			}
		}
		more := s.mend(set, f)
		if more == nil || len(more) > mostBraces {
			return set, f.v, nil
		}
		set = more
	}
}
