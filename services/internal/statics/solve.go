package statics

import "slices"

// The bounds of the iterations.
const (
	// defaultRounds is Options.MaxRounds when it is 0.
	defaultRounds = 200
	// mostResidual is the largest residual of an answer.
	mostResidual = 1e-6
	// nothingRatio is the force, against the sum of the loads, that counts as none when one-sided parts are judged.
	nothingRatio = 1e-9
	// looseRounds is after how many rounds each what counts as none becomes ten times as much, up to mostNothing of the loads.
	looseRounds = 12
	mostNothing = 1e-6
	// settledRatio is the change of displacements, against the largest, at which the second-order iteration has settled.
	settledRatio = 1e-8
	// slidingRatio is the change of a limit of friction, against the loads, that counts as none.
	slidingRatio = 1e-8
	// earlyRatio is how close to their laws the parts must be, against how far the limits of friction were off, for those to be
	// set anew.
	earlyRatio = 0.2
	// growing is how many times the displacements of first order those of second order must be, if they do not settle, to
	// say that the structure goes over.
	growing = 3
	// patience is how often the limits of friction are set before the bound of their steps follows how they fare; the steps
	// are shares of what they missed by.
	patience              = 6
	leastShare, mostShare = 0.05, 1
	// polishRounds bounds the corrections with one factor, and polishRatio the change of the axial forces, against the
	// largest, up to which they are done.
	polishRounds = 6
	polishRatio  = 0.02
	// mostDoublings is how often a step without end is made four times as long before it counts as endless.
	mostDoublings = 40
)

// Solve analyses all cases. Its error is an *InputError for a case or option that makes no sense; all else is in the results.
func (s *Solver) Solve(cases []Case, o Options) ([]Result, error) {
	for i := range cases {
		if err := s.checkCase(&cases[i], i); err != nil {
			return nil, err
		}
	}
	if err := s.leaveOut(o.Without); err != nil {
		return nil, err
	}
	s.limit = o.MaxRounds
	if s.limit <= 0 {
		s.limit = defaultRounds
	}
	if err := s.checkOptions(&o, len(cases)); err != nil {
		return nil, err
	}
	if s.kept.filled = false; o.Axial != nil && len(s.elements) > 0 {
		s.keep(o.Axial)
	}
	results := make([]Result, len(cases))
	runs := make([]*run, len(cases))
	for i := range cases {
		runs[i] = s.newRun(&cases[i])
		runs[i].result, runs[i].later = &results[i], o.SecondOrder
		results[i].Case = cases[i].Name
		if o.Axial != nil {
			runs[i].second, runs[i].axial = true, o.Axial
		}
		switch len(o.Start) {
		case 0:
		case 1:
			runs[i].begin(o.Start[0])
		default:
			runs[i].begin(o.Start[i])
		}
	}
	s.short(runs)
	s.firstOrder(runs)
	for _, r := range runs {
		if o.SecondOrder && r.result.Outcome == Solved {
			s.secondOrder(r)
		}
		s.finish(r, o)
	}
	return results, nil
}

// leaveOut notes the members left out and the nodes that nothing is joined to without them.
func (s *Solver) leaveOut(members []int) error {
	before := slices.Clone(s.without)
	defer func() {
		if !slices.Equal(before, s.without) {
			s.flex.forget()
			s.kept.flex.forget()
		}
	}()
	clear(s.without)
	s.bare = s.bare[:0]
	if len(members) == 0 {
		return nil
	}
	for _, m := range members {
		if m < 0 || m >= len(s.without) {
			return wrong("options", "member %d is to be left out, but there are %d", m, len(s.without))
		}
		s.without[m] = true
	}
	used := make([]bool, len(s.m.Nodes))
	for i := range s.elements {
		if !s.without[i] {
			used[s.elements[i].i], used[s.elements[i].j] = true, true
		}
	}
	for i := range s.links {
		used[s.links[i].i], used[s.links[i].j] = true, true
	}
	for i := range s.m.Contacts {
		used[s.m.Contacts[i].Node] = true
	}
	for n, u := range used {
		if !u {
			s.bare = append(s.bare, n)
		}
	}
	return nil
}

// firstOrder follows the one-sided parts of the runs that are not done, with a factor for each round; those in the same states
// share it.
func (s *Solver) firstOrder(runs []*run) {
	var x []float64
	var group []*run
	for range s.limit {
		open := false
		for i, r := range runs {
			if r.done {
				continue
			}
			open = true
			group = append(group[:0], r)
			for _, other := range runs[i+1:] {
				if !other.done && other.rounds == r.rounds && sameState(r, other) {
					group = append(group, other)
				}
			}
			x = s.solveTogether(group, x)
		}
		if !open {
			return
		}
	}
	for _, r := range runs {
		if !r.done {
			r.end(Unsettled)
		}
	}
}

// sameState says that two runs have the same matrix.
func sameState(a, b *run) bool {
	for p, st := range a.state {
		if st != b.state[p] || st == Sliding || st == openSliding {
			return false
		}
	}
	return true
}

func (r *run) end(o Outcome) {
	r.result.Outcome = o
	r.done = true
}

// solveTogether does a round of runs that have the same matrix.
func (s *Solver) solveTogether(group []*run, x []float64) []float64 {
	first := group[0]
	for _, r := range group {
		r.rounds++
	}
	var axial []float64
	if first.second {
		axial = first.axial
	}
	loose, how, buckles := s.assemble(first.state, first.slide, axial)
	if loose >= 0 || buckles >= 0 {
		for _, r := range group {
			s.gone(r, loose, how, buckles)
		}
		return x
	}
	s.factor.Refactor(s.matrix, s.holding, 0)
	if in := s.factor.Inertia(); in.Zero > 0 || in.Negative > 0 {
		for _, r := range group {
			if first.second {
				s.overturned(r)
				continue
			}
			r.sum(s)
			s.singular(r)
		}
		return x
	}
	if need := s.n * len(group); cap(x) < need {
		x = make([]float64, need)
	}
	x = x[:s.n*len(group)]
	for k, r := range group {
		r.sum(s)
		r.prepare(s, x[k*s.n:(k+1)*s.n])
	}
	s.factor.Solve(x, len(group))
	for k, r := range group {
		copy(r.u, x[k*s.n:(k+1)*s.n])
		s.turnOut(r.u)
		if s.spunIdle(r) || !s.step(r) {
			continue
		}
		r.recover(s)
		if r.residual(s) <= mostResidual/1000 {
			r.end(Solved)
			continue
		}
		if s.refine(r); s.step(r) {
			r.end(Solved)
		}
	}
	return x
}

// gone ends a run when a member moves, or gives way, between nodes that are held.
func (s *Solver) gone(r *run, loose int, how looseness, buckles int) bool {
	switch {
	case loose >= 0:
		r.result.Motions = []Motion{s.looseMotion(loose, how)}
		r.end(Moves)
	case buckles >= 0:
		r.result.Motions = []Motion{s.bucklesMotion(buckles)}
		r.end(Unstable)
	default:
		return false
	}
	return true
}

// refine solves once more for what is left over.
func (s *Solver) refine(r *run) {
	x := s.column
	copy(x, r.out)
	s.turnIn(x)
	for f, h := range s.holding {
		if h {
			x[f] = 0
		}
	}
	s.factor.Solve(x, 1)
	s.turnOut(x)
	for f := range r.u {
		r.u[f] += x[f]
	}
	r.recover(s)
}
