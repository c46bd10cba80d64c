package statics

import "math"

// row is a gauge along which the states solved for differ from the base: by the force k·x + a, x being the readings of the
// count rows from first on, its own among them.
type row struct {
	gauge, first, count int32
	k                   [6]float64
	a                   float64
}

// small is the dense system of the gauges that differ. With F their readings for unit forces along them, D and a their
// differences and q0 their readings in the base, the readings are q = q0 − F·(D·q + a). With F = L·Lᵀ that is
// q = h − L·(I + Lᵀ·D·L)⁻¹·Lᵀ·D·h, h = q0 − F·a; and the structure is stable in its states, if it is so in the
// base, when the matrix in the middle is positive definite.
type small struct {
	rows       []row
	f, l, t, m []float64
	v, h, y, z []float64
}

// The thresholds of the small system: what is left of a pivot of F when a gauge depends on others, and what of a pivot in the
// middle when the structure is hardly held.
const (
	dependentRatio = 1e-13
	hardlyRatio    = 1e-9
)

func grown(x []float64, n int) []float64 {
	if cap(x) < n {
		return make([]float64, n, n+n/2)
	}
	return x[:n]
}

// factor makes the system of the rows; it is false when the structure is hardly held, or not stable, in their states.
func (w *small) factor(b *flexible) bool {
	n := len(w.rows)
	w.f, w.l, w.m = grown(w.f, n*n), grown(w.l, n*n), grown(w.m, n*n)
	w.v, w.h, w.y, w.z, w.t = grown(w.v, n), grown(w.h, n), grown(w.y, n), grown(w.z, n), grown(w.t, n)
	for i := range n {
		reads := b.reads[b.column[w.rows[i].gauge]]
		f := w.f[i*n : i*n+n]
		for j := range n {
			f[j] = reads[w.rows[j].gauge]
		}
	}
	for i := range n { // F = L·Lᵀ
		li := w.l[i*n : i*n+n]
		clear(li[i:])
		for j := range i {
			if d := w.l[j*n+j]; d == 0 {
				li[j] = 0
			} else {
				li[j] = (w.f[i*n+j] - inner(w.l[j*n:j*n+j], li)) / d
			}
		}
		if sum := w.f[i*n+i] - inner(li[:i], li); sum > dependentRatio*w.f[i*n+i] {
			li[i] = math.Sqrt(sum)
		}
	}
	clear(w.m)
	for i := range n { // I + Lᵀ·D·L, its lower half
		r := &w.rows[i]
		t := w.t[:i+1]
		clear(t)
		for c := range r.count {
			if r.k[c] != 0 {
				addTimes(t, w.l[int(r.first+c)*n:], r.k[c])
			}
		}
		for j, v := range w.l[i*n : i*n+i+1] {
			if v != 0 {
				addTimes(w.m[j*n:j*n+j+1], t, v)
			}
		}
	}
	return w.middle()
}

// inner is the sum of products of a and the beginning of b.
func inner(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	for len(a) >= 4 && len(b) >= 4 {
		s0 += a[0] * b[0]
		s1 += a[1] * b[1]
		s2 += a[2] * b[2]
		s3 += a[3] * b[3]
		a, b = a[4:], b[4:]
	}
	for i, v := range a {
		s0 += v * b[i]
	}
	return s0 + s1 + (s2 + s3)
}

// addTimes adds f times the beginning of b to a.
func addTimes(a, b []float64, f float64) {
	b = b[:len(a)]
	for len(a) >= 4 && len(b) >= 4 {
		a[0] += f * b[0]
		a[1] += f * b[1]
		a[2] += f * b[2]
		a[3] += f * b[3]
		a, b = a[4:], b[4:]
	}
	for i := range a {
		a[i] += f * b[i]
	}
}

// middle factors the matrix in the middle.
func (w *small) middle() bool {
	n := len(w.rows)
	for i := range n {
		mi := w.m[i*n : i*n+i+1]
		mi[i]++
		most := max(1, mi[i])
		for j := range i {
			mi[j] = (mi[j] - inner(w.m[j*n:j*n+j], mi)) / w.m[j*n+j]
		}
		sum := mi[i] - inner(mi[:i], mi)
		if !(sum > hardlyRatio*most) {
			return false
		}
		mi[i] = math.Sqrt(sum)
	}
	return true
}

// solve takes readings in the base in v to the forces −(D·q + a); without load a is left out.
func (w *small) solve(load bool) {
	n := len(w.rows)
	h := w.h
	copy(h, w.v)
	if load {
		for i := range n {
			if a := w.rows[i].a; a != 0 {
				for j, f := range w.f[i*n : i*n+n] {
					h[j] -= f * a
				}
			}
		}
	}
	y, z := w.y, w.z
	w.times(h, z)
	for j := range n { // Lᵀ·D·h
		sum := 0.0
		for i := j; i < n; i++ {
			sum += w.l[i*n+j] * z[i]
		}
		y[j] = sum
	}
	for i := range n {
		sum := y[i]
		for k, v := range w.m[i*n : i*n+i] {
			sum -= v * y[k]
		}
		y[i] = sum / w.m[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		y[i] /= w.m[i*n+i]
		for k, v := range w.m[i*n : i*n+i] {
			y[k] -= v * y[i]
		}
	}
	for i := range n {
		for k, v := range w.l[i*n : i*n+i+1] {
			h[i] -= v * y[k]
		}
	}
	w.times(h, w.v)
	for i := range w.v {
		if w.v[i] = -w.v[i]; load {
			w.v[i] -= w.rows[i].a
		}
	}
}

// times is D·x.
func (w *small) times(x, to []float64) {
	for i := range w.rows {
		r := &w.rows[i]
		sum := 0.0
		for c := range r.count {
			sum += r.k[c] * x[r.first+c]
		}
		to[i] = sum
	}
}
