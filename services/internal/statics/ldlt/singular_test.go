package ldlt_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// The signs of the pivots are those of the eigenvalues (Sylvester), here of gonum's.
func TestInertia(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawDefinite(t)
		n := p.s.N()
		shift := rapid.Float64Range(0.1, 30).Draw(t, "shift")
		for i := range n {
			p.m.AddDiagonal(i, -shift)
			p.dense.SetSym(i, i, p.dense.At(i, i)-shift)
		}
		var eig mat.EigenSym
		if !eig.Factorize(p.dense, false) {
			t.Fatal("no eigenvalues")
		}
		var want ldlt.Inertia
		for _, v := range eig.Values(nil) {
			switch {
			case math.Abs(v) < 1e-6:
				t.Skip("too near a boundary")
			case v < 0:
				want.Negative++
			default:
				want.Positive++
			}
		}
		f := p.s.NewFactor()
		f.Refactor(p.m, nil, 0)
		if got := f.Inertia(); got != want {
			t.Fatalf("inertia %+v, eigenvalues %+v", got, want)
		}
	})
}

// Of members that are each free in a few ways, the zero pivots are as many as the zero eigenvalues, and each null vector
// is one. Scales that differ by a million from one freedom to the next change nothing.
func TestSingular(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		nodes := rapid.IntRange(2, 10).Draw(t, "nodes")
		pairs := drawPairs(t, nodes)
		p := newProblem(nodes, pairs)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		scale := make([]float64, p.s.N())
		for i := range scale {
			scale[i] = math.Pow(10, 3*rng.Float64()*rapid.SampledFrom([]float64{0, 1}).Draw(t, "scaled"))
		}
		plain := mat.NewSymDense(p.s.N(), nil)
		for _, pair := range pairs {
			i, j := int(pair[0]), int(pair[1])
			if i == j {
				continue
			}
			k := sparseGram(rng, rapid.IntRange(1, 9).Draw(t, "rank"))
			addScaled(p, plain, i, j, k, scale)
		}
		zero := zeroEigenvalues(t, plain)
		f := p.s.NewFactor()
		f.Refactor(p.m, nil, 0)
		if got := f.Inertia(); got.Zero != zero || got.Negative != 0 || len(f.Zeros()) != zero {
			ratio, at := f.LeastRatio()
			t.Fatalf("inertia %+v, zeros %v, zero eigenvalues %d, least ratio %g at %d", got, f.Zeros(), zero, ratio, at)
		}
		checkNull(t, p, f, scale)
	})
}

// sparseGram is B·Bᵀ of a 12×rank matrix of which each column has a few entries of 1 and −1, as the strains of a
// member have: what is free is free exactly, and what is not is held well.
func sparseGram(rng *rand.Rand, rank int) *[2 * six][2 * six]float64 {
	var k [2 * six][2 * six]float64
	for range rank {
		var b [2 * six]float64
		for range 2 + rng.IntN(3) {
			b[rng.IntN(len(b))] = float64(2*rng.IntN(2) - 1)
		}
		for r := range b {
			for c := range b {
				k[r][c] += b[r] * b[c]
			}
		}
	}
	return &k
}

// addScaled adds k to plain and S·k·S to the problem.
func addScaled(p problem, plain *mat.SymDense, i, j int, k *[2 * six][2 * six]float64, scale []float64) {
	at := func(r int) int {
		if r < six {
			return i*six + r
		}
		return j*six + r - six
	}
	s := *k
	for r := range s {
		for c := range s {
			s[r][c] *= scale[at(r)] * scale[at(c)]
			if f, g := at(r), at(c); f <= g {
				plain.SetSym(f, g, plain.At(f, g)+k[r][c])
			}
		}
	}
	p.add(i, j, &s)
}

// zeroEigenvalues counts them by the singular values, which are their sizes: gonum's eigenvalues panic now and then when there
// are many zeros.
func zeroEigenvalues(t *rapid.T, m *mat.SymDense) int {
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDNone) {
		t.Fatal("no singular values")
	}
	zero := 0
	for _, v := range svd.Values(nil) {
		switch {
		case v < 1e-9:
			zero++
		case v < 1e-4:
			t.Skip("too near a boundary")
		}
	}
	return zero
}

func checkNull(t *rapid.T, p problem, f *ldlt.Factor, scale []float64) {
	n := p.s.N()
	x, y := make([]float64, n), make([]float64, n)
	for z, own := range f.Zeros() {
		f.Null(z, x)
		if math.Abs(largest(x)-1) > 1e-12 || x[own] == 0 {
			t.Fatalf("null vector %d: largest %v, own %v", z, largest(x), x[own])
		}
		p.m.Mul(y, x, 1)
		strain := 0.0
		for i := range x {
			strain = max(strain, math.Abs(x[i])*scale[i])
		}
		for i := range y {
			if math.Abs(y[i]) > 1e-6*scale[i]*strain*100 {
				t.Fatalf("null vector %d: the matrix times it is %v at freedom %d", z, y[i], i)
			}
		}
	}
}

// A saddle, whose first pivot is exactly zero though its column is not, is no free motion.
func TestSaddle(t *testing.T) {
	t.Parallel()
	s := ldlt.Analyse(1, nil)
	m := s.NewMatrix()
	m.AddEntry(0, 1, 3)
	for i := 2; i < six; i++ {
		m.AddDiagonal(i, 1)
	}
	f := s.NewFactor()
	f.Refactor(m, nil, 0)
	if got, want := f.Inertia(), (ldlt.Inertia{Positive: 5, Negative: 1}); got != want {
		t.Fatalf("inertia %+v, want %+v", got, want)
	}
}

// A freedom that nothing touches is a zero pivot whose motion is its own.
func TestUntouchedFreedom(t *testing.T) {
	t.Parallel()
	s := ldlt.Analyse(2, nil)
	m := s.NewMatrix()
	for i := range s.N() {
		if i != 8 {
			m.AddDiagonal(i, 1)
		}
	}
	f := s.NewFactor()
	f.Refactor(m, nil, 0)
	if z := f.Zeros(); len(z) != 1 || z[0] != 8 {
		t.Fatalf("zeros %v", z)
	}
	x := make([]float64, s.N())
	f.Null(0, x)
	for i, v := range x {
		if want := map[bool]float64{true: 1}[i == 8]; v != want {
			t.Fatalf("null vector %v", x)
		}
	}
}
