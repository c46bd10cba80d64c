package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// run is one case under way.
type run struct {
	of    *Solver
	c     *Case
	load  *loading
	state states
	slide []sliding
	// cur is where the iteration is, in the states of state; next and nextSlide are those at a trial.
	cur []float64
	// at are the readings of the gauges there, ends0 the loads along the members with one-sided parts on their ends.
	at        []float64
	ends0     [][2]float64
	started   bool
	next      states
	nextSlide []sliding
	// limits are the most that friction gives at the contacts, limited how often they were set.
	limits  []float64
	limited int
	// later says that friction is limited later, in the displaced shape.
	later bool
	// leant is how often a part at the edge of letting go was taken to hold.
	leant int
	// overs is how often it went over in the displaced shape and was stopped.
	overs int
	// missed is by how much the limits differed from those found, and eased the share of that by which they were changed.
	missed      []float64
	miss, eased float64
	// bound is the largest share allowed.
	bound float64

	// u are the displacements, rhs the loads on the nodes, out what of them is not balanced by what holds the nodes,
	// supports apart; all in global axes.
	u, rhs, out []float64
	// ends are the forces on the members' ends, local; axial those along them that the matrix was made with; force those found.
	ends   [][2]Vec6
	axial  []float64
	second bool
	// strain is twice the strain energy, work twice the work of the loads.
	strain, work float64
	rounds       int
	// exact is in how many of the rounds nothing is taken more loosely.
	exact  int
	done   bool
	result *Result
}

func (s *Solver) newRun(c *Case) *run {
	r := &run{
		of: s, c: c, bound: mostShare, state: make(states, len(s.parts)), next: make(states, len(s.parts)),
		slide: make([]sliding, len(s.m.Contacts)), nextSlide: make([]sliding, len(s.m.Contacts)), limits: make([]float64, len(s.m.Contacts)), missed: make([]float64, len(s.m.Contacts)),
		cur: make([]float64, s.n),
		u:   make([]float64, s.n), rhs: make([]float64, s.n), out: make([]float64, s.n), ends: make([][2]Vec6, len(s.elements)),
	}
	r.load = s.load(c, s.without)
	for i := range r.limits {
		r.limits[i] = math.Inf(1)
	}
	r.at, r.ends0 = make([]float64, len(s.gauges)), make([][2]float64, len(s.oneSided))
	for k, m := range s.oneSided {
		r.ends0[k][0], r.ends0[k][1] = r.endLoads(&s.elements[m], int(m))
	}
	return r
}

// press takes the stiffnesses of the members anew for the axial forces counted.
func (r *run) press(s *Solver) {
	for i := range s.elements {
		if !s.without[i] {
			s.elements[i].condensed(s.hold(&s.elements[i], r.state), r.axial[i], &s.own[i])
			s.now[i] = &s.own[i]
		}
	}
}

// sum fills rhs: the loads on the nodes, those of the members passed on by their ends, and friction of what slides.
func (r *run) sum(s *Solver) {
	copy(r.rhs, r.load.nodal)
	for k, m := range r.load.loaded {
		e := &s.elements[m]
		if e.plain() {
			e.spread(&r.load.raw[k], 1, r.rhs)
			continue
		}
		f := e.passed(s.now[m], &r.load.raw[k])
		e.spread(&f, 1, r.rhs)
	}
	for i, p := range s.contactParts {
		if r.state[p] == Sliding || r.state[p] == openSliding {
			_, rub := s.contactStiffness(i, r.state[p], &r.slide[i])
			c := &s.m.Contacts[i]
			push(r.rhs, c.Node, rub, geom.Cross(c.Arm, rub))
		}
	}
	for _, q := range s.oneSidedSupports {
		if r.state[q.part] == Closed {
			r.rhs[q.freedom] += s.rigid * r.heldAt(q.freedom)
		}
	}
}

// prepare puts into x the right-hand side in the axes of the matrix: prescribed displacements where a freedom is held, and
// the loads less what those displacements cause elsewhere.
func (r *run) prepare(s *Solver, x []float64) {
	copy(x, r.rhs)
	s.turnIn(x)
	if r.load.held == nil {
		for f, h := range s.holding {
			if h {
				x[f] = 0
			}
		}
		return
	}
	given := s.column
	for f, h := range s.holding {
		given[f] = 0
		if h {
			given[f] = r.load.held[f]
		}
	}
	s.givenInclined(given, r.load.held)
	y := make([]float64, s.n)
	s.matrix.Mul(y, given, 1)
	for f, h := range s.holding {
		if h {
			x[f] = given[f]
		} else {
			x[f] -= y[f]
		}
	}
}

// recover finds the forces on the members' ends from the displacements, and what is left over at the nodes.
func (r *run) recover(s *Solver) {
	copy(r.out, r.rhs)
	r.work = 0
	for f, v := range r.rhs {
		r.work += v * r.u[f]
	}
	r.strain = 0
	at := 0
	for i := range s.elements {
		if s.without[i] {
			continue
		}
		e := &s.elements[i]
		d := e.endDisplacements(r.u)
		f := e.endForces(s.now[i], &d)
		for k := range f {
			r.strain += f[k] * d[k]
		}
		e.spread(&f, -1, r.out)
		if at < len(r.load.loaded) && int(r.load.loaded[at]) == i {
			load := &r.load.raw[at]
			at++
			if e.plain() {
				for q := range f {
					f[q] -= load[q]
				}
			} else {
				passed := e.passed(s.now[i], load)
				for q := range f {
					f[q] -= passed[q]
				}
			}
		}
		end := &r.ends[i]
		copy(end[0][:], f[:6])
		copy(end[1][:], f[6:])
	}
	for i := range s.links {
		r.recoverLink(s, i)
	}
	for i := range s.m.Supports {
		p := &s.m.Supports[i]
		for f, k := range p.Spring {
			at := 6*p.Node + f
			r.out[at] -= k * r.u[at]
			r.strain += k * r.u[at] * r.u[at]
		}
	}
	for _, q := range s.oneSidedSupports {
		if r.state[q.part] == Closed {
			r.out[q.freedom] -= s.rigid * r.u[q.freedom]
			r.strain += s.rigid * r.u[q.freedom] * r.u[q.freedom]
		}
	}
	for i, p := range s.contactParts {
		c := &s.m.Contacts[i]
		k, _ := s.contactStiffness(i, r.state[p], &r.slide[i])
		d := moved(r.u, c.Node, c.Arm)
		f := times(&k, d)
		r.strain += geom.Dot(f, d)
		f = geom.Scale(-1, f)
		push(r.out, c.Node, f, geom.Cross(c.Arm, f))
	}
}

func times(k *mat3, v geom.Vec) geom.Vec {
	return geom.Vec{
		X: k[0]*v.X + k[1]*v.Y + k[2]*v.Z,
		Y: k[3]*v.X + k[4]*v.Y + k[5]*v.Z,
		Z: k[6]*v.X + k[7]*v.Y + k[8]*v.Z,
	}
}

// linkForce is what a link exerts on its node J at its point, along and about its axes.
func (r *run) linkForce(s *Solver, i int) (f Vec6) {
	l, k := &s.links[i], s.m.Links[i].K
	if p := s.linkParts[i]; p >= 0 && r.state[p] == Open {
		k[0] = *s.m.Links[i].Pull
	}
	gap, spun := l.gap(r.u), l.spun(r.u)
	for a, axis := range l.axes {
		f[a], f[a+3] = -k[a]*geom.Dot(gap, axis), -k[a+3]*geom.Dot(spun, axis)
	}
	return f
}

func (r *run) recoverLink(s *Solver, i int) {
	l, f := &s.links[i], r.linkForce(s, i)
	var v, m geom.Vec
	for a, axis := range l.axes {
		v = geom.Add(v, geom.Scale(f[a], axis))
		m = geom.Add(m, geom.Scale(f[a+3], axis))
	}
	gap, spun := l.gap(r.u), l.spun(r.u)
	r.strain -= geom.Dot(v, gap) + geom.Dot(m, spun)
	push(r.out, int(l.j), v, geom.Add(m, geom.Cross(l.aj, v)))
	v, m = geom.Scale(-1, v), geom.Scale(-1, m)
	push(r.out, int(l.i), v, geom.Add(m, geom.Cross(l.ai, v)))
}

// residual is the largest force or moment that nothing balances, over the largest of its kind. Where there are forces, a moment
// is nothing against them times the size of a member.
func (r *run) residual(s *Solver) float64 {
	var left, most [2]float64
	out := r.out
	if s.inward != nil {
		out = s.column
		copy(out, r.out)
		s.turnIn(out)
	}
	for f, v := range out {
		kind := f % 6 / 3
		if v = math.Abs(v); s.holding[f] {
			raise(&most[kind], v)
			continue
		}
		raise(&left[kind], v)
		raise(&most[kind], math.Abs(r.rhs[f]))
	}
	for i := range r.ends {
		for _, e := range &r.ends[i] {
			raise(&most[0], math.Abs(e[0]))
			raise(&most[0], math.Abs(e[1]))
			raise(&most[0], math.Abs(e[2]))
			raise(&most[1], math.Abs(e[4]))
			raise(&most[1], math.Abs(e[5]))
		}
	}
	if most[0] == 0 && most[1] == 0 {
		return max(left[0], left[1])
	}
	force := max(most[0], most[1]/s.reach)
	return max(left[0]/force, left[1]/max(most[1], force*s.reach))
}

// raise makes most at least v; what is not a number counts as more than anything.
func raise(most *float64, v float64) {
	if !(v <= *most) {
		*most = v
	}
}

// slips are how far the ends of a member have moved from the arms' ends, along it, opening positive.
func (r *run) slips(s *Solver, i int) (slip [2]float64) {
	e := &s.elements[i]
	h := s.hold(e, r.state)
	free := [2]bool{math.IsInf(h.flex[0], 1), math.IsInf(h.flex[1], 1)}
	if h.flex == [2]float64{} {
		return slip
	}
	f := r.ends[i]
	tension := [2]float64{-f[0][0], f[1][0]}
	if e.bar {
		n := (f[1][0] - f[0][0]) / 2
		tension = [2]float64{n, n}
	}
	for end := range 2 {
		if !free[end] {
			slip[end] = tension[end] * h.flex[end]
		}
	}
	if !free[0] && !free[1] {
		return slip
	}
	d := e.endDisplacements(r.u)
	raw := r.rawOf(i)
	stretch := d[6] - d[0]
	switch {
	case free[0]: // the member ends where J leaves it, strained by the load on the end I
		slip[0] = stretch - slip[1] + raw[0]/e.ka
	default:
		slip[1] = stretch - slip[0] - raw[6]/e.ka
	}
	return slip
}

// rawOf are the loads on a member's ends.
func (r *run) rawOf(i int) [12]float64 {
	lo, hi := 0, len(r.load.loaded)
	for lo < hi {
		mid := (lo + hi) / 2
		if int(r.load.loaded[mid]) < i {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo < len(r.load.loaded) && int(r.load.loaded[lo]) == i {
		return r.load.raw[lo]
	}
	return [12]float64{}
}
