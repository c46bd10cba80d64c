package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// inclined are the axes of a node whose displacements are held along directions that are not all global: the first held
// of them are held.
type inclined struct {
	axes [3]geom.Vec
	held int
	// gens are the directions that were given, in the order of axes, with their supports, and freedoms or -1.
	gens    []geom.Vec
	support []int32
	freedom []int
}

// incline finds the axes of a node with an inclined support: the directions that its supports hold, made orthonormal, and
// what is left.
func (s *Solver) incline(node int32, t *inclined) {
	add := func(v geom.Vec) bool {
		for range 2 { // twice, against rounding
			for k := range t.held {
				v = geom.Sub(v, geom.Scale(geom.Dot(v, t.axes[k]), t.axes[k]))
			}
		}
		if l := geom.Norm(v); l > 1e-9 && t.held < 3 {
			t.axes[t.held] = geom.Scale(1/l, v)
			t.held++
			return true
		}
		return false
	}
	unit := [3]geom.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	for f := range 3 {
		if at := 6*int(node) + f; s.held[at] {
			if add(unit[f]) {
				t.gens, t.support, t.freedom = append(t.gens, unit[f]), append(t.support, s.owner[at]), append(t.freedom, f)
			}
			s.held[at] = false
		}
	}
	for i := range s.m.Supports {
		if p := &s.m.Supports[i]; int32(p.Node) == node && p.Axis != (geom.Vec{}) {
			if u := geom.Unit(p.Axis); add(u) {
				t.gens, t.support, t.freedom = append(t.gens, u), append(t.support, int32(i)), append(t.freedom, -1)
			}
		}
	}
	for f := range t.held {
		s.held[6*int(node)+f] = true
	}
	held := t.held
	for _, v := range unit {
		add(v)
	}
	t.held = held
}

// turnBlock takes a block from global axes to those of inclined nodes.
func (s *Solver) turnBlock(b *ldlt.Block, i, j int32) {
	if t := s.turns[i]; t != nil {
		for c := range 6 {
			v := geom.Vec{X: b[c], Y: b[6+c], Z: b[12+c]}
			b[c], b[6+c], b[12+c] = geom.Dot(t.axes[0], v), geom.Dot(t.axes[1], v), geom.Dot(t.axes[2], v)
		}
	}
	if t := s.turns[j]; t != nil {
		for r := range 6 {
			v := geom.Vec{X: b[6*r], Y: b[6*r+1], Z: b[6*r+2]}
			b[6*r], b[6*r+1], b[6*r+2] = geom.Dot(t.axes[0], v), geom.Dot(t.axes[1], v), geom.Dot(t.axes[2], v)
		}
	}
}

// turnIn takes a vector of all freedoms from global axes to those of the matrix, turnOut back.
func (s *Solver) turnIn(x []float64) {
	for _, node := range s.inward {
		t, p := s.turns[node], x[6*node:6*node+3]
		v := geom.Vec{X: p[0], Y: p[1], Z: p[2]}
		p[0], p[1], p[2] = geom.Dot(t.axes[0], v), geom.Dot(t.axes[1], v), geom.Dot(t.axes[2], v)
	}
}

func (s *Solver) turnOut(x []float64) {
	for _, node := range s.inward {
		t, p := s.turns[node], x[6*node:6*node+3]
		v := geom.Add(geom.Add(geom.Scale(p[0], t.axes[0]), geom.Scale(p[1], t.axes[1])), geom.Scale(p[2], t.axes[2]))
		p[0], p[1], p[2] = v.X, v.Y, v.Z
	}
}

// surelyHeld says, without looking closer, that the turns of a node that are not held are resisted: the part of
// the matrix for them has no small pivot.
func (s *Solver) surelyHeld(m *ldlt.Matrix, node int, a, b, c float64) bool {
	h := s.holding[6*node+3 : 6*node+6]
	if h[0] && h[1] && h[2] {
		return true
	}
	if h[0] || h[1] || h[2] {
		return false
	}
	d := m.Diag(node)
	const enough = 1e-6
	most := max(a, b, c)
	if min(a, b, c) < enough*most {
		return false
	}
	l1, l2 := d[6*4+3]/a, d[6*5+3]/a
	b2 := b - l1*d[6*4+3]
	if b2 < enough*most {
		return false
	}
	l3 := (d[6*5+4] - l2*d[6*4+3]) / b2
	return c-l2*d[6*5+3]-l3*l3*b2 >= enough*most
}

// steadyNode looks for turns of a node that nothing resists, by the eigenvalues of its part of the matrix, and holds them.
func (s *Solver) steadyNode(m *ldlt.Matrix, node int) {
	var part mat3
	d, h := m.Diag(node), s.holding[6*node+3:6*node+6]
	for r := range 3 {
		for c := range 3 {
			if !h[r] && !h[c] {
				part[3*r+c] = d[6*(3+r)+3+c]
			}
		}
	}
	values, vectors := eigen3(part)
	most := max(values[0], values[1], values[2])
	scale := most
	if most <= 0 {
		scale = s.stiffest
	}
	var hold mat3
	found := false
	for k, v := range vectors {
		if values[k] > idleRatio*most || values[k] < -idleRatio*most {
			continue
		}
		if h[0] && v.X*v.X > 0.5 || h[1] && v.Y*v.Y > 0.5 || h[2] && v.Z*v.Z > 0.5 {
			continue // the empty row of a held turn
		}
		s.idle = append(s.idle, idleTurn{int32(node), v})
		hold.addOuter(scale, v, v)
		found = true
	}
	if found {
		pairBlock(mat3{}, mat3{}, mat3{}, hold, false, geom.Vec{}, geom.Vec{}, &s.blocks[0])
		m.AddAt(s.nodePlaces[node], &s.blocks[0])
	}
}

// eigen3 gives the eigenvalues and unit eigenvectors of a symmetric matrix by Jacobi's rotations. Zero rows keep their axis.
func eigen3(a mat3) (values [3]float64, vectors [3]geom.Vec) {
	v := mat3{1, 0, 0, 0, 1, 0, 0, 0, 1}
	for range 30 {
		off := a[1]*a[1] + a[2]*a[2] + a[5]*a[5]
		if off <= 1e-32*(a[0]*a[0]+a[4]*a[4]+a[8]*a[8]) || off == 0 {
			break
		}
		for _, pq := range [...][2]int{{0, 1}, {0, 2}, {1, 2}} {
			p, q := pq[0], pq[1]
			if a[3*p+q] == 0 {
				continue
			}
			theta := (a[4*q] - a[4*p]) / (2 * a[3*p+q])
			t := math.Copysign(1, theta) / (math.Abs(theta) + math.Sqrt(theta*theta+1))
			c := 1 / math.Sqrt(t*t+1)
			sn := t * c
			for k := range 3 {
				x, y := a[3*k+p], a[3*k+q]
				a[3*k+p], a[3*k+q] = c*x-sn*y, sn*x+c*y
			}
			for k := range 3 {
				x, y := a[3*p+k], a[3*q+k]
				a[3*p+k], a[3*q+k] = c*x-sn*y, sn*x+c*y
				x, y = v[3*k+p], v[3*k+q]
				v[3*k+p], v[3*k+q] = c*x-sn*y, sn*x+c*y
			}
		}
	}
	for k := range 3 {
		values[k] = a[4*k]
		vectors[k] = geom.Vec{X: v[k], Y: v[3+k], Z: v[6+k]}
	}
	return values, vectors
}
