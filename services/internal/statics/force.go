package statics

import "math"

// Forces are the internal forces of a member at a section atM metres from its end I, in its local axes: what the part beyond
// the section exerts on the part before it. N is tension positive; at the end J they are the forces on that end. Loads along the
// member are counted, those at the section itself as beyond it; in a second-order answer the axial and shear forces act on
// the displaced shape.
func (s *Solver) Forces(r *Result, member int, atM float64) Vec6 {
	if r.run == nil || r.run.ends[member] == [2]Vec6{} && len(r.run.load.of(member)) == 0 {
		return Vec6{}
	}
	e, ends := &s.elements[member], &r.run.ends[member]
	at := min(max(atM, 0), e.l)
	var f Vec6
	for k := range f {
		f[k] = -ends[0][k]
	}
	// The force at I is `at` metres before the section: −at·x̂ × F = (0, at·Fz, −at·Fy).
	f[bendY] -= at * ends[0][2]
	f[bendZ] += at * ends[0][1]
	for i := range r.run.load.of(member) {
		r.run.load.of(member)[i].cut(at, &f)
	}
	if e.bar { // its weight hangs on its nodes
		n := (ends[1][0] - ends[0][0]) / 2
		f[0] = n
	}
	if r.run.second {
		r.run.displaced(s, member, at, &f)
	}
	return f
}

// The places of the bending moments in a Vec6.
const (
	bendY = 4
	bendZ = 5
)

// cut takes from the forces on a section at `at` those of the part of a span before it.
func (p *span) cut(at float64, f *Vec6) {
	length, arm := 1.0, at-p.a
	switch {
	case p.isPoint():
		if p.a >= at {
			return
		}
		f[3] -= p.m.X
		f[4] -= p.m.Y
		f[5] -= p.m.Z
	default:
		to := math.Min(p.b, at)
		if to <= p.a {
			return
		}
		length, arm = to-p.a, at-(p.a+to)/2
	}
	x, y, z := length*p.w.X, length*p.w.Y, length*p.w.Z
	f[0] -= x
	f[1] -= y
	f[2] -= z
	f[4] -= arm * z
	f[5] += arm * y
}

// displaced adds the moments of the axial force on the way that the section has moved across from the end I.
func (r *run) displaced(s *Solver, member int, at float64, f *Vec6) {
	n := r.axial[member]
	_, y0, z0 := r.shape(s, member, 0)
	_, y, z := r.shape(s, member, at)
	f[bendY] -= n * (z - z0)
	f[bendZ] += n * (y - y0)
}
