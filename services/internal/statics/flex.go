package statics

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// A round of the one-sided iteration changes few parts, and each of them by forces along its gauges alone. So the structure is
// factored once, with its parts in states near those to be found, and from then on a round is a small dense solution (Woodbury's
// formula) for the forces by which the changed parts differ from those states. Displacements are worked out at the end. What is
// not plain sailing goes on in the full iteration from where it is: free motions, structures that go over, many changes.

// The bounds of the short way.
const (
	// shortRounds is how many rounds are made the short way, mostColumns how many gauges may differ from the base, and
	// mostNew how many of them a single run may bring before the structure is factored anew where it is, at most mostBases times.
	shortRounds = 60
	mostColumns = 40
	mostNew     = 20
	mostBases   = 2
	// mostRefined bounds the corrections of an answer.
	mostRefined = 3
)

// flexible is a structure with its one-sided parts in given states, factored, with what unit forces along gauges do to it.
type flexible struct {
	ready, bad bool
	state      states
	factor     *ldlt.Factor
	holding    []bool
	idle       []idleTurn
	// column is the column of each gauge, −1 for none; of the gauge of each column; reads the readings of all gauges by a
	// unit force along that.
	column []int32
	of     []int32
	reads  [][]float64
	small  small
}

// forget says that it has to be factored anew.
func (b *flexible) forget() { b.ready, b.bad = false, false }

// short follows the one-sided parts of runs the short way, as far as it leads. Runs that it has ended are done.
func (s *Solver) short(runs []*run) {
	if len(s.parts) == 0 || s.long {
		return
	}
	for _, r := range runs {
		if r.load.held != nil {
			return
		}
	}
	b, bases := &s.kept.flex, 0
	if runs[0].axial == nil {
		b = &s.flex
	}
	if b.bad || !b.ready && !s.found(b, runs[0], baseStates(s, runs[0].state)) && !s.found(b, runs[0], make(states, len(s.parts))) {
		return
	}
	copy(s.holding, b.holding)
	loaded := false
	for k := 0; k < len(runs); k++ {
		r := runs[k]
		if !loaded {
			s.put(b, runs[k:])
			loaded = true
		}
		if !r.started && r.rounds == 0 {
			copy(r.state, b.state)
		}
		x := &shortRun{r: r, b: b, anew: len(runs) == 1 && bases < mostBases}
		if !s.follows(x) && x.crowded && x.anew {
			bases++
			loaded = false
			if !s.found(b, r, baseStates(s, r.state)) {
				return
			}
			r.started = false
			k-- // once more, from the states where it is
		}
	}
}

// baseStates are states near given ones in which contacts either hold or have lifted.
func baseStates(s *Solver, from states) states {
	st := slices.Clone(from)
	for _, p := range s.contactParts {
		switch st[p] {
		case Sliding:
			st[p] = Closed
		case Open, openStuck, openSliding:
			st[p] = Open
		}
	}
	return st
}

// found factors the structure in given states; it is false when it does not stand in them by itself.
func (s *Solver) found(b *flexible, r *run, st states) bool {
	if b.factor == nil {
		b.factor, b.column, b.holding = s.symbolic.NewFactor(), make([]int32, len(s.gauges)), make([]bool, s.n)
	}
	for i := range b.column {
		b.column[i] = -1
	}
	b.of, b.state = b.of[:0], st
	loose, _, buckles := s.assemble(st, nil, r.axial)
	b.ready = false
	if loose < 0 && buckles < 0 {
		b.factor.Refactor(s.matrix, s.holding, 0)
		in := b.factor.Inertia()
		b.ready = in.Zero == 0 && in.Negative == 0
	}
	b.bad = !b.ready
	copy(b.holding, s.holding)
	b.idle = append(b.idle[:0], s.idle...)
	return b.ready
}

// put solves for the loads of runs with the parts in the base's states; the loads are left in rhs of each, the displacements in u.
func (s *Solver) put(b *flexible, runs []*run) {
	if need := s.n * len(runs); cap(s.wide) < need {
		s.wide = make([]float64, need)
	}
	x := s.wide[:s.n*len(runs)]
	tight := s.tightOf(runs[0])
	for k, r := range runs {
		to := r.rhs
		copy(to, r.load.nodal)
		for q, m := range r.load.loaded {
			e := &s.elements[m]
			if e.plain() {
				e.spread(&r.load.raw[q], 1, to)
				continue
			}
			raw := &r.load.raw[q]
			f := e.passed(&tight[m], raw)
			if !e.bar && e.changed(b.state) {
				h := s.hold(e, b.state)
				_, t, _ := series(e.ka, h.flex[0], h.flex[1])
				f[0], f[6] = t[0][0]*raw[0]+t[0][1]*raw[6], t[1][0]*raw[0]+t[1][1]*raw[6]
			}
			e.spread(&f, 1, to)
		}
		to = x[k*s.n : (k+1)*s.n]
		copy(to, r.rhs)
		s.turnIn(to)
		mask(to, b.holding)
	}
	b.factor.Solve(x, len(runs))
	for k, r := range runs {
		copy(r.u, x[k*s.n:(k+1)*s.n])
		s.turnOut(r.u)
	}
}

func mask(x []float64, held []bool) {
	for f, h := range held {
		if h {
			x[f] = 0
		}
	}
}

// tightOf are the stiffnesses of the members with all parts closed, under the axial forces that a run counts.
func (s *Solver) tightOf(r *run) []stiff {
	if r.axial != nil {
		return s.kept.tight
	}
	return s.tight
}

// shortRun is a run on the short way: base are the forces of the base's states along the gauges, q0 the readings with them,
// g the forces along the columns by which the parts differ from them where the run is, and h those solved for.
type shortRun struct {
	r        *run
	b        *flexible
	q0, g, h []float64
	anew     bool
	// began says that the run began at an earlier result.
	began bool
	// crowded says that too much differs from the base.
	crowded bool
}

// follows goes the short way with a run and says whether it is done. If not, the run can go on from where it is.
func (s *Solver) follows(x *shortRun) bool {
	r, b := x.r, x.b
	if s.spins(b.idle, r.load.nodal) {
		return false
	}
	x.began = r.started
	x.q0 = s.readings[3]
	s.read(r.u, x.q0)
	r.model(s, b.state, nil, &s.baseLaws)
	r.started = false // the way begins at the answer in the states to begin with
	q := s.readings[0]
	for range shortRounds {
		r.rounds++
		r.exact = r.rounds
		r.model(s, r.state, r.slide, &s.laws)
		if !s.differ(x) || !b.small.factor(b) {
			s.leave(x)
			return false
		}
		x.solve(q)
		far, settled := s.advance(r, q, func() float64 { return x.energy(s.readings[1]) })
		for c := range x.g {
			x.g[c] += far * (x.h[c] - x.g[c])
		}
		if settled {
			return s.arrive(x)
		}
	}
	s.leave(x)
	return false
}

// spins says that loads turn a node that nothing keeps from turning.
func (s *Solver) spins(idle []idleTurn, loads []float64) bool {
	for _, t := range idle {
		p := loads[6*t.node+3 : 6*t.node+6]
		if t.axis.X*p[0]+t.axis.Y*p[1]+t.axis.Z*p[2] != 0 {
			return true
		}
	}
	return false
}

// leave puts a run where it is, for the full iteration to go on.
func (s *Solver) leave(x *shortRun) {
	r := x.r
	if !r.started { // nothing is known better than at first
		r.started = x.began
		return
	}
	s.moveBy(x.b, r.rhs, x.g, r.cur)
	s.read(r.cur, r.at)
}

// moveBy gives the displacements in the base by loads, in global axes, and forces along the columns.
func (s *Solver) moveBy(b *flexible, loads, g, to []float64) {
	copy(to, loads)
	for c, v := range g {
		if v != 0 {
			s.gauges[b.of[c]].push(v, to)
		}
	}
	s.turnIn(to)
	mask(to, b.holding)
	b.factor.Solve(to, 1)
	s.turnOut(to)
}

// differ lists the gauges along which the states of a run differ from the base, with their columns. It is false when they are
// too many.
func (s *Solver) differ(x *shortRun) bool {
	b, w, l, o := x.b, &x.b.small, &s.laws, &s.baseLaws
	w.rows = w.rows[:0]
	fresh, shed := 0, 0
	for k := range l.members {
		if d := (affine{l.members[k].k - o.members[k].k, l.members[k].a - o.members[k].a}); d != (affine{}) {
			w.rows = append(w.rows, row{gauge: int32(k), first: int32(len(w.rows)), count: 1, k: [6]float64{d.k}, a: d.a})
			if b.column[k] < 0 {
				shed++
			}
		}
	}
	for i := range s.feet {
		s.differAt(w, i)
	}
	for i := range w.rows {
		if b.column[w.rows[i].gauge] < 0 {
			fresh++
		}
	}
	if len(w.rows) > mostColumns || x.anew && shed > mostNew {
		x.crowded = true
		return false
	}
	if fresh > 0 {
		s.addColumns(b, fresh)
	}
	for len(x.g) < len(b.of) {
		x.g, x.h = append(x.g, 0), append(x.h, 0)
	}
	return true
}

// nothingLeft is the part of the largest stiffness of a foot below which a stiffness along its other gauges is rounding.
const nothingLeft = 1e-14

// differAt lists the gauges of a foot along which its contacts differ.
func (s *Solver) differAt(w *small, foot int) {
	var k [6]Vec6
	var a Vec6
	most := 0.0
	for _, i := range s.feet[foot].contacts {
		d := s.laws.contacts[i]
		for c := range d {
			d[c] -= s.baseLaws.contacts[i][c]
		}
		rub := s.laws.rubs[i]
		if d == (mat3{}) && rub == (geom.Vec{}) {
			continue
		}
		for p, u := range &s.spans[i] {
			v := times(&d, u)
			a[p] -= geom.Dot(rub, u)
			for q := range p + 1 {
				k[p][q] += geom.Dot(v, s.spans[i][q])
			}
			most = max(most, math.Abs(k[p][p]))
		}
	}
	var axes [6]int
	n := 0
	for p := range 6 {
		for q := range p {
			if math.Abs(k[p][q]) <= nothingLeft*most {
				k[p][q] = 0
			}
			k[q][p] = k[p][q]
		}
		if math.Abs(k[p][p]) <= nothingLeft*most {
			k[p][p] = 0
		}
	}
	for p := range 6 {
		if a[p] != 0 || k[p] != (Vec6{}) {
			axes[n] = p
			n++
		}
	}
	first := int32(len(w.rows))
	for _, p := range axes[:n] {
		r := row{gauge: int32(s.footGauge + 6*foot + p), first: first, count: int32(n), a: a[p]}
		for j, q := range axes[:n] {
			r.k[j] = k[p][q]
		}
		w.rows = append(w.rows, r)
	}
}

// addColumns solves for unit forces along the gauges listed that have no column yet.
func (s *Solver) addColumns(b *flexible, fresh int) {
	if need := s.n * fresh; cap(s.wide) < need {
		s.wide = make([]float64, need)
	}
	x := s.wide[:s.n*fresh]
	clear(x)
	first := len(b.of)
	for i := range b.small.rows {
		g := b.small.rows[i].gauge
		if b.column[g] >= 0 {
			continue
		}
		to := x[(len(b.of)-first)*s.n:][:s.n]
		s.gauges[g].push(1, to)
		s.turnIn(to)
		mask(to, b.holding)
		b.column[g] = int32(len(b.of))
		b.of = append(b.of, g)
	}
	b.factor.Solve(x, fresh)
	for c := range fresh {
		if len(b.reads) <= first+c {
			b.reads = append(b.reads, make([]float64, len(s.gauges)))
		}
		s.turnOut(x[c*s.n : (c+1)*s.n])
		s.read(x[c*s.n:(c+1)*s.n], b.reads[first+c])
	}
}

// solve gives the readings q in the run's states, and the forces h along the columns.
func (x *shortRun) solve(q []float64) {
	w := &x.b.small
	for i := range w.rows {
		w.v[i] = x.q0[w.rows[i].gauge]
	}
	w.solve(true)
	clear(x.h)
	copy(q, x.q0)
	for i := range w.rows {
		c, f := x.b.column[w.rows[i].gauge], w.v[i]
		x.h[c] = f
		for k, v := range x.b.reads[c] {
			q[k] += f * v
		}
	}
}

// energy is twice the energy, in the states solved for, of the way whose readings are dq.
func (x *shortRun) energy(dq []float64) (sum float64) {
	for c, g := range x.b.of[:len(x.g)] {
		sum += (x.h[c] - x.g[c]) * dq[g]
	}
	rows := x.b.small.rows
	for i := range rows {
		r := &rows[i]
		for j := range r.count {
			sum += dq[r.gauge] * r.k[j] * dq[rows[r.first+j].gauge]
		}
	}
	return sum
}

// arrive works out displacements and forces of a run whose parts have settled, and corrects them until they balance; where
// they do not, or the parts are not in their states after all, the run goes on the full way.
func (s *Solver) arrive(x *shortRun) bool {
	r, b, w := x.r, x.b, &x.b.small
	s.moveBy(b, r.rhs, x.g, r.u)
	s.stiffen(r)
	r.sum(s)
	r.recover(s)
	balanced, refined := r.residual(s) <= mostResidual/1000, false
	for k := 0; k < mostRefined && !balanced; k++ {
		refined = true
		v := s.spare[0]
		s.moveBy(b, r.out, nil, v)
		for i := range w.rows {
			w.v[i] = s.gauges[w.rows[i].gauge].read(v)
		}
		w.solve(false)
		clear(x.h)
		for i := range w.rows {
			x.h[b.column[w.rows[i].gauge]] = w.v[i]
		}
		s.moveBy(b, r.out, x.h, v)
		for f := range v {
			r.u[f] += v[f]
		}
		r.recover(s)
		balanced = r.residual(s) <= mostResidual/1000
	}
	if refined {
		q := s.readings[0]
		s.read(r.u, q)
		balanced = balanced && r.judge(s, q, r.next, r.nextSlide) <= r.nothing()
	}
	if !balanced {
		r.from(s, r.u)
		return false
	}
	r.end(Solved)
	return true
}

// stiffen notes the stiffnesses of the members in a run's states.
func (s *Solver) stiffen(r *run) {
	tight := s.tightOf(r)
	if s.own == nil {
		s.own = make([]stiff, len(s.elements))
	}
	for i := range s.elements {
		s.now[i] = &tight[i]
	}
	for _, i := range s.oneSided {
		e := &s.elements[i]
		if s.without[i] || !e.changed(r.state) {
			continue
		}
		s.alongOnly(&s.own[i], int(i), &tight[i], r.state)
		s.now[i] = &s.own[i]
	}
}
