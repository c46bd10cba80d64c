package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// Shape is the displacement in m, in global axes, of the centre line of a member at atM metres from its end I. Where a
// member's end is held by its node through a spring or a release, it is that of the member, not of the node.
func (s *Solver) Shape(r *Result, member int, atM float64) geom.Vec {
	if r.run == nil {
		return geom.Vec{}
	}
	e := &s.elements[member]
	x, y, z := r.run.shape(s, member, min(max(atM, 0), e.l))
	return e.global(x, y, z)
}

// shape is Shape in the member's axes.
func (r *run) shape(s *Solver, member int, at float64) (x, y, z float64) {
	e := &s.elements[member]
	d := e.endDisplacements(r.u)
	if !e.bar {
		r.within(s, member, &d)
	}
	slip := r.slips(s, member)
	d[0] += slip[0]
	d[6] -= slip[1]
	t := at / e.l
	if e.bar {
		return d[0] + t*(d[6]-d[0]), d[1] + t*(d[7]-d[1]), d[2] + t*(d[8]-d[2])
	}
	n, w := shapeAt(t, e.l, e.py), shapeAt(t, e.l, e.pz)
	x = d[0] + t*(d[6]-d[0])
	y = n[0]*d[1] + n[1]*d[5] + n[2]*d[7] + n[3]*d[11]
	z = w[0]*d[2] - w[1]*d[4] + w[2]*d[8] - w[3]*d[10]
	for i := range r.load.of(member) {
		p := &r.load.of(member)[i]
		x += p.stretch(e, at)
		y += p.sag(e.l, e.eiz, e.py, at, p.w.Y, p.m.Z)
		z += p.sag(e.l, e.eiy, e.pz, at, p.w.Z, -p.m.Y)
	}
	return x, y, z
}

// within takes displacements of the arms' ends to those of the member's ends in bending: (K + S)·d = S·u + f for the ends
// that springs or releases hold.
func (r *run) within(s *Solver, member int, d *[12]float64) {
	e := &s.elements[member]
	if !e.gripped {
		return
	}
	n := 0.0
	if r.second {
		n = r.axial[member]
	}
	raw := r.rawOf(member)
	for _, q := range [...]struct {
		at      target
		ei, phi float64
		flex    [4]float64
	}{
		{inY(), e.eiz, e.py, [4]float64{e.flex[0][UY], e.flex[0][RZ], e.flex[1][UY], e.flex[1][RZ]}},
		{inZ(), e.eiy, e.pz, [4]float64{e.flex[0][UZ], e.flex[0][RY], e.flex[1][UZ], e.flex[1][RY]}},
	} {
		var p plane
		p.beam(q.ei, e.l, q.phi, n)
		var a [4][5]float64
		for i := range 4 {
			u := q.at.sign[i] * d[q.at.at[i]]
			if q.flex[i] == 0 {
				a[i][i], a[i][4] = 1, u
				continue
			}
			k := 1 / q.flex[i]
			copy(a[i][:4], p.k[i][:])
			a[i][i] += k
			a[i][4] = k*u + q.at.sign[i]*raw[q.at.at[i]]
		}
		v := solve4(&a)
		for i := range 4 {
			d[q.at.at[i]] = q.at.sign[i] * v[i]
		}
	}
}

// solve4 is Gauss's elimination with the largest pivot; a row of nothing gives 0.
func solve4(a *[4][5]float64) (x [4]float64) {
	for c := range 4 {
		best := c
		for r := c + 1; r < 4; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		a[c], a[best] = a[best], a[c]
		if a[c][c] == 0 {
			continue
		}
		for r := c + 1; r < 4; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k < 5; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	for c := 3; c >= 0; c-- {
		if a[c][c] == 0 {
			continue
		}
		v := a[c][4]
		for k := c + 1; k < 4; k++ {
			v -= a[c][k] * x[k]
		}
		x[c] = v / a[c][c]
	}
	return x
}

// stretch is the displacement along a member with held ends under a span.
func (p *span) stretch(e *element, at float64) float64 {
	l := e.l
	ea := e.ka * l
	one := func(w, x float64) float64 { // Green's function of the bar
		if at < x {
			return w * at * (l - x) / (l * ea)
		}
		return w * x * (l - at) / (l * ea)
	}
	if p.isPoint() {
		return one(p.w.X, p.a)
	}
	return between(p.a, p.b, at, func(x float64) float64 { return one(p.w.X, x) })
}

// sag is the deflection of a beam with held ends under a span, by the reciprocity of a force there and the span.
func (p *span) sag(l, ei, phi, at, w, m float64) float64 {
	if w == 0 && m == 0 {
		return 0
	}
	if p.isPoint() {
		v := w * heldBeam(l, ei, phi, p.a, at)
		if m != 0 {
			v += m * heldBeamSlope(l, ei, phi, p.a, at)
		}
		return v
	}
	return w * between(p.a, p.b, at, func(x float64) float64 { return heldBeam(l, ei, phi, x, at) })
}

// between integrates a polynomial of at most the fifth degree on either side of at, by three points of Gauss.
func between(a, b, at float64, f func(float64) float64) float64 {
	sum := 0.0
	part := func(a, b float64) {
		if b <= a {
			return
		}
		h, c := (b-a)/2, (a+b)/2
		g := h * math.Sqrt(0.6)
		sum += h / 9 * (5*f(c-g) + 8*f(c) + 5*f(c+g))
	}
	part(a, min(b, at))
	part(max(a, at), b)
	return sum
}

// heldBeam is the deflection at x of a beam held at both ends, for a unit force at a.
func heldBeam(l, ei, phi, a, x float64) float64 {
	if a > l/2 { // the same beam seen from its other end keeps a smaller
		a, x = l-a, l-x
	}
	n := shapeAt(a/l, l, phi)
	// The left end is held by −n[0] and −n[1]; so the moment is n[1] − n[0]·x up to the force, and a + of x − a beyond it.
	shear := phi * l * l / (12 * ei)
	y := n[1]*x*x/(2*ei) - n[0]*x*x*x/(6*ei) + n[0]*shear*x
	if x > a {
		d := x - a
		y += d*d*d/(6*ei) - shear*d
	}
	return y
}

// heldBeamSlope is the deflection at x of a beam held at both ends, for a unit moment at a.
func heldBeamSlope(l, ei, phi, a, x float64) float64 {
	n := slopeAt(a/l, l, phi)
	shear := phi * l * l / (12 * ei)
	y := n[1]*x*x/(2*ei) - n[0]*x*x*x/(6*ei) + n[0]*shear*x
	if x > a {
		y -= (x - a) * (x - a) / (2 * ei)
	}
	return y
}
