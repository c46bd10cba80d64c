package statics

import (
	"math"
)

// secondOrder repeats the solution with the forces of the members counted in the displaced shape.
func (s *Solver) secondOrder(r *run) {
	r.second, r.done, r.later = true, false, false
	r.axial = make([]float64, len(s.elements))
	most := largest(r.u)
	last := append([]float64(nil), r.u...)
	x, fresh := make([]float64, s.n), true
	r.from(s, r.u)
	for range s.limit {
		r.rounds++
		if fresh { // the axial forces stay as they are until the one-sided parts have settled
			r.takeAxial()
			s.keep(r.axial)
			fresh = false
		}
		loose, how, buckles := s.assemble(r.state, r.slide, r.axial)
		if s.gone(r, loose, how, buckles) {
			return
		}
		s.factor.Refactor(s.matrix, s.holding, 0)
		if in := s.factor.Inertia(); in.Zero > 0 || in.Negative > 0 {
			if s.overturned(r) {
				return
			}
			continue
		}
		r.sum(s)
		r.prepare(s, x)
		s.factor.Solve(x, 1)
		copy(r.u, x)
		s.turnOut(r.u)
		if !s.step(r) {
			continue
		}
		r.recover(s)
		if r.residual(s) > mostResidual/1000 {
			s.refine(r)
		}
		if closeTo(r.u, last) || s.polish(r, last) {
			r.end(Solved)
			return
		}
		copy(last, r.u)
		fresh = true
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
