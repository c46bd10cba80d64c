package statics

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// random is a small generator with a fixed start: the same structure gives the same answer.
type random uint64

func (r *random) next() float64 {
	*r = *r*6364136223846793005 + 1442695040888963407
	return float64(*r>>11)/(1<<52) - 1
}

// maskHeld puts 0 at the held freedoms of k vectors.
func (s *Solver) maskHeld(x []float64, k int) {
	for v := range k {
		for f, h := range s.holding {
			if h {
				x[v*s.n+f] = 0
			}
		}
	}
}

// The bounds of the search for the buckling factor.
const (
	mostSteps    = 120
	factorRatio  = 1e-9
	noFactorRate = 1e-9
)

// buckling is the lowest factor on axial forces at which the structure of a run buckles in its present state, and how: the
// largest μ = 1/λ of −Kg·φ = μ·K·φ by the method of Lanczos, in the product of K, with full reorthogonalisation. Kg is the
// consistent geometric stiffness, condensed with the ends of the members. The factor is +Inf when nothing is compressed.
func (s *Solver) buckling(r *run, axial []float64) (float64, []float64) {
	s.assemble(r.state, r.slide, nil)
	s.factor.Refactor(s.matrix, s.holding, 0)
	kg := s.symbolic.NewMatrix()
	if !s.assembleGeometric(axial, kg) || s.factor.Inertia().Zero+s.factor.Inertia().Negative > 0 {
		return math.Inf(1), nil
	}
	n := s.n
	var q, kq [][]float64
	var alpha, beta []float64
	seed := random(7)
	z, b := make([]float64, n), make([]float64, n)
	for f := range z {
		z[f] = seed.next()
	}
	s.maskHeld(z, 1)
	s.factor.Solve(z, 1) // smooth, so that few steps are lost on stiff motions
	for step := range mostSteps {
		kz := make([]float64, n)
		s.matrix.Mul(kz, z, 1)
		s.maskHeld(kz, 1)
		size := math.Sqrt(max(0, dot(z, kz)))
		if step > 0 {
			beta = append(beta, size)
			if mu, last, vector := topOf(alpha, beta[:step-1]); size*math.Abs(last) <= factorRatio*mu || size <= 1e-13*math.Abs(alpha[0]) || step == mostSteps-1 {
				return s.factorOf(mu, vector, q, alpha)
			}
		}
		if size == 0 {
			return math.Inf(1), nil
		}
		next := make([]float64, n)
		for f := range next {
			next[f], kz[f] = z[f]/size, kz[f]/size
		}
		q, kq = append(q, next), append(kq, kz)
		kg.Mul(b, next, 1)
		for f := range b {
			b[f] = -b[f]
		}
		s.maskHeld(b, 1)
		alpha = append(alpha, dot(b, next))
		copy(z, b)
		s.factor.Solve(z, 1)
		for range 2 {
			for j := range q {
				d := dot(kq[j], z)
				for f := range z {
					z[f] -= d * q[j][f]
				}
			}
		}
	}
	return math.Inf(1), nil
}

// factorOf turns the largest μ into a factor and its vector into a motion of the nodes.
func (s *Solver) factorOf(mu float64, vector []float64, q [][]float64, alpha []float64) (float64, []float64) {
	most := 0.0
	for _, a := range alpha {
		most = max(most, math.Abs(a))
	}
	if mu <= noFactorRate*most || mu <= 0 {
		return math.Inf(1), nil
	}
	mode := make([]float64, s.n)
	for j, c := range vector {
		for f := range mode {
			mode[f] += c * q[j][f]
		}
	}
	s.turnOut(mode)
	return 1 / mu, mode
}

// topOf is the largest eigenvalue of a tridiagonal matrix, with the last entry of its vector, and the vector.
func topOf(alpha, beta []float64) (value, last float64, vector []float64) {
	n := len(alpha)
	t := mat.NewSymDense(n, nil)
	for i := range n {
		t.SetSym(i, i, alpha[i])
		if i+1 < n {
			t.SetSym(i, i+1, beta[i])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(t, true) {
		return 0, 1, nil
	}
	var v mat.Dense
	e.VectorsTo(&v)
	vector = make([]float64, n)
	for i := range n {
		vector[i] = v.At(i, n-1)
	}
	return e.Values(nil)[n-1], vector[n-1], vector
}

// assembleGeometric adds up the geometric stiffness of the members for axial forces, with their ends as in the matrix
// assembled last; it says whether any is compressed.
func (s *Solver) assembleGeometric(axial []float64, m *ldlt.Matrix) bool {
	pressed := false
	for i := range s.elements {
		n := axial[i]
		if n == 0 || s.without[i] {
			continue
		}
		pressed = pressed || n < 0
		e := &s.elements[i]
		t := s.now[i]
		var k stiff
		if e.bar {
			k.y.bar(n / e.l)
			k.z.bar(n / e.l)
		} else {
			k.y.k, k.z.k = squeezed(&t.y.t, times4(n, geometric(e.l, e.py))), squeezed(&t.z.t, times4(n, geometric(e.l, e.pz)))
		}
		e.blocks(&k, &s.blocks)
		s.addPair(m, &s.places[i], e.i, e.j)
	}
	return pressed
}

func times4(f float64, k [4][4]float64) [4][4]float64 {
	for i := range 4 {
		for j := range 4 {
			k[i][j] *= f
		}
	}
	return k
}
