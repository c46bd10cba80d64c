package statics_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// sample is a frame of a few bents with random sizes, grips, arms, links and feet.
type sample struct {
	model statics.Model
	cases []statics.Case
}

// between draws a number.
func between(t *rapid.T, lo, hi float64, label string) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, label)
}

func drawMember(t *rapid.T, i, j int) statics.Member {
	m := statics.Member{
		Name: "m" + string(rune('a'+i%26)) + string(rune('a'+j%26)), I: i, J: j,
		Material: statics.Material{E: 9e9, G: 5.6e8, Rho: 500},
		Section:  statics.Rectangle(between(t, 0.1, 0.25, "b"), between(t, 0.1, 0.3, "h")),
	}
	if rapid.Bool().Draw(t, "shear") {
		m.Section.Asy, m.Section.Asz = m.Section.A*5/6, m.Section.A*5/6
	}
	return m
}

// drawFrame makes posts on feet at a grid, with beams between their tops. oneSided gives feet contacts, joints without
// pull, and straps.
func drawFrame(t *rapid.T, oneSided bool) sample {
	var s sample
	nx, ny := rapid.IntRange(2, 3).Draw(t, "nx"), rapid.IntRange(1, 3).Draw(t, "ny")
	at := func(i, j int, z float64) int {
		s.model.Nodes = append(s.model.Nodes, statics.Node{At: geom.V(
			float64(i)*4+between(t, -0.3, 0.3, "x"), float64(j)*3.5+between(t, -0.3, 0.3, "y"), z)})
		return len(s.model.Nodes) - 1
	}
	tops := map[[2]int]int{}
	for i := range nx {
		for j := range ny {
			foot, top := at(i, j, 0), at(i, j, 3+between(t, -0.2, 0.5, "z"))
			tops[[2]int{i, j}] = top
			s.model.Members = append(s.model.Members, drawMember(t, foot, top))
			if oneSided {
				for _, c := range [...][2]float64{{1, 1}, {1, -1}, {-1, -1}, {-1, 1}} {
					s.model.Contacts = append(s.model.Contacts, statics.Contact{
						Node: foot, Arm: geom.V(0.1*c[0], 0.1*c[1], 0), Normal: geom.V(0, 0, 1), K: 1e8, KT: 5e7, Mu: 0.4,
						Held: rapid.IntRange(0, 3).Draw(t, "dowel") == 0,
					})
				}
				continue
			}
			s.model.Supports = append(s.model.Supports, statics.Support{Node: foot, Fixed: [6]bool{true, true, true, true, true, true}})
		}
	}
	join := func(i, j int) {
		m := drawMember(t, i, j)
		if rapid.Bool().Draw(t, "arm") {
			m.ArmI, m.ArmJ = geom.V(0.08, 0, -0.05), geom.V(0, -0.07, 0.02)
		}
		for _, g := range [...]*statics.Grip{&m.GripI, &m.GripJ} {
			g.Hold[statics.RZ].K = between(t, 1e4, 1e6, "turn")
			if rapid.Bool().Draw(t, "pin") {
				g.Hold[statics.RZ] = statics.Hold{Free: true}
			}
			if oneSided {
				g.Pull = &statics.Hold{K: between(t, 1e6, 1e7, "pegs")}
			}
		}
		if oneSided && rapid.Bool().Draw(t, "unpegged") {
			m.GripJ.Pull = &statics.Hold{Free: true}
		}
		s.model.Members = append(s.model.Members, m)
	}
	for i := range nx {
		for j := range ny {
			if i+1 < nx {
				join(tops[[2]int{i, j}], tops[[2]int{i + 1, j}])
			}
			if j+1 < ny {
				join(tops[[2]int{i, j}], tops[[2]int{i, j + 1}])
			}
		}
	}
	// Braces to the ground from every post, both ways.
	kind := statics.Bar
	if oneSided {
		kind = rapid.SampledFrom([]statics.Kind{statics.Bar, statics.Tie, statics.Prop}).Draw(t, "kind")
	}
	for i := range nx {
		for j := range ny {
			for _, d := range [...]geom.Vec{geom.V(2, 0, 0), geom.V(-2, 0, 0), geom.V(0, 2, 0), geom.V(0, -2, 0)} {
				if rapid.IntRange(0, 2).Draw(t, "brace") == 0 {
					continue
				}
				top := tops[[2]int{i, j}]
				p := s.model.Nodes[top].At
				s.model.Nodes = append(s.model.Nodes, statics.Node{At: geom.V(p.X+d.X, p.Y+d.Y, 0)})
				foot := len(s.model.Nodes) - 1
				s.model.Supports = append(s.model.Supports, statics.Support{Node: foot, Fixed: [6]bool{true, true, true, true, true, true}})
				b := drawMember(t, top, foot)
				b.Kind, b.Section = kind, statics.Rectangle(0.038, 0.14)
				b.GripI.Hold[statics.UX].K, b.GripJ.Hold[statics.UX].K = 2e6, 2e6
				s.model.Members = append(s.model.Members, b)
			}
		}
	}
	for k := range 2 {
		c := statics.Case{Gravity: geom.V(0, 0, -9.80665)}
		if k == 1 {
			w := geom.V(between(t, -60, 60, "wx"), between(t, -60, 60, "wy"), 0)
			for m := range s.model.Members {
				c.Line = append(c.Line, statics.LineLoad{Member: m, W: w})
			}
			n := rapid.IntRange(0, len(s.model.Nodes)-1).Draw(t, "at")
			c.Nodal = append(c.Nodal, statics.NodalLoad{Node: n, F: statics.Vec6{between(t, -500, 500, "fx"), between(t, -500, 500, "fy"), between(t, -500, 100, "fz")}})
			m := rapid.IntRange(0, len(s.model.Members)-1).Draw(t, "on")
			c.Point = append(c.Point, statics.PointLoad{Member: m, At: between(t, 0.1, 1.5, "a"), F: geom.V(100, -50, -900)})
		}
		s.cases = append(s.cases, c)
	}
	return s
}

// turned is the sample turned about the upright, or about anything, loads and all.
func (s sample) turned(m geom.Motion) sample {
	var o sample
	o.model = statics.Model{
		Nodes: append([]statics.Node(nil), s.model.Nodes...), Members: append([]statics.Member(nil), s.model.Members...),
		Contacts: append([]statics.Contact(nil), s.model.Contacts...), Supports: s.model.Supports,
	}
	for i := range o.model.Nodes {
		o.model.Nodes[i].At = m.Point(o.model.Nodes[i].At)
	}
	for i := range o.model.Members {
		b := &o.model.Members[i]
		b.ArmI, b.ArmJ = m.Direction(b.ArmI), m.Direction(b.ArmJ)
		along := geom.Sub(s.model.Nodes[b.J].At, s.model.Nodes[b.I].At)
		along = geom.Add(along, geom.Sub(s.model.Members[i].ArmJ, s.model.Members[i].ArmI))
		ref := geom.V(0, 0, 1)
		if math.Hypot(geom.Unit(along).X, geom.Unit(along).Y) < 1e-3 {
			ref = geom.V(1, 0, 0)
		}
		b.YRef = m.Direction(ref)
	}
	for i := range o.model.Contacts {
		c := &o.model.Contacts[i]
		c.Arm, c.Normal = m.Direction(c.Arm), m.Direction(c.Normal)
	}
	for _, c := range s.cases {
		d := statics.Case{Gravity: m.Direction(c.Gravity)}
		for _, l := range c.Line {
			l.W = m.Direction(l.W)
			d.Line = append(d.Line, l)
		}
		for _, p := range c.Point {
			p.F, p.M = m.Direction(p.F), m.Direction(p.M)
			d.Point = append(d.Point, p)
		}
		for _, n := range c.Nodal {
			f, q := m.Direction(geom.V(n.F[0], n.F[1], n.F[2])), m.Direction(geom.V(n.F[3], n.F[4], n.F[5]))
			n.F = statics.Vec6{f.X, f.Y, f.Z, q.X, q.Y, q.Z}
			d.Nodal = append(d.Nodal, n)
		}
		o.cases = append(o.cases, d)
	}
	return o
}

func mustSolve(t *rapid.T, s sample, o statics.Options) []statics.Result {
	p, err := statics.Prepare(&s.model)
	if err != nil {
		t.Fatal(err)
	}
	rs, err := p.Solve(s.cases, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rs {
		if r.Outcome == statics.Solved && r.Residual > 1e-6 {
			t.Fatalf("residual %v", r.Residual)
		}
	}
	return rs
}

// Turning the frame and its loads together turns the answer: forces in members' own axes stay.
func TestTurnedFrames(t *testing.T) {
	t.Parallel()
	for name, oneSided := range map[string]bool{"two-sided": false, "one-sided": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				s := drawFrame(t, oneSided)
				turn := geom.Turn(geom.V(1, 2, 3), geom.V(between(t, -1, 1, "ax"), between(t, -1, 1, "ay"), 1), between(t, 0, 360, "deg"))
				second := rapid.Bool().Draw(t, "second")
				o := statics.Options{SecondOrder: second}
				a, b := mustSolve(t, s, o), mustSolve(t, s.turned(turn), o)
				for i := range a {
					if a[i].Outcome != b[i].Outcome {
						t.Fatalf("%v turned %v: %v %v", a[i].Outcome, b[i].Outcome, a[i].Motions, b[i].Motions)
					}
					if a[i].Outcome != statics.Solved {
						continue
					}
					sameForces(t, &a[i], &b[i], 1e-6)
				}
			})
		})
	}
}

func sameForces(t *rapid.T, a, b *statics.Result, tol float64) {
	most, off := 0.0, 0.0
	for m := range a.Ends {
		for end := range 2 {
			for f := range 6 {
				most = max(most, math.Abs(a.Ends[m][end][f]))
				off = max(off, math.Abs(a.Ends[m][end][f]-b.Ends[m][end][f]))
			}
		}
	}
	if off > tol*most {
		t.Fatalf("forces off by %.3g of %.3g", off, most)
	}
}

// Betti: the work of one case's loads on the other's displacements is the same both ways.
func TestReciprocity(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawFrame(t, false)
		n := len(s.model.Nodes)
		load := func(label string) statics.NodalLoad {
			l := statics.NodalLoad{Node: rapid.IntRange(0, n-1).Draw(t, label)}
			for f := range l.F {
				l.F[f] = between(t, -1000, 1000, label)
			}
			return l
		}
		// Loads on members' spans count by the work on their shapes, so nodal ones alone are compared here.
		a, b := load("a"), load("b")
		for _, l := range []*statics.NodalLoad{&a, &b} { // a node of bars alone takes no moment
			l.F[3], l.F[4], l.F[5] = 0, 0, 0
		}
		s.cases = []statics.Case{{Nodal: []statics.NodalLoad{a}}, {Nodal: []statics.NodalLoad{b}}, {Nodal: []statics.NodalLoad{a, b}}}
		rs := mustSolve(t, s, statics.Options{})
		ab, ba, aa := 0.0, 0.0, 0.0
		for f := range 6 {
			ab += a.F[f] * rs[1].Displacements[a.Node][f]
			ba += b.F[f] * rs[0].Displacements[b.Node][f]
			aa = max(aa, math.Abs(a.F[f]*rs[0].Displacements[a.Node][f]), math.Abs(b.F[f]*rs[1].Displacements[b.Node][f]))
		}
		if math.Abs(ab-ba) > 1e-8*(aa+math.Abs(ab)) {
			t.Fatalf("%v and %v", ab, ba)
		}
		for k := range rs[0].Displacements {
			for f := range 6 {
				sum := rs[0].Displacements[k][f] + rs[1].Displacements[k][f]
				if math.Abs(sum-rs[2].Displacements[k][f]) > 1e-8*(math.Abs(sum)+1e-3*aa) {
					t.Fatalf("node %d: %v, together %v", k, sum, rs[2].Displacements[k][f])
				}
			}
		}
	})
}

// A massless spring to the ground, or between nodes that do not move apart, changes no force when it is added across nodes
// that the load leaves where they are; here the geometric stiffness is kept by springs on rotations and displacements of
// nodes that are loaded through the axis alone.
func TestSpringNeverLowersBuckling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		// A straight chain of members under axial loads: springs across it change no axial force.
		n := rapid.IntRange(3, 8).Draw(t, "n")
		m := statics.Model{Supports: []statics.Support{{Node: 0, Fixed: [6]bool{true, true, true, true, true, true}}}}
		dir := geom.Unit(geom.V(between(t, -1, 1, "dx"), between(t, -1, 1, "dy"), 1))
		at := geom.Vec{}
		var c statics.Case
		for i := range n {
			m.Nodes = append(m.Nodes, statics.Node{At: at})
			at = geom.Add(at, geom.Scale(between(t, 0.3, 1.5, "l"), dir))
			if i > 0 {
				b := drawMember(t, i-1, i)
				if i%2 == 0 {
					b.GripI.Hold[statics.RZ].K, b.GripI.Hold[statics.RY].K = between(t, 1e4, 1e6, "k"), between(t, 1e4, 1e6, "k")
				}
				m.Members = append(m.Members, b)
				f := geom.Scale(-between(t, 1, 1e4, "p"), dir)
				c.Nodal = append(c.Nodal, statics.NodalLoad{Node: i, F: statics.Vec6{f.X, f.Y, f.Z}})
			}
		}
		factor := func(m statics.Model) float64 {
			s, err := statics.Prepare(&m)
			if err != nil {
				t.Fatal(err)
			}
			rs, err := s.Solve([]statics.Case{c}, statics.Options{Buckling: true})
			if err != nil || rs[0].Outcome != statics.Solved {
				t.Fatalf("%v %v", err, rs)
			}
			return rs[0].Buckling
		}
		bare := factor(m)
		k := rapid.IntRange(1, n-1).Draw(t, "at")
		side := geom.Unit(geom.Cross(dir, geom.V(1, 0.3, 0)))
		far := geom.Add(m.Nodes[k].At, geom.Scale(2, side))
		m.Nodes = append(m.Nodes, statics.Node{At: far})
		m.Supports = append(m.Supports, statics.Support{Node: n, Fixed: [6]bool{true, true, true, true, true, true}})
		b := drawMember(t, k, n)
		b.Kind, b.Material.Rho = statics.Bar, 0
		b.GripI.Hold[statics.UX].K = math.Pow(10, between(t, 0, 8, "spring"))
		m.Members = append(m.Members, b)
		if held := factor(m); held < bare*(1-1e-6) {
			t.Fatalf("with a spring %v, without %v", held, bare)
		}
	})
}

// No answer goes beyond the residual, and Prepare and Solve never panic, whatever the numbers.
func TestForcesAlongMembers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawFrame(t, rapid.Bool().Draw(t, "one-sided"))
		p, err := statics.Prepare(&s.model)
		if err != nil {
			t.Fatal(err)
		}
		rs, err := p.Solve(s.cases, statics.Options{SecondOrder: rapid.Bool().Draw(t, "second")})
		if err != nil {
			t.Fatal(err)
		}
		for i := range rs {
			r := &rs[i]
			if r.Outcome != statics.Solved {
				continue
			}
			for m, b := range s.model.Members {
				l := geom.Dist(geom.Add(s.model.Nodes[b.I].At, b.ArmI), geom.Add(s.model.Nodes[b.J].At, b.ArmJ))
				near, far := p.Forces(r, m, 0), p.Forces(r, m, l)
				for f := range 6 {
					if b.Kind != statics.Beam && f == 0 {
						continue // half of its weight hangs on either node
					}
					size := 0.0
					for _, e := range r.Ends[m] {
						for _, x := range e {
							size = max(size, math.Abs(x))
						}
					}
					if math.Abs(near[f]+r.Ends[m][0][f]) > 1e-5*size+1e-6 || math.Abs(far[f]-r.Ends[m][1][f]) > 1e-5*size+1e-6 {
						t.Fatalf("member %d: %v and %v, ends %v", m, near, far, r.Ends[m])
					}
				}
			}
		}
	})
}

func FuzzSolve(f *testing.F) {
	f.Add([]byte("posts and beams"))
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "nodes")
		var m statics.Model
		number := func() float64 {
			return rapid.SampledFrom([]float64{0, 1, -1, 2.5, 0.2, 1e-9, 1e9, 1e14, math.NaN(), math.Inf(1), 3}).Draw(t, "v")
		}
		place := func() geom.Vec { return geom.V(number(), number(), number()) }
		index := func() int { return rapid.IntRange(-1, n).Draw(t, "i") }
		for range n {
			m.Nodes = append(m.Nodes, statics.Node{At: place()})
		}
		for range rapid.IntRange(0, 5).Draw(t, "members") {
			b := statics.Member{
				I: index(), J: index(), Kind: statics.Kind(rapid.IntRange(0, 3).Draw(t, "kind")), YRef: place(), ArmI: place(),
				Material: statics.Material{E: 9e9, G: 5e8, Rho: number()}, Section: statics.Rectangle(0.1, 0.2),
			}
			b.GripI.Hold[rapid.IntRange(0, 5).Draw(t, "f")] = statics.Hold{Free: rapid.Bool().Draw(t, "free"), K: number()}
			b.GripJ.Hold[rapid.IntRange(0, 5).Draw(t, "f")].Free = true
			if rapid.Bool().Draw(t, "pull") {
				b.GripJ.Pull = &statics.Hold{Free: true}
			}
			m.Members = append(m.Members, b)
		}
		for range rapid.IntRange(0, 2).Draw(t, "links") {
			m.Links = append(m.Links, statics.Link{I: index(), J: index(), At: place(), K: [6]float64{number(), number()}})
		}
		for range rapid.IntRange(0, 3).Draw(t, "supports") {
			p := statics.Support{Node: index(), Fixed: [6]bool{true, rapid.Bool().Draw(t, "y"), true}, Spring: [6]float64{0, 0, 0, number()}, Axis: place()}
			p.OneSided[0] = rapid.Bool().Draw(t, "one")
			m.Supports = append(m.Supports, p)
		}
		for range rapid.IntRange(0, 3).Draw(t, "contacts") {
			m.Contacts = append(m.Contacts, statics.Contact{Node: index(), Arm: place(), Normal: place(), K: number(), KT: number(), Mu: number()})
		}
		s, err := statics.Prepare(&m)
		var input *statics.InputError
		if err != nil {
			if !errors.As(err, &input) || input.Piece == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		cases := []statics.Case{
			{Gravity: geom.V(0, 0, -9.8), Nodal: []statics.NodalLoad{{Node: index(), F: statics.Vec6{number(), 0, number(), number()}}}},
			{Line: []statics.LineLoad{{Member: rapid.IntRange(-1, 5).Draw(t, "on"), W: place(), From: number(), To: number()}}},
			{Gravity: geom.V(1, 0, -9.8)},
		}
		for _, c := range cases {
			rs, err := s.Solve([]statics.Case{c}, statics.Options{SecondOrder: rapid.Bool().Draw(t, "second"), Buckling: true})
			if err != nil {
				if !errors.As(err, &input) {
					t.Fatal(err)
				}
				continue
			}
			if rs[0].Outcome == statics.Solved && !(rs[0].Residual <= 1e-6) {
				t.Fatalf("residual %v", rs[0].Residual)
			}
			for b := range rs[0].Ends {
				s.Forces(&rs[0], b, 0.3)
				s.Shape(&rs[0], b, 0.3)
			}
		}
	}))
}
