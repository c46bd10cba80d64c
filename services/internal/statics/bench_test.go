package statics_test

import (
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// bents makes a frame of bents of posts in bays with beams, plates and knee braces, about as many members as asked for, with
// springs at the ends of the beams. oneSided stands its posts on contacts and lets joints open.
func bents(members int, oneSided bool) (statics.Model, []statics.Case) {
	var m statics.Model
	timber := statics.Material{E: 9e9, G: 5.6e8, Rho: 500}
	section := statics.Rectangle(0.2, 0.2)
	section.Asy, section.Asz = section.A*5/6, section.A*5/6
	add := func(i, j int, kind statics.Kind, sprung bool) {
		b := statics.Member{Name: fmt.Sprintf("m%d", len(m.Members)), I: i, J: j, Kind: kind, Material: timber, Section: section}
		if sprung {
			b.GripI.Hold[statics.RZ].K, b.GripJ.Hold[statics.RZ].K = 2e5, 2e5
			b.GripI.Hold[statics.UX].K, b.GripJ.Hold[statics.UX].K = 5e7, 5e7
			if oneSided {
				b.GripI.Pull, b.GripJ.Pull = &statics.Hold{K: 6e6}, &statics.Hold{K: 6e6}
			}
		}
		m.Members = append(m.Members, b)
	}
	node := func(x, y, z float64) int {
		m.Nodes = append(m.Nodes, statics.Node{Name: fmt.Sprintf("n%d", len(m.Nodes)), At: geom.V(x, y, z)})
		return len(m.Nodes) - 1
	}
	const posts = 4
	var last [][3]int
	for row := 0; len(m.Members) < members; row++ {
		var now [][3]int
		for p := range posts {
			x, y := 4*float64(p), 3.6*float64(row)
			foot, knee, top := node(x, y, 0), node(x, y, 2.2), node(x, y, 3)
			now = append(now, [3]int{foot, knee, top})
			add(foot, knee, statics.Beam, false)
			add(knee, top, statics.Beam, false)
			if !oneSided {
				m.Supports = append(m.Supports, statics.Support{Node: foot, Fixed: [6]bool{true, true, true, true, true, true}})
				continue
			}
			for _, c := range [...][2]float64{{1, 1}, {1, -1}, {-1, -1}, {-1, 1}} {
				m.Contacts = append(m.Contacts, statics.Contact{
					Name: fmt.Sprintf("c%d", len(m.Contacts)), Node: foot, Arm: geom.V(0.1*c[0], 0.1*c[1], 0), Normal: geom.V(0, 0, 1), K: 1e8, KT: 5e7, Mu: 0.4,
				})
			}
		}
		for p := range posts - 1 {
			x, y := 4*float64(p), 3.6*float64(row)
			a, b := node(x+0.8, y, 3), node(x+3.2, y, 3)
			add(now[p][2], a, statics.Beam, true)
			add(a, b, statics.Beam, false)
			add(b, now[p+1][2], statics.Beam, true)
			add(now[p][1], a, statics.Bar, true)
			add(now[p+1][1], b, statics.Bar, true)
		}
		for p := range last {
			x, y := 4*float64(p), 3.6*float64(row-1)
			a, b := node(x, y+0.8, 3), node(x, y+2.8, 3)
			add(last[p][2], a, statics.Beam, true)
			add(a, b, statics.Beam, false)
			add(b, now[p][2], statics.Beam, true)
			add(last[p][1], a, statics.Bar, true)
			add(now[p][1], b, statics.Bar, true)
		}
		last = now
	}
	cases := make([]statics.Case, 8)
	for k := range cases {
		cases[k].Name, cases[k].Gravity = fmt.Sprintf("case %d", k), geom.V(0, 0, -9.80665)
		if k == 0 {
			continue
		}
		w := geom.V(float64(k%3-1)*40, float64(k%2*2-1)*30, 0)
		for i := range m.Members {
			cases[k].Line = append(cases[k].Line, statics.LineLoad{Member: i, W: w})
		}
	}
	return m, cases
}

func benchmark(b *testing.B, members int, oneSided bool, o statics.Options, prepared bool) {
	m, cases := bents(members, oneSided)
	s, err := statics.Prepare(&m)
	if err != nil {
		b.Fatal(err)
	}
	rounds := 0
	b.ReportAllocs()
	for b.Loop() {
		if !prepared {
			if s, err = statics.Prepare(&m); err != nil {
				b.Fatal(err)
			}
		}
		rs, err := s.Solve(cases, o)
		if err != nil {
			b.Fatal(err)
		}
		for _, r := range rs {
			if r.Outcome != statics.Solved || len(r.Ends) != len(m.Members) {
				b.Fatal(r.Outcome, r.Motions)
			}
			rounds = max(rounds, r.Rounds)
		}
	}
	b.ReportMetric(float64(len(m.Members)), "members")
	b.ReportMetric(float64(rounds), "rounds")
}

// From the model to the member forces of eight cases: check, order, analysis, assembly, factor, solutions, forces, residuals.
func BenchmarkEightCases(b *testing.B) {
	for _, n := range []int{300, 1000, 3000, 5000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmark(b, n, false, statics.Options{}, false) })
	}
}

// The same on a Solver that is ready.
func BenchmarkEightCasesPrepared(b *testing.B) {
	for _, n := range []int{100, 300, 3000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmark(b, n, false, statics.Options{}, true) })
	}
}

// Feet that only push and rub, joints that open.
func BenchmarkOneSided(b *testing.B) {
	for _, n := range []int{30, 100, 300, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmark(b, n, true, statics.Options{}, true) })
	}
}

// The same in the displaced shape.
func BenchmarkOneSidedSecondOrder(b *testing.B) {
	for _, n := range []int{30, 100, 300, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmark(b, n, true, statics.Options{SecondOrder: true}, true) })
	}
}

// Again with wind a tenth stronger, from the states before and with the axial forces of the weight: as in a search for a gust.
func BenchmarkOneSidedAgain(b *testing.B) {
	for _, n := range []int{30, 100, 300} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			m, cases := bents(n, true)
			s, err := statics.Prepare(&m)
			if err != nil {
				b.Fatal(err)
			}
			before, err := s.Solve(cases, statics.Options{SecondOrder: true})
			if err != nil {
				b.Fatal(err)
			}
			o := statics.Options{Axial: s.Axial(&before[0])}
			for i := range before {
				o.Start = append(o.Start, &before[i])
				for k := range cases[i].Line {
					cases[i].Line[k].W = geom.Scale(1.1, cases[i].Line[k].W)
				}
			}
			rounds := 0
			b.ReportAllocs()
			for b.Loop() {
				rs, err := s.Solve(cases, o)
				if err != nil {
					b.Fatal(err)
				}
				for _, r := range rs {
					if r.Outcome != statics.Solved {
						b.Fatal(r.Outcome, r.Motions)
					}
					rounds = max(rounds, r.Rounds)
				}
			}
			b.ReportMetric(float64(rounds), "rounds")
		})
	}
}
