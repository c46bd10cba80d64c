package statics

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// mat3 is a 3 × 3 matrix, row by row.
type mat3 [9]float64

// addOuter adds f·a·bᵀ.
func (m *mat3) addOuter(f float64, a, b geom.Vec) {
	x, y, z := f*a.X, f*a.Y, f*a.Z
	m[0] += x * b.X
	m[1] += x * b.Y
	m[2] += x * b.Z
	m[3] += y * b.X
	m[4] += y * b.Y
	m[5] += y * b.Z
	m[6] += z * b.X
	m[7] += z * b.Y
	m[8] += z * b.Z
}

func (m *mat3) mul(o *mat3) (r mat3) {
	for i := 0; i < 9; i += 3 {
		for j := range 3 {
			r[i+j] = m[i]*o[j] + m[i+1]*o[3+j] + m[i+2]*o[6+j]
		}
	}
	return r
}

func (m *mat3) transposed() mat3 {
	return mat3{m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]}
}

func (m *mat3) add(o *mat3) {
	for i := range m {
		m[i] += o[i]
	}
}

// armed is the matrix S with θ × a = S·θ.
func armed(a geom.Vec) mat3 {
	return mat3{0, a.Z, -a.Y, -a.Z, 0, a.X, a.Y, -a.X, 0}
}

// pairBlock puts four 3 × 3 parts, displacement and rotation, into a block of two nodes, with rigid arms a and b when armed.
func pairBlock(uu, ut, tu, tt mat3, arms bool, a, b geom.Vec, out *ldlt.Block) {
	if arms {
		sa, sb := armed(a), armed(b)
		sa = sa.transposed()
		us, su := uu.mul(&sb), sa.mul(&uu)
		x, y, z := sa.mul(&us), sa.mul(&ut), tu.mul(&sb)
		tt.add(&x)
		tt.add(&y)
		tt.add(&z)
		ut.add(&us)
		tu.add(&su)
	}
	for r := range 3 {
		for c := range 3 {
			out[6*r+c], out[6*r+3+c] = uu[3*r+c], ut[3*r+c]
			out[6*(r+3)+c], out[6*(r+3)+3+c] = tu[3*r+c], tt[3*r+c]
		}
	}
}

// blocks gives the member's stiffness in global axes at its nodes: II, IJ, JJ.
func (e *element) blocks(s *stiff, out *[3]ldlt.Block) {
	x, y, z := e.r[0], e.r[1], e.r[2]
	for q, ends := range [...][2]int{{0, 0}, {0, 1}, {1, 1}} {
		a, b := ends[0], ends[1]
		sign := 1.0
		if a != b {
			sign = -1
		}
		var uu, ut, tu, tt mat3
		uu.addOuter(sign*s.ka, x, x)
		uu.addOuter(s.y.k[2*a][2*b], y, y)
		uu.addOuter(s.z.k[2*a][2*b], z, z)
		if !e.bar {
			ut.addOuter(s.y.k[2*a][2*b+1], y, z)
			ut.addOuter(-s.z.k[2*a][2*b+1], z, y)
			tu.addOuter(s.y.k[2*a+1][2*b], z, y)
			tu.addOuter(-s.z.k[2*a+1][2*b], y, z)
			tt.addOuter(sign*s.kt, x, x)
			tt.addOuter(s.z.k[2*a+1][2*b+1], y, y)
			tt.addOuter(s.y.k[2*a+1][2*b+1], z, z)
		}
		pa, pb := e.ai, e.ai
		if a == 1 {
			pa = e.aj
		}
		if b == 1 {
			pb = e.aj
		}
		pairBlock(uu, ut, tu, tt, e.arms, pa, pb, &out[q])
	}
}

// endDisplacements gives the displacements of the arms' ends in the member's axes.
func (e *element) endDisplacements(u []float64) (d [12]float64) {
	for end, node := range [2]int32{e.i, e.j} {
		p := u[6*node : 6*node+6]
		v, t := geom.Vec{X: p[0], Y: p[1], Z: p[2]}, geom.Vec{X: p[3], Y: p[4], Z: p[5]}
		if e.arms {
			a := e.ai
			if end == 1 {
				a = e.aj
			}
			v = geom.Add(v, geom.Cross(t, a))
		}
		k := 6 * end
		d[k], d[k+1], d[k+2] = e.local(v)
		if !e.bar {
			d[k+3], d[k+4], d[k+5] = e.local(t)
		}
	}
	return d
}

// endForces is the stiffness times the displacements d of the arms' ends.
func (e *element) endForces(s *stiff, d *[12]float64) (f [12]float64) {
	n := s.ka * (d[0] - d[6])
	f[0], f[6] = n, -n
	k := &s.y.k
	if e.bar {
		f[1] = k[0][0]*d[1] + k[0][2]*d[7]
		f[7] = -f[1]
		f[2] = s.z.k[0][0]*d[2] + s.z.k[0][2]*d[8]
		f[8] = -f[2]
		return f
	}
	m := s.kt * (d[3] - d[9])
	f[3], f[9] = m, -m
	f[1] = k[0][0]*d[1] + k[0][1]*d[5] + k[0][2]*d[7] + k[0][3]*d[11]
	f[5] = k[1][0]*d[1] + k[1][1]*d[5] + k[1][2]*d[7] + k[1][3]*d[11]
	f[7] = k[2][0]*d[1] + k[2][1]*d[5] + k[2][2]*d[7] + k[2][3]*d[11]
	f[11] = k[3][0]*d[1] + k[3][1]*d[5] + k[3][2]*d[7] + k[3][3]*d[11]
	k = &s.z.k
	f[2] = k[0][0]*d[2] - k[0][1]*d[4] + k[0][2]*d[8] - k[0][3]*d[10]
	f[4] = -k[1][0]*d[2] + k[1][1]*d[4] - k[1][2]*d[8] + k[1][3]*d[10]
	f[8] = k[2][0]*d[2] - k[2][1]*d[4] + k[2][2]*d[8] - k[2][3]*d[10]
	f[10] = -k[3][0]*d[2] + k[3][1]*d[4] - k[3][2]*d[8] + k[3][3]*d[10]
	return f
}

// plain says that loads on the member's ends are those on the arms' ends, unchanged.
func (e *element) plain() bool {
	return e.bar || !e.gripped && e.flex == [2]Vec6{} && e.pulls == [2]int32{-1, -1}
}

// passed takes loads on the member's ends, local, to loads on the arms' ends.
func (e *element) passed(s *stiff, raw *[12]float64) (f [12]float64) {
	if e.bar { // what hangs on a bar hangs on its nodes
		return *raw
	}
	f[0], f[6] = s.ta[0][0]*raw[0]+s.ta[0][1]*raw[6], s.ta[1][0]*raw[0]+s.ta[1][1]*raw[6]
	f[3], f[9] = s.tt[0][0]*raw[3]+s.tt[0][1]*raw[9], s.tt[1][0]*raw[3]+s.tt[1][1]*raw[9]
	if !e.gripped {
		f[1], f[5], f[7], f[11] = raw[1], raw[5], raw[7], raw[11]
		f[2], f[4], f[8], f[10] = raw[2], raw[4], raw[8], raw[10]
		return f
	}
	t := &s.y.t
	for q, at := range [...]int{1, 5, 7, 11} {
		f[at] = t[q][0]*raw[1] + t[q][1]*raw[5] + t[q][2]*raw[7] + t[q][3]*raw[11]
	}
	t = &s.z.t
	sign := 1.0
	for q, at := range [...]int{2, 4, 8, 10} {
		f[at] = sign * (t[q][0]*raw[2] - t[q][1]*raw[4] + t[q][2]*raw[8] - t[q][3]*raw[10])
		sign = -sign
	}
	return f
}

// spread adds f·the local forces at the arms' ends to the nodes, in global axes.
func (e *element) spread(f *[12]float64, sign float64, to []float64) {
	for end, node := range [2]int32{e.i, e.j} {
		k := 6 * end
		v := e.global(sign*f[k], sign*f[k+1], sign*f[k+2])
		var m geom.Vec
		if !e.bar {
			m = e.global(sign*f[k+3], sign*f[k+4], sign*f[k+5])
		}
		if e.arms {
			a := e.ai
			if end == 1 {
				a = e.aj
			}
			m = geom.Add(m, geom.Cross(a, v))
		}
		push(to, int(node), v, m)
	}
}

// push adds a force and a moment at a node.
func push(to []float64, node int, f, m geom.Vec) {
	p := to[6*node : 6*node+6]
	p[0] += f.X
	p[1] += f.Y
	p[2] += f.Z
	p[3] += m.X
	p[4] += m.Y
	p[5] += m.Z
}

// moved is the displacement of the end of an arm at a node.
func moved(u []float64, node int, arm geom.Vec) geom.Vec {
	p := u[6*node : 6*node+6]
	return geom.Add(geom.Vec{X: p[0], Y: p[1], Z: p[2]}, geom.Cross(geom.Vec{X: p[3], Y: p[4], Z: p[5]}, arm))
}

// turned is the rotation of a node.
func turned(u []float64, node int) geom.Vec {
	p := u[6*node : 6*node+6]
	return geom.Vec{X: p[3], Y: p[4], Z: p[5]}
}
