package statics

import (
	"math"
)

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
	r.from(r.of, o.u)
	r.limited = min(o.limited, 1)
}

// from puts the place where the iteration is; nil is where nothing has moved yet.
func (r *run) from(s *Solver, u []float64) {
	r.started = u != nil
	if u == nil {
		clear(r.cur)
		clear(r.at)
		return
	}
	copy(r.cur, u)
	s.read(u, r.at)
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
