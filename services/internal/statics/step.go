package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// step judges the one-sided parts at the solution in r.u. It says that they are in the states that were solved for; if not,
// the run goes on from a place on the way there.
func (s *Solver) step(r *run) bool {
	if len(s.parts) == 0 {
		return true
	}
	q := s.readings[0]
	s.read(r.u, q)
	r.model(s, r.state, r.slide, &s.laws)
	d, x, y := s.spare[0], s.spare[1], s.spare[2]
	far, settled := s.advance(r, q, func() float64 {
		for f := range d {
			d[f] = r.u[f] - r.cur[f]
		}
		copy(x, d)
		s.turnIn(x)
		s.maskHeld(x, 1)
		s.matrix.Mul(y, x, 1)
		return dot(x, y)
	})
	if settled {
		return true
	}
	if far != 1 {
		for f := range d {
			r.u[f] = r.cur[f] + far*d[f]
		}
	}
	copy(r.cur, r.u)
	return false
}

// advance judges the one-sided parts at readings q that were solved for, the forces of the states solved for being in s.laws.
// When they are not in those states, it takes the states at the place on the way from the last readings to q where to go
// on, and says how far that is; rate gives twice the energy of the whole way.
func (s *Solver) advance(r *run, q []float64, rate func() float64) (far float64, settled bool) {
	wrong := r.judge(s, q, r.next, r.nextSlide)
	if wrong <= r.nothing() {
		if len(s.contactParts) == 0 || r.later || !s.limitFriction(r, q) {
			return 1, true
		}
		r.judge(s, q, r.next, r.nextSlide)
		r.take(q)
		return 1, false
	}
	if !r.started {
		r.take(q)
		return 1, false
	}
	if r.limited > 0 && !r.later && wrong <= earlyRatio*r.miss {
		s.limitFriction(r, q) // closer than the limits are known: no need to come closer first
		r.judge(s, q, r.next, r.nextSlide)
		r.take(q)
		return 1, false
	}
	dq := s.readings[1]
	for k := range dq {
		dq[k] = q[k] - r.at[k]
	}
	if t, ok := s.search(r, dq, rate(), 1); ok && t != 1 {
		far = t
		for k := range dq {
			q[k] = r.at[k] + far*dq[k]
		}
		r.judge(s, q, r.next, r.nextSlide)
		r.take(q)
		return far, false
	}
	r.take(q)
	return 1, false
}

// nothing is the force by which a part may miss its law: rounding, and, when the rounds go on, up to a millionth of the loads, as
// a part whose letting go would leave the structure almost without hold there cannot be followed more closely.
func (r *run) nothing() float64 {
	nothing := nothingRatio * r.load.scale
	for k := r.rounds - r.exact - looseRounds; k > 0 && nothing < mostNothing*r.load.scale; k -= looseRounds {
		nothing *= 10
	}
	return nothing
}

// take goes on from readings in the states found there.
func (r *run) take(q []float64) {
	r.started = true
	copy(r.at, q)
	copy(r.state, r.next)
	copy(r.slide, r.nextSlide)
}

// limitFriction limits the friction of contacts by the forces along them that were found, and says whether that changes
// anything. From the second time on the limits are changed by a share of what they missed by, after Irons and Tuck: the
// share at which the last two misses would have vanished.
func (s *Solver) limitFriction(r *run, q []float64) bool {
	changed := false
	slack := max(slidingRatio*r.load.scale, r.nothing()/10)
	share, first := 1.0, r.limited == 0
	var with, of float64
	missed := s.missed
	clear(missed)
	for i, p := range s.contactParts {
		c := &s.m.Contacts[i]
		if c.Held {
			continue
		}
		lift, rest := across(s.contactAt(q, i), s.normals[i])
		limit := max(0, -c.K*lift) * c.Mu
		felt := c.KT * geom.Norm(rest)
		stuck := r.state[p] == Closed || r.state[p] == openStuck
		if stuck && felt > limit+slack || !stuck && math.Abs(limit-r.limits[i]) > slack {
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
		share = max(-r.eased*with/of, leastShare)
	}
	miss := 0.0
	for _, v := range missed {
		miss = max(miss, math.Abs(v))
	}
	if r.limited > patience { // shorter where they miss by more than before, longer where by less
		if miss > r.miss {
			r.bound = max(r.bound/2, leastShare)
		} else {
			r.bound = min(r.bound*1.3, mostShare)
		}
	}
	share = min(share, r.bound)
	if !first {
		for i := range r.limits {
			if !s.m.Contacts[i].Held {
				r.limits[i] = max(0, r.limits[i]+share*missed[i])
			}
		}
	}
	copy(r.missed, missed)
	r.miss = miss
	r.limited++
	r.eased = share
	return changed
}

// search finds how far to go from the readings r.at along dq: where the energy is least, unless the whole step is nearly so. At t
// the energy falls at the rate rate·(1 − bend·t) less the excess of the parts. It is not ok when it falls for ever.
func (s *Solver) search(r *run, dq []float64, rate, bend float64) (t float64, ok bool) {
	q := s.readings[2]
	fall := func(t float64) float64 {
		for k := range q {
			q[k] = r.at[k] + t*dq[k]
		}
		return rate*(1-bend*t) - r.excess(s, q, dq)
	}
	lo, hi := 0.0, 1.0
	at0 := fall(0)
	if at0 <= 0 {
		return 1, true
	}
	at := fall(hi)
	if at >= 0 && bend == 1 {
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
	for range 50 { // ends where it still falls, so that no step is uphill
		mid := (lo + hi) / 2
		v := fall(mid)
		if v < 0 {
			hi = mid
			continue
		}
		if lo = mid; v < 0.1*at0 {
			break
		}
	}
	if lo > 0 {
		return lo, true
	}
	return hi, true
}
