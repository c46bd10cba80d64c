package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// span is a load on a member in its own axes: even from a to b, or a force and a moment at a when b is NaN.
type span struct {
	member int32
	a, b   float64
	// w is N/m, or N; m is N·m.
	w, m geom.Vec
}

func (p *span) isPoint() bool { return math.IsNaN(p.b) }

// loading is a case made ready.
type loading struct {
	// nodal are the forces and moments at the nodes, in global axes.
	nodal []float64
	// spans are sorted by member; of gives those of one.
	spans []span
	first []int32
	// raw are the loads on the ends of the members that have spans, by place in loaded.
	loaded []int32
	raw    [][12]float64
	// held are the prescribed displacements of held freedoms, nil for none.
	held []float64
	// scale is the sum of the forces, for what counts as nothing; turn the sum of the moments.
	scale, turn float64
}

func (l *loading) of(member int) []span { return l.spans[l.first[member]:l.first[member+1]] }

// load makes a case ready; without are the members left out.
func (s *Solver) load(c *Case, without []bool) *loading {
	n := len(s.elements)
	l := &loading{nodal: make([]float64, s.n), first: make([]int32, n+1)}
	for _, f := range c.Nodal {
		p := l.nodal[6*f.Node : 6*f.Node+6]
		for k, v := range f.F {
			p[k] += v
			if k < 3 {
				l.scale += math.Abs(v)
			} else {
				l.turn += math.Abs(v)
			}
		}
	}
	s.addEven(c, without)
	each := func(do func(member int32, p span)) {
		for m, w := range s.even {
			if w != (geom.Vec{}) {
				do(int32(m), span{b: s.elements[m].l, w: w})
			}
		}
		for _, q := range c.Line {
			if e := &s.elements[q.Member]; !without[q.Member] && !e.whole(&q) {
				to := q.To
				if to == 0 {
					to = e.l
				}
				do(int32(q.Member), span{a: q.From, b: min(to, e.l), w: q.W})
			}
		}
		for _, q := range c.Point {
			if !without[q.Member] {
				do(int32(q.Member), span{a: min(q.At, s.elements[q.Member].l), b: math.NaN(), w: q.F, m: q.M})
			}
		}
	}
	each(func(m int32, _ span) { l.first[m+1]++ })
	for m := range n {
		if l.first[m+1] > 0 {
			l.loaded = append(l.loaded, int32(m))
		}
		l.first[m+1] += l.first[m]
	}
	l.spans = make([]span, l.first[n])
	next := append([]int32(nil), l.first[:n]...)
	each(func(m int32, p span) {
		e := &s.elements[m]
		f := geom.Norm(p.w)
		if !p.isPoint() {
			f *= p.b - p.a
		}
		l.scale += f
		l.turn += geom.Norm(p.m)
		p.member = m
		p.w.X, p.w.Y, p.w.Z = e.local(p.w)
		p.m.X, p.m.Y, p.m.Z = e.local(p.m)
		l.spans[next[m]] = p
		next[m]++
	})
	l.raw = make([][12]float64, len(l.loaded))
	for k, m := range l.loaded {
		for i := range l.of(int(m)) {
			s.elements[m].ends(&l.of(int(m))[i], &l.raw[k])
		}
	}
	l.held = s.heldValues(c.Prescribed)
	return l
}

// addEven adds up what is even over whole members: their weight and line loads.
func (s *Solver) addEven(c *Case, without []bool) {
	clear(s.even)
	if c.Gravity != (geom.Vec{}) {
		for m := range s.elements {
			if !without[m] {
				s.even[m] = geom.Scale(s.elements[m].line, c.Gravity)
			}
		}
	}
	for i := range c.Line {
		if q := &c.Line[i]; !without[q.Member] && s.elements[q.Member].whole(q) {
			s.even[q.Member] = geom.Add(s.even[q.Member], q.W)
		}
	}
}

// whole says that a load is on the whole of the member.
func (e *element) whole(q *LineLoad) bool { return q.From == 0 && (q.To == 0 || q.To == e.l) }

// ends adds the loads on the member's ends that do the same work as the span does on the member's shape functions,
// which are exact for a prismatic member; so they are the fixed-end forces turned round.
func (e *element) ends(p *span, to *[12]float64) {
	l := e.l
	if p.isPoint() {
		x := p.a / l
		to[0] += (1 - x) * p.w.X
		to[6] += x * p.w.X
		if e.bar {
			to[1] += (1-x)*p.w.Y - p.m.Z/l
			to[7] += x*p.w.Y + p.m.Z/l
			to[2] += (1-x)*p.w.Z + p.m.Y/l
			to[8] += x*p.w.Z - p.m.Y/l
			return
		}
		to[3] += (1 - x) * p.m.X
		to[9] += x * p.m.X
		bend(to, shapeAt(x, l, e.py), slopeAt(x, l, e.py), p.w.Y, p.m.Z, inY())
		bend(to, shapeAt(x, l, e.pz), slopeAt(x, l, e.pz), p.w.Z, -p.m.Y, inZ())
		return
	}
	if p.a == 0 && p.b == l { // half at either end, and w·l²/12
		x, y, z := l/2*p.w.X, l/2*p.w.Y, l/2*p.w.Z
		to[0], to[1], to[2], to[6], to[7], to[8] = to[0]+x, to[1]+y, to[2]+z, to[6]+x, to[7]+y, to[8]+z
		if !e.bar {
			y, z = y*l/6, z*l/6
			to[4], to[5], to[10], to[11] = to[4]-z, to[5]+y, to[10]+z, to[11]-y
		}
		return
	}
	a, b := p.a/l, p.b/l
	whole, moment := p.b-p.a, l*(b*b-a*a)/2
	to[0] += (whole - moment) * p.w.X
	to[6] += moment * p.w.X
	if e.bar {
		to[1] += (whole - moment) * p.w.Y
		to[7] += moment * p.w.Y
		to[2] += (whole - moment) * p.w.Z
		to[8] += moment * p.w.Z
		return
	}
	bend(to, shapeBetween(a, b, l, e.py), [4]float64{}, p.w.Y, 0, inY())
	bend(to, shapeBetween(a, b, l, e.pz), [4]float64{}, p.w.Z, 0, inZ())
}

// target is where the four freedoms of a plane lie, and with which sign.
type target struct {
	at   [4]int
	sign [4]float64
}

// inY is bending that deflects along y and turns about z; inZ deflects along z and turns about −y.
func inY() target { return target{at: [4]int{1, 5, 7, 11}, sign: [4]float64{1, 1, 1, 1}} }
func inZ() target { return target{at: [4]int{2, 4, 8, 10}, sign: [4]float64{1, -1, 1, -1}} }

// bend adds w times the shapes and m times the slopes.
func bend(to *[12]float64, shape, slope [4]float64, w, m float64, t target) {
	for k := range 4 {
		to[t.at[k]] += t.sign[k] * (w*shape[k] + m*slope[k])
	}
}

// shapeAt are the deflections at x = ξ·l for unit deflection and slope at either end, phi the shear ratio.
func shapeAt(x, l, phi float64) [4]float64 {
	d := 1 / (1 + phi)
	return [4]float64{
		d * (1 - 3*x*x + 2*x*x*x + phi*(1-x)),
		d * l * (x - 2*x*x + x*x*x + phi/2*(x-x*x)),
		d * (3*x*x - 2*x*x*x + phi*x),
		d * l * (-x*x + x*x*x - phi/2*(x-x*x)),
	}
}

// slopeAt are the turns of the section there.
func slopeAt(x, l, phi float64) [4]float64 {
	d := 1 / (1 + phi)
	return [4]float64{
		d * 6 * (x*x - x) / l,
		d * (1 - 4*x + 3*x*x + phi*(1-x)),
		d * 6 * (x - x*x) / l,
		d * (-2*x + 3*x*x + phi*x),
	}
}

// shapeBetween are the integrals of shapeAt over the length from a·l to b·l.
func shapeBetween(a, b, l, phi float64) [4]float64 {
	p1, p2, p3, p4 := b-a, (b*b-a*a)/2, (b*b*b-a*a*a)/3, (b*b*b*b-a*a*a*a)/4
	d := l / (1 + phi)
	return [4]float64{
		d * (p1 - 3*p3 + 2*p4 + phi*(p1-p2)),
		d * l * (p2 - 2*p3 + p4 + phi/2*(p2-p3)),
		d * (3*p3 - 2*p4 + phi*p2),
		d * l * (-p3 + p4 - phi/2*(p2-p3)),
	}
}

// heldValues are the prescribed displacements by freedom.
func (s *Solver) heldValues(ps []Prescribed) []float64 {
	var held []float64
	for _, p := range ps {
		if p.Value == 0 {
			continue
		}
		if held == nil {
			held = make([]float64, s.n)
		}
		held[6*p.Node+int(p.Freedom)] = p.Value
	}
	return held
}
