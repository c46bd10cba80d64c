package statics

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The bounds of the iterations.
const (
	// defaultRounds is Options.MaxRounds when it is 0.
	defaultRounds = 200
	// mostResidual is the largest residual of an answer.
	mostResidual = 1e-6
	// nothingRatio is the force, against the sum of the loads, that counts as none when one-sided parts are judged.
	nothingRatio = 1e-9
	// settledRatio is the change of displacements, against the largest, at which the second-order iteration has settled.
	settledRatio = 1e-8
	// slidingRatio is the change of a limit of friction, against the loads, that counts as none.
	slidingRatio = 1e-6
	// earlyRatio is how close to their laws the parts must be, against how far the limits of friction were off, for those to be
	// set anew.
	earlyRatio = 0.2
	// growing is how many times the displacements of first order those of second order must be, if they do not settle, to
	// say that the structure goes over.
	growing = 3
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
	clear(s.without)
	for _, m := range o.Without {
		if m < 0 || m >= len(s.without) {
			return nil, &InputError{Piece: "options", Problem: fmt.Sprintf("member %d is to be left out, but there are %d", m, len(s.without))}
		}
		s.without[m] = true
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
	s.firstOrder(runs)
	for _, r := range runs {
		if o.SecondOrder && r.result.Outcome == Solved {
			s.secondOrder(r)
		}
		s.finish(r, o)
	}
	return results, nil
}

func (s *Solver) checkOptions(o *Options, cases int) error {
	if o.Axial != nil {
		if len(o.Axial) != len(s.elements) {
			return wrong("options", "there are %d axial forces for %d members", len(o.Axial), len(s.elements))
		}
		for i, n := range o.Axial {
			if !(math.Abs(n) <= mostLoad) {
				return wrong(s.m.memberName(i), "its axial force is not finite or beyond %.0e N", mostLoad)
			}
		}
	}
	if n := len(o.Start); n > 1 && n != cases {
		return wrong("options", "there are %d results to start from for %d cases", n, cases)
	}
	for _, r := range o.Start {
		if r != nil && r.run != nil && r.run.of != s {
			return wrong("options", "a result to start from is of another structure")
		}
	}
	return nil
}

// begin takes the states of one-sided parts, the place and the limits of friction from an earlier result.
func (r *run) begin(from *Result) {
	if from == nil || from.run == nil {
		return
	}
	o := from.run
	copy(r.state, o.state)
	copy(r.slide, o.slide)
	copy(r.limits, o.limits)
	copy(r.cur, o.u)
	r.started, r.limited = true, min(o.limited, 1)
}

// Axial are the axial forces of the members in a result, tension positive, at their middles.
func (s *Solver) Axial(r *Result) []float64 {
	n := make([]float64, len(s.elements))
	if r.run != nil {
		for i := range n {
			n[i] = (r.run.ends[i][1][0] - r.run.ends[i][0][0]) / 2
		}
	}
	return n
}

// firstOrder follows the one-sided parts of all runs; those in the same states share a factor.
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
			if loose >= 0 {
				r.result.Motions = []Motion{s.looseMotion(loose, how)}
				r.end(Moves)
				continue
			}
			r.result.Motions = []Motion{s.bucklesMotion(buckles)}
			r.end(Unstable)
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
		r.recover(s)
		if s.spunIdle(r) {
			continue
		}
		if r.residual(s) > mostResidual/1000 {
			s.refine(r)
		}
		if s.step(r) {
			r.end(Solved)
		}
	}
	return x
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

// step judges the one-sided parts at the solution in r.u. It says that they are in the states that were solved for; if not,
// the run goes on from a place on the way there.
func (s *Solver) step(r *run) bool {
	if len(s.parts) == 0 {
		return true
	}
	wrong := r.judge(s, r.u, r.next, r.nextSlide)
	if wrong <= nothingRatio*r.load.scale {
		if len(s.contactParts) == 0 || r.later || !s.limitFriction(r) {
			return true
		}
		r.judge(s, r.u, r.next, r.nextSlide)
		r.started = true
		r.take(r.u)
		return false
	}
	if !r.started {
		r.started = true
		r.take(r.u)
		return false
	}
	if r.limited > 0 && !r.later && wrong <= earlyRatio*r.miss {
		s.limitFriction(r) // closer than the limits are known: no need to come closer first
		r.judge(s, r.u, r.next, r.nextSlide)
		r.take(r.u)
		return false
	}
	d := make([]float64, s.n)
	for f := range d {
		d[f] = r.u[f] - r.cur[f]
	}
	x, y := append([]float64(nil), d...), make([]float64, s.n)
	s.turnIn(x)
	s.maskHeld(x, 1)
	s.matrix.Mul(y, x, 1)
	if far, ok := s.search(r, d, dot(x, y), 1); ok && far != 1 {
		for f := range d {
			r.u[f] = r.cur[f] + far*d[f]
		}
		r.judge(s, r.u, r.next, r.nextSlide)
	}
	r.take(r.u)
	return false
}

// take goes on from u in the states found there.
func (r *run) take(u []float64) {
	copy(r.cur, u)
	copy(r.state, r.next)
	copy(r.slide, r.nextSlide)
}

// limitFriction limits the friction of contacts by the forces along them that were found, and says whether that changes
// anything. From the second time on the limits are changed by a share of what they missed by, after Irons and Tuck: the
// share at which the last two misses would have vanished.
func (s *Solver) limitFriction(r *run) bool {
	changed := false
	share, first := 1.0, r.limited == 0
	var with, of float64
	missed := make([]float64, len(r.limits))
	for i, p := range s.contactParts {
		c := &s.m.Contacts[i]
		if c.Held {
			continue
		}
		lift, rest := across(moved(r.u, c.Node, c.Arm), s.normals[i])
		limit := max(0, -c.K*lift) * c.Mu
		felt := c.KT * geom.Norm(rest)
		stuck := r.state[p] == Closed || r.state[p] == openStuck
		if stuck && felt > limit+slidingRatio*r.load.scale || !stuck && math.Abs(limit-r.limits[i]) > slidingRatio*r.load.scale {
			changed = true
		}
		if first {
			r.limits[i] = limit
			continue
		}
		missed[i] = limit - r.limits[i]
		with += r.missed[i] * (missed[i] - r.missed[i])
		of += (missed[i] - r.missed[i]) * (missed[i] - r.missed[i])
	}
	if r.limited > 1 && of > 0 {
		share = min(max(-r.eased*with/of, 0.1), 2)
	}
	if !first {
		for i := range r.limits {
			if !s.m.Contacts[i].Held {
				r.limits[i] = max(0, r.limits[i]+share*missed[i])
			}
		}
	}
	copy(r.missed, missed)
	r.miss = 0
	for _, v := range missed {
		r.miss = max(r.miss, math.Abs(v))
	}
	r.limited++
	r.eased = share
	return changed
}

// search finds how far to go from r.cur along d: where the energy is least, unless the whole step is nearly so. At t the energy
// falls at the rate rate·(1 − bend·t) less the excess of the parts. It is not ok when it falls for ever.
func (s *Solver) search(r *run, d []float64, rate, bend float64) (t float64, ok bool) {
	u := make([]float64, s.n)
	fall := func(t float64) float64 {
		for f := range u {
			u[f] = r.cur[f] + t*d[f]
		}
		return rate*(1-bend*t) - r.excess(s, u, d)
	}
	lo, hi := 0.0, 1.0
	at0 := fall(0)
	if at0 <= 0 {
		return 1, true
	}
	at := fall(hi)
	if math.Abs(at) <= 0.7*at0 && bend > 0 {
		return 1, true
	}
	for range mostDoublings {
		if at <= 0 {
			break
		}
		lo = hi
		hi *= 4
		at = fall(hi)
	}
	if at > 0 {
		return hi, false
	}
	for range 40 {
		mid := (lo + hi) / 2
		v := fall(mid)
		if math.Abs(v) < 1e-3*at0 {
			return mid, true
		}
		if v > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi, true
}

// secondOrder repeats the solution with the forces of the members counted in the displaced shape.
func (s *Solver) secondOrder(r *run) {
	r.second, r.done, r.later = true, false, false
	r.axial = make([]float64, len(s.elements))
	most := largest(r.u)
	last := make([]float64, s.n)
	x := make([]float64, s.n)
	r.started = true
	copy(r.cur, r.u)
	for range s.limit {
		r.rounds++
		r.takeAxial()
		loose, how, buckles := s.assemble(r.state, r.slide, r.axial)
		if loose >= 0 {
			r.result.Motions = []Motion{s.looseMotion(loose, how)}
			r.end(Moves)
			return
		}
		if buckles >= 0 {
			r.result.Motions = []Motion{s.bucklesMotion(buckles)}
			r.end(Unstable)
			return
		}
		s.factor.Refactor(s.matrix, s.holding, 0)
		if in := s.factor.Inertia(); in.Zero > 0 || in.Negative > 0 {
			if s.overturned(r) {
				return
			}
			continue
		}
		copy(last, r.u)
		r.sum(s)
		r.prepare(s, x)
		s.factor.Solve(x, 1)
		copy(r.u, x)
		s.turnOut(r.u)
		r.recover(s)
		if r.residual(s) > mostResidual/1000 {
			s.refine(r)
		}
		if s.step(r) && (closeTo(r.u, last) || s.polish(r, last)) {
			r.end(Solved)
			return
		}
	}
	r.end(Unsettled)
	if largest(r.u) > growing*most { // it sways further from round to round
		m := s.motion(r.u)
		m.Words = "goes over under its load: " + m.Words
		r.result.Motions = []Motion{m}
		r.result.Outcome = Unstable
	}
}

func largest(u []float64) (most float64) {
	for _, v := range u {
		most = max(most, math.Abs(v))
	}
	return most
}

// polish brings the axial forces counted and those found together with the factor that there is, as long as they are close;
// it says that they, the displacements and the one-sided parts have settled.
func (s *Solver) polish(r *run, last []float64) bool {
	most, factored := 0.0, append([]float64(nil), r.axial...)
	for _, n := range factored {
		most = max(most, math.Abs(n))
	}
	for range polishRounds {
		copy(last, r.u)
		r.takeAxial()
		for i, n := range r.axial {
			if math.Abs(n-factored[i]) > polishRatio*most {
				return false
			}
		}
		r.press(s)
		r.sum(s)
		r.recover(s)
		s.refine(r)
		if !closeTo(r.u, last) {
			continue
		}
		return r.residual(s) <= mostResidual/1000 && s.step(r)
	}
	return false
}

// closeTo says that displacements have settled, rotations taken at a metre's arm.
func closeTo(u, last []float64) bool {
	most, change := 0.0, 0.0
	for f, v := range u {
		most = max(most, math.Abs(v))
		change = max(change, math.Abs(v-last[f]))
	}
	return change <= settledRatio*most
}

// takeAxial notes the axial forces of the members, those at their middles.
func (r *run) takeAxial() {
	for i := range r.ends {
		r.axial[i] = (r.ends[i][1][0] - r.ends[i][0][0]) / 2
	}
}
