package statics

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// Frequencies are the lowest n natural frequencies in Hz, all one-sided parts being closed: Euler–Bernoulli beams with
// consistent mass, without rotary inertia of bending. Fewer come back when the structure has fewer. Its error is an
// *InputError: a structure that moves freely has no frequencies to speak of.
func (s *Solver) Frequencies(n int) ([]float64, error) {
	if err := s.leaveOut(nil); err != nil {
		return nil, err
	}
	closed := make(states, len(s.parts))
	loose, _, _ := s.assemble(closed, nil, nil)
	s.factor.Refactor(s.matrix, s.holding, 0)
	if in := s.factor.Inertia(); loose >= 0 || in.Zero+in.Negative > 0 {
		return nil, &InputError{Piece: "structure", Problem: "it moves freely and so has no frequencies; hold it"}
	}
	mass := s.symbolic.NewMatrix()
	s.assembleMass(mass)
	free := 0
	for f := range s.n {
		if !s.holding[f] && mass.Diagonal(f) > 0 {
			free++
		}
	}
	n = min(n, free)
	if n <= 0 {
		return nil, nil
	}
	return s.subspace(mass, n, min(free, max(2*n, n+8)))
}

// subspace is the iteration of Bathe on K·φ = ω²·M·φ with k vectors.
func (s *Solver) subspace(mass *ldlt.Matrix, n, k int) ([]float64, error) {
	x, y := make([]float64, s.n*k), make([]float64, s.n*k)
	seed := random(1)
	for i := range x {
		x[i] = seed.next()
	}
	var last []float64
	for range 200 {
		mass.Mul(y, x, k)
		s.maskHeld(y, k)
		copy(x, y)
		s.factor.Solve(x, k)
		kr, mr := mat.NewSymDense(k, nil), mat.NewSymDense(k, nil)
		z := make([]float64, s.n*k)
		mass.Mul(z, x, k)
		for a := range k {
			for b := a; b < k; b++ {
				kr.SetSym(a, b, dot(x[a*s.n:(a+1)*s.n], y[b*s.n:(b+1)*s.n]))
				mr.SetSym(a, b, dot(x[a*s.n:(a+1)*s.n], z[b*s.n:(b+1)*s.n]))
			}
		}
		values, vectors, ok := pencil(mr, kr)
		if !ok {
			return nil, fmt.Errorf("statics: the frequencies did not settle")
		}
		next := make([]float64, s.n*k)
		for c := range k {
			for a := range k {
				q := vectors.At(a, c)
				for f := range s.n {
					next[c*s.n+f] += q * x[a*s.n+f]
				}
			}
		}
		x = next
		if last != nil && settledValues(values[:n], last[:n]) {
			out := make([]float64, 0, n)
			for _, v := range values[:n] {
				if v > 0 {
					out = append(out, 1/math.Sqrt(v)/(2*math.Pi))
				}
			}
			slices.Sort(out)
			return out, nil
		}
		last = values
	}
	return nil, fmt.Errorf("statics: the frequencies did not settle")
}

func settledValues(a, b []float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-10*math.Abs(a[i]) {
			return false
		}
	}
	return true
}

// pencil solves m·q = v·k·q, k positive, the largest v first, with q scaled to qᵀ·k·q = 1.
func pencil(m, k *mat.SymDense) (values []float64, vectors *mat.Dense, ok bool) {
	n, _ := k.Dims()
	var ek mat.EigenSym
	if !ek.Factorize(k, true) {
		return nil, nil, false
	}
	var u mat.Dense
	ek.VectorsTo(&u)
	ev := ek.Values(nil)
	most := ev[n-1]
	for c := range n { // directions that have shrunk to nothing stay nothing
		f := 0.0
		if ev[c] > 1e-14*most {
			f = 1 / math.Sqrt(ev[c])
		}
		for r := range n {
			u.Set(r, c, u.At(r, c)*f)
		}
	}
	var t, w mat.Dense
	t.Mul(m, &u)
	w.Mul(u.T(), &t)
	sym := mat.NewSymDense(n, nil)
	for a := range n {
		for b := a; b < n; b++ {
			sym.SetSym(a, b, (w.At(a, b)+w.At(b, a))/2)
		}
	}
	var em mat.EigenSym
	if !em.Factorize(sym, true) {
		return nil, nil, false
	}
	var v mat.Dense
	em.VectorsTo(&v)
	up := em.Values(nil)
	values = make([]float64, n)
	back := mat.NewDense(n, n, nil)
	for c := range n {
		values[c] = up[n-1-c]
		for r := range n {
			back.Set(r, c, v.At(r, n-1-c))
		}
	}
	vectors = mat.NewDense(n, n, nil)
	vectors.Mul(&u, back)
	return values, vectors, true
}

// assembleMass adds up the consistent masses of the members, passed on by their ends as loads are.
func (s *Solver) assembleMass(m *ldlt.Matrix) {
	for i := range s.elements {
		e := &s.elements[i]
		if e.line == 0 {
			continue
		}
		half := e.line * e.l
		var k stiff
		t := &s.tight[i]
		if e.bar {
			// Half of its mass at either end, in all directions.
			s.blocks = [3]ldlt.Block{}
			var uu mat3
			for _, axis := range e.r {
				uu.addOuter(half/2, axis, axis)
			}
			pairBlock(uu, mat3{}, mat3{}, mat3{}, e.arms, e.ai, e.ai, &s.blocks[0])
			pairBlock(uu, mat3{}, mat3{}, mat3{}, e.arms, e.aj, e.aj, &s.blocks[2])
			s.addPair(m, &s.places[i], e.i, e.j)
			continue
		}
		k.y.k, k.z.k = squeezed(&t.y.t, massPlane(half, e.l)), squeezed(&t.z.t, massPlane(half, e.l))
		e.blocks(&k, &s.blocks)
		e.addAlong(t, half, &s.blocks)
		s.addPair(m, &s.places[i], e.i, e.j)
	}
}

// massPlane is the consistent mass of a beam in one plane.
func massPlane(m, l float64) [4][4]float64 {
	f := m / 420
	return [4][4]float64{
		{156 * f, 22 * l * f, 54 * f, -13 * l * f},
		{22 * l * f, 4 * l * l * f, 13 * l * f, -3 * l * l * f},
		{54 * f, 13 * l * f, 156 * f, -22 * l * f},
		{-13 * l * f, -3 * l * l * f, -22 * l * f, 4 * l * l * f},
	}
}

// squeezed is t·g·tᵀ.
func squeezed(t *[4][4]float64, g [4][4]float64) (out [4][4]float64) {
	var h [4][4]float64
	for i := range 4 {
		for j := range 4 {
			for k := range 4 {
				h[i][j] += t[i][k] * g[k][j]
			}
		}
	}
	for i := range 4 {
		for j := range 4 {
			for k := range 4 {
				out[i][j] += h[i][k] * t[j][k]
			}
		}
	}
	return out
}

// addAlong adds the mass along a beam, [2 1; 1 2]·m/6, to the blocks.
func (e *element) addAlong(t *stiff, m float64, blocks *[3]ldlt.Block) {
	var a, c [2][2]float64
	a = [2][2]float64{{m / 3, m / 6}, {m / 6, m / 3}}
	for i := range 2 {
		for j := range 2 {
			for p := range 2 {
				for q := range 2 {
					c[i][j] += t.ta[i][p] * a[p][q] * t.ta[j][q]
				}
			}
		}
	}
	var one ldlt.Block
	for q, ends := range [...][2]int{{0, 0}, {0, 1}, {1, 1}} {
		var uu mat3
		uu.addOuter(c[ends[0]][ends[1]], e.r[0], e.r[0])
		arm := [2]geom.Vec{e.ai, e.aj}
		pairBlock(uu, mat3{}, mat3{}, mat3{}, e.arms, arm[ends[0]], arm[ends[1]], &one)
		for k := range one {
			blocks[q][k] += one[k]
		}
	}
}
