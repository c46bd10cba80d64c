package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The thresholds of free motions.
const (
	// drivenRatio is the work of the loads on a free motion, against the largest that they could do, that counts as none.
	drivenRatio = 1e-8
	// mostOvers is how often a run may go over and be stopped by one-sided parts.
	mostOvers = 20
	// blockedRatio is how far a one-sided part must be moved by a free motion, against the most, to stand in its way.
	blockedRatio = 1e-6
)

// nulls are the free motions of the matrix factored last, orthonormal, in global axes.
func (s *Solver) nulls() [][]float64 {
	var out [][]float64
	for i := range s.factor.Zeros() {
		v := make([]float64, s.n)
		s.factor.Null(i, v)
		s.turnOut(v)
		for range 2 {
			for _, o := range out {
				d := dot(o, v)
				for f := range v {
					v[f] -= d * o[f]
				}
			}
		}
		l := math.Sqrt(dot(v, v))
		for f := range v {
			v[f] /= l
		}
		out = append(out, v)
	}
	return out
}

func dot(a, b []float64) (d float64) {
	for i, v := range a {
		d += v * b[i]
	}
	return d
}

// singular deals with a matrix that has free motions: it ends the run, or brings one-sided parts into another state.
func (s *Solver) singular(r *run) {
	none := s.nulls()
	if len(none) == 0 { // negative pivots alone: rounding in a matrix that is not negative
		r.end(Unsettled)
		return
	}
	// What is not balanced where the run is, and its part that the free motions take up.
	if !r.started {
		r.from(s, nil)
	}
	copy(r.u, r.cur)
	r.recover(s)
	driven := make([]float64, s.n)
	for _, v := range none {
		w := dot(v, r.out)
		for f := range v {
			driven[f] += w * v[f]
		}
	}
	work, most := math.Sqrt(dot(driven, driven)), math.Sqrt(dot(r.rhs, r.rhs))
	if work > drivenRatio*most {
		s.drive(r, none, driven, work)
		return
	}
	// The loads leave the free motions alone: the rest can be solved. At the end, what stands at the edge of letting go is
	// taken to hold.
	x := make([]float64, s.n)
	r.prepare(s, x)
	s.factor.Solve(x, 1)
	copy(r.u, x)
	s.turnOut(r.u)
	r.recover(s)
	if !s.step(r) {
		return
	}
	if !s.lean(r, none, r.u) {
		s.moves(r, none, nil)
	}
}

// lean takes a part that one of some free motions would close at once to hold, at displacements u; false when there is none.
func (s *Solver) lean(r *run, none [][]float64, u []float64) bool {
	for _, v := range none {
		for _, sign := range [...]float64{1, -1} {
			if p := s.blocker(r, v, sign); p >= 0 && r.leant <= len(s.parts) {
				r.leant++
				r.state[p] = Closed
				r.from(s, u)
				return true
			}
		}
	}
	return false
}

// drive follows a free motion that the loads drive until one-sided parts stop it; if none do, it ends the run.
func (s *Solver) drive(r *run, none [][]float64, driven []float64, work float64) {
	if !s.follow(r, driven, work*work, 0) {
		s.moves(r, none, driven)
	}
}

// follow goes from r.cur along a motion until one-sided parts stop it. At first the loads work at the given rate, and less by
// bend for each unit of the motion. It is false when nothing stops it within the size of the structure.
func (s *Solver) follow(r *run, motion []float64, rate, bend float64) bool {
	most := 0.0
	for n := range s.m.Nodes {
		most = max(most, geom.Norm(moved(motion, n, geom.Vec{})))
	}
	if most == 0 {
		return false
	}
	// A step of the size of the load's displacement of the stiffest part, so that the search begins near the knees.
	unit := r.load.scale / s.stiffest / most
	d := make([]float64, s.n)
	for f := range d {
		d[f] = unit * motion[f]
	}
	rate *= unit
	if rate <= 0 {
		rate = math.SmallestNonzeroFloat32
	}
	dq := s.readings[1]
	s.read(d, dq)
	r.model(s, r.state, r.slide, &s.laws)
	far, ok := s.search(r, dq, rate, unit*unit*bend/rate)
	if !ok || far*unit*most > s.size() {
		return false
	}
	for f := range d {
		r.u[f] = r.cur[f] + far*d[f]
	}
	copy(r.cur, r.u)
	q := s.readings[0]
	s.read(r.u, q)
	r.judge(s, q, r.next, r.nextSlide)
	r.take(q)
	return true
}

// moves ends a run with its free motions, the driven one first.
func (s *Solver) moves(r *run, none [][]float64, driven []float64) {
	if driven != nil {
		l := math.Sqrt(dot(driven, driven))
		rest := make([][]float64, 0, len(none))
		for f := range driven {
			driven[f] /= l
		}
		rest = append(rest, driven)
		for _, v := range none {
			for range 2 {
				for _, o := range rest {
					d := dot(o, v)
					for f := range v {
						v[f] -= d * o[f]
					}
				}
			}
			if l := math.Sqrt(dot(v, v)); l > 1e-6 && len(rest) < len(none) {
				for f := range v {
					v[f] /= l
				}
				rest = append(rest, v)
			}
		}
		none = rest
	}
	for _, v := range none {
		r.result.Motions = append(r.result.Motions, s.motion(v))
	}
	r.end(Moves)
}

// blocker is the one-sided part that a motion, taken sign times, would close first; -1 for none.
func (s *Solver) blocker(r *run, v []float64, sign float64) int {
	most := 0.0
	for n := range s.m.Nodes {
		most = max(most, geom.Norm(moved(v, n, geom.Vec{})), geom.Norm(turned(v, n)))
	}
	best, worst := -1, blockedRatio*most
	for p := range s.parts {
		if r.state[p] == Closed || s.parts[p].kind <= gripPart && s.without[s.parts[p].of] {
			continue
		}
		if rate := sign * s.closing(r, p, v); rate > worst {
			best, worst = p, rate
		}
	}
	return best
}

// closing is how fast a motion closes a part that is open, or moves back one that slides.
func (s *Solver) closing(r *run, p int, v []float64) float64 {
	q := &s.parts[p]
	switch q.kind {
	case tiePart, propPart, gripPart:
		d := s.elements[q.of].endDisplacements(v)
		stretch := d[6] - d[0]
		if q.kind == tiePart {
			return stretch
		}
		return -stretch
	case linkPart:
		l := &s.links[q.of]
		return -geom.Dot(l.gap(v), l.axes[0])
	case supportPart:
		return -v[6*s.m.Supports[q.of].Node+int(q.sub)]
	}
	c := &s.m.Contacts[q.of]
	lift, rest := across(moved(v, c.Node, c.Arm), s.normals[q.of])
	if r.state[p] == Sliding || r.state[p] == openSliding {
		return -geom.Dot(rest, r.slide[q.of].way)
	}
	return -lift
}

// spunIdle ends a run whose load turns a node that nothing keeps from turning.
func (s *Solver) spunIdle(r *run) bool {
	for _, t := range s.idle {
		p := r.rhs[6*t.node+3 : 6*t.node+6]
		m := math.Abs(t.axis.X*p[0] + t.axis.Y*p[1] + t.axis.Z*p[2])
		if m > nothingRatio*(r.load.turn+r.load.scale) {
			v := make([]float64, s.n)
			v[6*t.node+3], v[6*t.node+4], v[6*t.node+5] = t.axis.X, t.axis.Y, t.axis.Z
			s.moves(r, [][]float64{v}, nil)
			return true
		}
	}
	return false
}

// givenInclined puts prescribed displacements at inclined nodes into the axes of the matrix.
func (s *Solver) givenInclined(given, held []float64) {
	for _, node := range s.inward {
		t := s.turns[node]
		var c [3]float64
		for k, g := range t.gens {
			want := 0.0
			if f := t.freedom[k]; f >= 0 {
				want = held[6*int(node)+f]
			}
			for j := range k {
				want -= c[j] * geom.Dot(g, t.axes[j])
			}
			c[k] = want / geom.Dot(g, t.axes[k])
		}
		copy(given[6*node:6*node+3], c[:])
	}
}

// overturned deals with a matrix in the displaced shape that is not positive: it is a free motion of the structure as it
// is, or the structure goes over. It says whether the run has ended.
func (s *Solver) overturned(r *run) bool {
	r.second = false
	if loose, how, _ := s.assemble(r.state, r.slide, nil); loose >= 0 {
		r.result.Motions = []Motion{s.looseMotion(loose, how)}
		r.end(Moves)
		return true
	}
	s.factor.Refactor(s.matrix, s.holding, 0)
	free := s.factor.Inertia().Zero > 0
	var mode []float64
	if free {
		none := s.nulls()
		driven := false
		if mode, driven = s.loaded(r, none); !driven && s.lean(r, none, append([]float64(nil), r.cur...)) {
			r.second = true
			return false
		}
	} else {
		_, mode = s.buckling(r, r.axial)
	}
	r.second = true
	if mode == nil {
		r.end(Unstable)
		return true
	}
	// What the motion gains in the displaced shape.
	s.assemble(r.state, r.slide, r.axial)
	copy(r.u, r.cur)
	r.sum(s)
	r.recover(s)
	rate := dot(mode, r.out)
	if rate < 0 {
		rate = -rate
		for f := range mode {
			mode[f] = -mode[f]
		}
	}
	x, y := append([]float64(nil), mode...), make([]float64, s.n)
	s.turnIn(x)
	s.maskHeld(x, 1)
	s.matrix.Mul(y, x, 1)
	r.overs++
	if r.overs <= mostOvers && s.follow(r, mode, rate, dot(x, y)) {
		return false
	}
	m := s.motion(mode)
	if free {
		r.result.Motions = []Motion{m}
		r.end(Moves)
		return true
	}
	m.Words = "goes over under its load: " + m.Words
	r.result.Motions = []Motion{m}
	r.end(Unstable)
	return true
}

// loaded is the free motion that the loads drive, or the first when they drive none, and says which.
func (s *Solver) loaded(r *run, none [][]float64) (mode []float64, drive bool) {
	if len(none) == 0 {
		return nil, false
	}
	driven := make([]float64, s.n)
	for _, v := range none {
		w := dot(v, r.rhs)
		for f := range v {
			driven[f] += w * v[f]
		}
	}
	if math.Sqrt(dot(driven, driven)) > drivenRatio*math.Sqrt(dot(r.rhs, r.rhs)) {
		return driven, true
	}
	return none[0], false
}
