package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// All one-sided parts follow laws whose forces grow with their displacements, so that a structure with them has one least
// energy; friction is taken with the normal force of the round before. Each round solves for the states of the parts where
// the structure is (Newton's method), and goes towards the answer as far as the energy falls.

// sliding is how a contact rubs: its friction, the way it has moved across, and how far.
type sliding struct {
	limit float64
	way   geom.Vec
	far   float64
}

// The states of a contact that has lifted while the friction allowed to it, from the round before, is not yet nothing. With
// them friction does not depend on lifting within a round, which would spoil that there is one least energy.
const (
	openStuck State = iota + Sliding + 1
	openSliding
)

// contactStiffness is that of a contact's point, and the force of friction on the body that does not depend on its displacement.
func (s *Solver) contactStiffness(i int, st State, sl *sliding) (k mat3, rub geom.Vec) {
	c := &s.m.Contacts[i]
	n := s.normals[i]
	if st == Closed || st == Sliding {
		k.addOuter(c.K, n, n)
	}
	switch {
	case st == Closed || st == openStuck:
		k[0], k[4], k[8] = k[0]+c.KT, k[4]+c.KT, k[8]+c.KT
		k.addOuter(-c.KT, n, n)
	case st != Open && sl.far > 0:
		// The force turns with the way: its change across the way is as of a spring.
		side := geom.Cross(n, sl.way)
		k.addOuter(min(c.KT, sl.limit/sl.far), side, side)
		rub = geom.Scale(-sl.limit, sl.way)
	}
	return k, rub
}

// across splits a displacement into that along the unit vector n and the rest.
func across(u, n geom.Vec) (along float64, rest geom.Vec) {
	along = geom.Dot(u, n)
	return along, geom.Sub(u, geom.Scale(along, n))
}

// rubbing is the force across that a contact exerts for a displacement across, at most limit.
func rubbing(kt, limit float64, rest geom.Vec) geom.Vec {
	far := geom.Norm(rest)
	if kt*far <= limit || far == 0 {
		return geom.Scale(-kt, rest)
	}
	return geom.Scale(-limit/far, rest)
}

// axialLaw is the force along a member at its end I for a stretch between the arms' ends, with loads fi and fj on its ends,
// and the states of its parts. At the end J the force is less by fi + fj.
type axialLaw struct {
	n      float64
	idle   State
	pulled [2]State
}

func (s *Solver) axial(e *element, kind Kind, stretch, fi, fj float64) axialLaw {
	if e.bar {
		return s.barLaw(e, kind, stretch)
	}
	var options [4][2]State
	count := 1
	for end, p := range e.pulls {
		if p < 0 {
			continue
		}
		for k := range count {
			options[count+k] = options[k]
			options[count+k][end] = Open
		}
		count *= 2
	}
	best, least := axialLaw{}, math.Inf(1)
	for _, o := range options[:count] {
		law, off := s.tryLaw(e, o, stretch, fi, fj)
		if off < least {
			best, least = law, off
		}
		if off <= 0 {
			break
		}
	}
	return best
}

// tryLaw is the force with the ends in given states, and by how much they cannot be in them.
func (s *Solver) tryLaw(e *element, o [2]State, stretch, fi, fj float64) (axialLaw, float64) {
	flex := [2]float64{e.flex[0][UX], e.flex[1][UX]}
	for end := range 2 {
		if o[end] == Open {
			flex[end] = e.pull[end]
		}
	}
	law := axialLaw{pulled: o}
	free := [2]bool{math.IsInf(flex[0], 1), math.IsInf(flex[1], 1)}
	c0, f := 1/e.ka, fi+fj
	off := 0.0
	switch {
	case free[0] && free[1]:
		return law, math.MaxFloat64
	case free[0]:
		n2 := -f
		slip := stretch - c0*(n2+fj) - n2*flex[1]
		if o[0] == Open {
			off = max(off, -slip*e.ka)
		}
	case free[1]:
		law.n = f
		slip := stretch - law.n*flex[0] - c0*fj
		if o[1] == Open {
			off = max(off, -slip*e.ka)
		}
	default:
		law.n = (stretch - c0*fj + f*(c0+flex[1])) / (flex[0] + c0 + flex[1])
	}
	forces := [2]float64{law.n, law.n - f}
	for end, p := range e.pulls {
		switch {
		case p < 0:
		case o[end] == Closed:
			off = max(off, forces[end])
		case !free[end]:
			off = max(off, -forces[end])
		}
	}
	return law, off
}

func (s *Solver) barLaw(e *element, kind Kind, stretch float64) axialLaw {
	var law axialLaw
	if kind == Tie && stretch < 0 || kind == Prop && stretch > 0 {
		law.idle = Open
		return law
	}
	flex := [2]float64{e.flex[0][UX], e.flex[1][UX]}
	for end, p := range e.pulls {
		if p >= 0 && stretch > 0 {
			if math.IsInf(flex[1-end], 1) { // one end that has come out is enough
				continue
			}
			flex[end], law.pulled[end] = e.pull[end], Open
		}
	}
	k, _, _ := series(e.ka, flex[0], flex[1])
	law.n = k * stretch
	return law
}

// oneSided says that a member has one-sided parts.
func (e *element) oneSided() bool { return e.idle >= 0 || e.pulls[0] >= 0 || e.pulls[1] >= 0 }

// endLoads are the loads along a member on its ends.
func (r *run) endLoads(e *element, i int) (fi, fj float64) {
	if e.bar {
		return 0, 0
	}
	raw := r.rawOf(i)
	return raw[0], raw[6]
}

// judge finds the states in which the parts are at the readings q of their gauges, and the largest force by which the parts, in
// the states that were solved for, differ from their laws there. The forces of those states are in s.laws.
func (r *run) judge(s *Solver, q []float64, to states, rub []sliding) (wrong float64) {
	for k, m := range s.oneSided {
		e := &s.elements[m]
		if s.without[m] {
			continue
		}
		law := s.axial(e, s.m.Members[m].Kind, q[k], r.ends0[k][0], r.ends0[k][1])
		if e.idle >= 0 {
			to[e.idle] = law.idle
		}
		for end, p := range e.pulls {
			if p >= 0 {
				to[p] = law.pulled[end]
			}
		}
		wrong = max(wrong, math.Abs(law.n-s.laws.members[k].at(q[k])))
	}
	for i, p := range s.linkParts {
		if p < 0 {
			continue
		}
		k, pull := s.m.Links[i].K[0], *s.m.Links[i].Pull
		open := q[s.linkGauges[i]]
		to[p] = Closed
		if open > 0 {
			to[p] = Open
		}
		if to[p] != r.state[p] {
			wrong = max(wrong, math.Abs(open*(k-pull)))
		}
	}
	for i, o := range s.oneSidedSupports {
		lift := q[s.supportGauge+i] - r.heldAt(o.freedom)
		to[o.part] = Closed
		if lift > 0 {
			to[o.part] = Open
		}
		if to[o.part] != r.state[o.part] {
			wrong = max(wrong, math.Abs(lift)*s.rigid)
		}
	}
	for i := range s.contactParts {
		d := s.contactAt(q, i)
		f := r.judgeContact(s, i, d, to, rub)
		wrong = max(wrong, geom.Dist(f, s.laws.contact(i, d)))
	}
	return wrong
}

// judgeContact notes the state of a contact at a displacement and gives the force on the body there.
func (r *run) judgeContact(s *Solver, i int, d geom.Vec, to states, rub []sliding) geom.Vec {
	c, p := &s.m.Contacts[i], s.contactParts[i]
	lift, rest := across(d, s.normals[i])
	limit := r.limits[i]
	var f geom.Vec
	stuck, slides := openStuck, openSliding
	if lift <= 0 {
		stuck, slides = Closed, Sliding
		f = geom.Scale(-c.K*lift, s.normals[i])
	}
	to[p] = stuck
	if far := geom.Norm(rest); c.KT*far > limit {
		to[p] = slides
		rub[i] = sliding{limit: limit, way: geom.Scale(1/far, rest), far: far}
	}
	if limit == 0 && lift > 0 {
		to[p] = Open
		return f
	}
	return geom.Add(f, rubbing(c.KT, limit, rest))
}

// excess is the work on the change dq of readings of the forces that the parts' laws give at q beyond those of the matrix.
func (r *run) excess(s *Solver, q, dq []float64) float64 {
	sum := 0.0
	for k, m := range s.oneSided {
		if s.without[m] || dq[k] == 0 {
			continue
		}
		law := s.axial(&s.elements[m], s.m.Members[m].Kind, q[k], r.ends0[k][0], r.ends0[k][1])
		sum += (law.n - s.laws.members[k].at(q[k])) * dq[k]
	}
	for i, g := range s.linkGauges {
		if g < 0 {
			continue
		}
		law := s.m.Links[i].K[0]
		if q[g] > 0 {
			law = *s.m.Links[i].Pull
		}
		sum += (law - s.laws.members[g].k) * q[g] * dq[g]
	}
	for i, o := range s.oneSidedSupports {
		x := q[s.supportGauge+i]
		lift, d := x-r.heldAt(o.freedom), dq[s.supportGauge+i]
		switch {
		case lift > 0 && r.state[o.part] == Closed:
			sum -= s.rigid * lift * d
		case lift < 0 && r.state[o.part] == Open:
			sum += s.rigid * lift * d
		}
	}
	for i := range s.contactParts {
		c, d := &s.m.Contacts[i], s.contactAt(q, i)
		lift, rest := across(d, s.normals[i])
		var f geom.Vec
		if lift < 0 {
			f = geom.Scale(-c.K*lift, s.normals[i])
		}
		f = geom.Add(f, rubbing(c.KT, r.limits[i], rest))
		f = geom.Sub(f, s.laws.contact(i, d))
		sum -= geom.Dot(f, s.contactAt(dq, i))
	}
	return sum
}

// heldAt is the prescribed displacement of a freedom.
func (r *run) heldAt(f int) float64 {
	if r.load.held == nil {
		return 0
	}
	return r.load.held[f]
}
