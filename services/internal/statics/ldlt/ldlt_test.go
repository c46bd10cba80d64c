package ldlt_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

const six = ldlt.Freedoms

// problem is a matrix twice: in blocks and dense.
type problem struct {
	s     *ldlt.Symbolic
	m     *ldlt.Matrix
	dense *mat.SymDense
}

func newProblem(nodes int, pairs [][2]int32) problem {
	s := ldlt.Analyse(nodes, pairs)
	return problem{s, s.NewMatrix(), mat.NewSymDense(s.N(), nil)}
}

// add adds the 12×12 matrix of the pair i, j as a member's.
func (p problem) add(i, j int, k *[2 * six][2 * six]float64) {
	ends := [2]int{i, j}
	for a := range 2 {
		for b := range a + 1 {
			var block ldlt.Block
			for r := range six {
				for c := range six {
					block[r*six+c] = k[a*six+r][b*six+c]
				}
			}
			if !p.m.Add(ends[a], ends[b], &block) {
				panic("pair not in the pattern")
			}
			for r := range six {
				for c := range six {
					f, g := ends[a]*six+r, ends[b]*six+c
					if a == b && f < g {
						continue
					}
					p.dense.SetSym(f, g, p.dense.At(f, g)+block[r*six+c])
				}
			}
		}
	}
}

func drawPairs(t *rapid.T, nodes int) [][2]int32 {
	pairs := make([][2]int32, rapid.IntRange(0, 4*nodes).Draw(t, "pairs"))
	for k := range pairs {
		pairs[k] = [2]int32{
			int32(rapid.IntRange(0, nodes-1).Draw(t, "i")), int32(rapid.IntRange(0, nodes-1).Draw(t, "j")),
		}
	}
	return pairs
}

// gram is B·Bᵀ of a random 12×rank matrix.
func gram(rng *rand.Rand, rank int) *[2 * six][2 * six]float64 {
	var b, k [2 * six][2 * six]float64
	for r := range b {
		for c := range rank {
			b[r][c] = rng.NormFloat64()
		}
	}
	for r := range k {
		for c := range k {
			for m := range rank {
				k[r][c] += b[r][m] * b[c][m]
			}
		}
	}
	return &k
}

// drawDefinite is a random positive definite problem.
func drawDefinite(t *rapid.T) problem {
	nodes := rapid.IntRange(1, 14).Draw(t, "nodes")
	pairs := drawPairs(t, nodes)
	p := newProblem(nodes, pairs)
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	for _, pair := range pairs {
		if pair[0] != pair[1] {
			p.add(int(pair[0]), int(pair[1]), gram(rng, 12))
		}
	}
	for f := range p.s.N() {
		v := 0.5 + rng.Float64()
		p.m.AddDiagonal(f, v)
		p.dense.SetSym(f, f, p.dense.At(f, f)+v)
	}
	return p
}

func random(rng *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}

func largest(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		most = max(most, math.Abs(v))
	}
	return most
}

// Solutions are those of the dense Cholesky factor of gonum, for any number of right-hand sides, and the product undoes them.
func TestSolveLikeDenseCholesky(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawDefinite(t)
		n, k := p.s.N(), rapid.IntRange(1, 10).Draw(t, "right-hand sides")
		rng := rand.New(rand.NewPCG(7, 7))
		b := random(rng, n*k)
		x := append([]float64(nil), b...)
		f := p.s.NewFactor()
		f.Refactor(p.m, nil, 0)
		if got := f.Inertia(); got != (ldlt.Inertia{Positive: n}) {
			t.Fatalf("inertia %+v of a positive definite matrix of %d", got, n)
		}
		f.Solve(x, k)
		var chol mat.Cholesky
		if !chol.Factorize(p.dense) {
			t.Fatal("dense factor failed")
		}
		for v := range k {
			var want mat.VecDense
			if err := chol.SolveVecTo(&want, mat.NewVecDense(n, b[v*n:(v+1)*n])); err != nil {
				t.Skip("ill-conditioned")
			}
			scale := largest(want.RawVector().Data)
			for i := range n {
				if math.Abs(x[v*n+i]-want.AtVec(i)) > 1e-8*scale {
					t.Fatalf("vector %d, freedom %d: %v, dense %v", v, i, x[v*n+i], want.AtVec(i))
				}
			}
		}
		back := make([]float64, n*k)
		p.m.Mul(back, x, k)
		for i := range back {
			if math.Abs(back[i]-b[i]) > 1e-8*largest(b) {
				t.Fatalf("entry %d: product %v, right-hand side %v", i, back[i], b[i])
			}
		}
	})
}

// Held freedoms keep their value and the others answer to it, as in the dense matrix with those rows and columns taken out.
func TestHeld(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawDefinite(t)
		n := p.s.N()
		held, free := make([]bool, n), []int{}
		whole := rapid.IntRange(-1, n/six-1).Draw(t, "node held altogether")
		for i := range held {
			held[i] = i/six == whole || rapid.IntRange(0, 4).Draw(t, "held") == 0
			if !held[i] {
				free = append(free, i)
			}
		}
		rng := rand.New(rand.NewPCG(5, 5))
		load, want := random(rng, n), random(rng, n)
		if len(free) > 0 {
			wantHeld(t, p.dense, free, held, load, want)
		}
		moved := make([]float64, n)
		for i := range moved {
			if held[i] {
				moved[i] = want[i]
			}
		}
		x := make([]float64, n)
		p.m.Mul(x, moved, 1)
		for i := range x {
			if x[i] = load[i] - x[i]; held[i] {
				x[i] = want[i]
			}
		}
		f := p.s.NewFactor()
		f.Refactor(p.m, held, 0)
		if got := f.Inertia(); got != (ldlt.Inertia{Positive: len(free)}) {
			t.Fatalf("inertia %+v with %d freedoms free", got, len(free))
		}
		f.Solve(x, 1)
		for i := range x {
			if math.Abs(x[i]-want[i]) > 1e-8*largest(want) {
				t.Fatalf("freedom %d (held %v): %v, dense %v", i, held[i], x[i], want[i])
			}
		}
	})
}

// wantHeld puts into x at the free freedoms what the dense matrix gives.
func wantHeld(t *rapid.T, k *mat.SymDense, free []int, held []bool, load, x []float64) {
	sub, rhs := mat.NewSymDense(len(free), nil), mat.NewVecDense(len(free), nil)
	for a, i := range free {
		r := load[i]
		for j, h := range held {
			if h {
				r -= k.At(i, j) * x[j]
			}
		}
		rhs.SetVec(a, r)
		for b, j := range free {
			if b <= a {
				sub.SetSym(a, b, k.At(i, j))
			}
		}
	}
	var chol mat.Cholesky
	var y mat.VecDense
	if !chol.Factorize(sub) {
		t.Fatal("dense factor failed")
	}
	if err := chol.SolveVecTo(&y, rhs); err != nil {
		t.Skip("ill-conditioned")
	}
	for a, i := range free {
		x[i] = y.AtVec(a)
	}
}

// The names of the nodes do not matter: numbered another way, the same answers come out.
func TestNumberingDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		nodes := rapid.IntRange(2, 20).Draw(t, "nodes")
		pairs := drawPairs(t, nodes)
		perm := rapid.Permutation(seq(nodes)).Draw(t, "numbering")
		other := make([][2]int32, len(pairs))
		for k, p := range pairs {
			other[k] = [2]int32{int32(perm[p[1]]), int32(perm[p[0]])}
		}
		a, b := newProblem(nodes, pairs), newProblem(nodes, other)
		rng := rand.New(rand.NewPCG(3, 3))
		for _, p := range pairs {
			if p[0] != p[1] {
				k := gram(rng, 12)
				a.add(int(p[0]), int(p[1]), k)
				b.add(perm[p[0]], perm[p[1]], k)
			}
		}
		x, y := make([]float64, nodes*six), make([]float64, nodes*six)
		for i := range x {
			a.m.AddDiagonal(i, 1)
			j := perm[i/six]*six + i%six
			b.m.AddDiagonal(j, 1)
			x[i] = rng.NormFloat64()
			y[j] = x[i]
		}
		f, g := a.s.NewFactor(), b.s.NewFactor()
		f.Refactor(a.m, nil, 0)
		g.Refactor(b.m, nil, 0)
		f.Solve(x, 1)
		g.Solve(y, 1)
		for i := range x {
			if j := perm[i/six]*six + i%six; math.Abs(x[i]-y[j]) > 1e-9*largest(x) {
				t.Fatalf("freedom %d: %v and %v", i, x[i], y[j])
			}
		}
	})
}

func seq(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

// Entries, blocks and places say the same.
func TestAssembly(t *testing.T) {
	t.Parallel()
	pairs := [][2]int32{{0, 1}, {1, 2}, {2, 0}, {0, 1}}
	rng := rand.New(rand.NewPCG(1, 2))
	s := ldlt.Analyse(4, pairs)
	a, b := s.NewMatrix(), s.NewMatrix()
	for _, p := range pairs {
		i, j := int(p[0]), int(p[1])
		var block ldlt.Block
		for e := range block {
			block[e] = rng.NormFloat64()
			b.AddEntry(i*six+e/six, j*six+e%six, block[e])
		}
		place, ok := s.Place(i, j)
		if !ok {
			t.Fatalf("no place for %v", p)
		}
		a.AddAt(place, &block)
	}
	if _, ok := s.Place(0, 3); ok {
		t.Error("nodes 0 and 3 are not coupled")
	}
	if a.AddEntry(0, 3*six, 1) || a.Add(3, 0, &ldlt.Block{}) {
		t.Error("an entry outside the pattern was taken")
	}
	a.AddScaled(b, -1)
	x, y := random(rng, s.N()), make([]float64, s.N())
	a.Mul(y, x, 1)
	if largest(y) > 1e-12 {
		t.Errorf("the two differ by %v", largest(y))
	}
}

// A tree of nodes is factored without a new block: there is always a node with one neighbour left.
func TestTreeFillsNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		nodes := rapid.IntRange(1, 200).Draw(t, "nodes")
		names := rapid.Permutation(seq(nodes)).Draw(t, "names")
		var pairs [][2]int32
		for i := 1; i < nodes; i++ {
			pairs = append(pairs, [2]int32{int32(names[i]), int32(names[rapid.IntRange(0, i-1).Draw(t, "parent")])})
		}
		if got, want := ldlt.Analyse(nodes, pairs).Blocks(), 2*nodes-1; got != want {
			t.Fatalf("%d blocks of a tree of %d nodes, want %d", got, nodes, want)
		}
	})
}

// A row of bents fills little: the factor has less than twice the blocks of the matrix, and grows as the row does.
func TestRowOfBentsFillsLittle(t *testing.T) {
	t.Parallel()
	for _, nodes := range []int{132, 1320, 2200} {
		pairs := frame(nodes)
		if got, most := ldlt.Analyse(nodes, pairs).Blocks(), 2*(nodes+len(pairs)); got > most {
			t.Errorf("%d nodes: %d blocks, want at most %d", nodes, got, most)
		}
	}
}

func TestRefactorAndSolveTakeNoMemory(t *testing.T) {
	pairs := frame(132)
	s := ldlt.Analyse(132, pairs)
	m, f, x := frameMatrix(s, pairs), s.NewFactor(), make([]float64, 9*s.N())
	held := make([]bool, s.N())
	held[3] = true
	if got := testing.AllocsPerRun(5, func() {
		f.Refactor(m, held, 0)
		f.Solve(x, 9)
		m.Mul(x[:s.N()], x[s.N():2*s.N()], 1)
	}); got != 0 {
		t.Errorf("%v allocations", got)
	}
}
