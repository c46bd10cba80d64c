package ldlt_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/pikepole/pikepole/services/internal/statics/ldlt"
)

// frame is a row of bents like those of a timber frame: each has two posts, a tie, rafters, a king post, struts and knee
// braces, and neighbours are joined by plates, girts and braces. Its pairs are about 2.2 to a node, as in frames of
// 293 members with 792 freedoms that are free.
func frame(nodes int) [][2]int32 {
	const bent = 11
	inside := [][2]int32{
		{0, 1}, {1, 2}, {3, 4}, {4, 5}, {2, 6}, {6, 7}, {7, 5}, {1, 6}, {4, 7}, {2, 8}, {8, 9}, {9, 10}, {10, 5}, {9, 6}, {8, 6}, {10, 7},
	}
	across := [][2]int32{{2, 2}, {5, 5}, {9, 9}, {1, 2}, {2, 1}, {4, 5}, {8, 8}, {10, 10}}
	var pairs [][2]int32
	for first := 0; first < nodes; first += bent {
		for _, p := range inside {
			pairs = append(pairs, [2]int32{int32(first) + p[0], int32(first) + p[1]})
		}
		for _, p := range across {
			pairs = append(pairs, [2]int32{int32(first) + p[0], int32(first) + bent + p[1]})
		}
	}
	kept := pairs[:0]
	for _, p := range pairs {
		if int(p[0]) < nodes && int(p[1]) < nodes {
			kept = append(kept, p)
		}
	}
	return kept
}

func frameMatrix(s *ldlt.Symbolic, pairs [][2]int32) *ldlt.Matrix {
	m := s.NewMatrix()
	rng := rand.New(rand.NewPCG(1, 1))
	for _, p := range pairs {
		k := gram(rng, 12)
		ends := [2]int{int(p[0]), int(p[1])}
		for a := range 2 {
			for b := range a + 1 {
				var block ldlt.Block
				for e := range block {
					block[e] = k[a*six+e/six][b*six+e%six]
				}
				m.Add(ends[a], ends[b], &block)
			}
		}
	}
	for i := range s.N() {
		m.AddDiagonal(i, 1)
	}
	return m
}

var freedoms = []int{792, 7920, 13200}

// BenchmarkAll is everything that a structure costs once: order, pattern, factor and eight right-hand sides.
func BenchmarkAll(b *testing.B) {
	for _, n := range freedoms {
		b.Run(fmt.Sprintf("freedoms=%d", n), func(b *testing.B) {
			pairs := frame(n / six)
			s := ldlt.Analyse(n/six, pairs)
			blank := frameMatrix(s, pairs)
			x := random(rand.New(rand.NewPCG(2, 2)), 8*n)
			b.ReportAllocs()
			b.ReportMetric(float64(s.Blocks()), "blocks")
			for b.Loop() {
				s := ldlt.Analyse(n/six, pairs)
				f := s.NewFactor()
				f.Refactor(blank, nil, 0)
				f.Solve(x, 8)
			}
		})
	}
}

func BenchmarkAnalyse(b *testing.B) {
	for _, n := range freedoms {
		b.Run(fmt.Sprintf("freedoms=%d", n), func(b *testing.B) {
			pairs := frame(n / six)
			b.ReportAllocs()
			for b.Loop() {
				ldlt.Analyse(n/six, pairs)
			}
		})
	}
}

func BenchmarkRefactor(b *testing.B) {
	for _, n := range freedoms {
		b.Run(fmt.Sprintf("freedoms=%d", n), func(b *testing.B) {
			pairs := frame(n / six)
			s := ldlt.Analyse(n/six, pairs)
			m, f := frameMatrix(s, pairs), s.NewFactor()
			f.Refactor(m, nil, 0)
			b.ReportAllocs()
			for b.Loop() {
				f.Refactor(m, nil, 0)
			}
		})
	}
}

func BenchmarkSolve(b *testing.B) {
	for _, n := range freedoms {
		for _, k := range []int{1, 8} {
			b.Run(fmt.Sprintf("freedoms=%d/k=%d", n, k), func(b *testing.B) {
				pairs := frame(n / six)
				s := ldlt.Analyse(n/six, pairs)
				m, f := frameMatrix(s, pairs), s.NewFactor()
				f.Refactor(m, nil, 0)
				x := random(rand.New(rand.NewPCG(2, 2)), k*n)
				y := make([]float64, len(x))
				b.ReportAllocs()
				for b.Loop() {
					copy(y, x)
					f.Solve(y, k)
				}
			})
		}
	}
}
