package z88_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/statics/z88"
)

// wood has a shear modulus that no isotropic body has.
func wood() statics.Material { return statics.Material{E: 9e9, G: 9e9 / 16, Rho: 500} }

// flat bends easily one way: 100 mm across by 200 mm deep.
func flat() statics.Section { return statics.Rectangle(0.1, 0.2) }

func fixed(node int) statics.Support {
	return statics.Support{Name: "ground", Node: node, Fixed: [6]bool{true, true, true, true, true, true}}
}

func pinned(node int) statics.Support {
	return statics.Support{Name: "pin", Node: node, Fixed: [6]bool{true, true, true}}
}

func beam(name string, i, j int) statics.Member {
	return statics.Member{Name: name, I: i, J: j, Material: wood(), Section: flat()}
}

func nodes(at ...geom.Vec) []statics.Node {
	out := make([]statics.Node, len(at))
	for i, p := range at {
		out[i] = statics.Node{Name: string(rune('A' + i)), At: p}
	}
	return out
}

func result(t *testing.T, m *statics.Model, c statics.Case) *statics.Result {
	t.Helper()
	s, err := statics.Prepare(m)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.Solve([]statics.Case{c}, statics.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return &r[0]
}

// same holds a result against z88's answer in the state that it ended in.
func same(t *testing.T, m *statics.Model, c statics.Case, tolerance float64) *statics.Result {
	t.Helper()
	r := result(t, m, c)
	a := z88.Solve(t, m, c, r)
	t.Logf("%s: largest difference %.2g", c.Name, z88.Compare(t, m, r, a, tolerance))
	return r
}

// A cantilever with a force and a moment at its tip, in all directions of the axis and of the load. Tip deflection
// F·L³/(3·E·I) and rotation, from any handbook; the signs of z88's files are by the right-hand rule, rotation 5 too.
func TestCantilever(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	m := &statics.Model{
		Nodes: nodes(geom.V(0, 0, 0), geom.V(2, 0, 0)), Members: []statics.Member{beam("arm", 0, 1)}, Supports: []statics.Support{fixed(0)},
	}
	// YRef is global Z: local z is −Y, local y is Z, and the 200 mm stand up.
	a := z88.Solve(t, m, statics.Case{Nodal: []statics.NodalLoad{{Node: 1, F: statics.Vec6{2000, 100, -1000, 50, 0, 0}}}}, nil)
	const iz, iy, e, l = 0.1 * 0.008 / 12, 0.2 * 0.001 / 12, 9e9, 2.0
	want := statics.Vec6{
		2000 * l / (e * 0.02), 100 * l * l * l / (3 * e * iy), -1000 * l * l * l / (3 * e * iz),
		50 * l / (e / 16 * flat().J), 1000 * l * l / (2 * e * iz), 100 * l * l / (2 * e * iy),
	}
	for f, w := range want {
		if got := a.Displacements[1][f]; math.Abs(got-w) > 1e-6*math.Abs(w) {
			t.Errorf("freedom %d: %g, want %g", f, got, w)
		}
	}
	for f, w := range (statics.Vec6{2000, -1000, -100, 50, 0, 0}) { // local: y is Z, z is −Y
		if got := a.Ends[0][1][f]; math.Abs(got-w) > 1e-3 {
			t.Errorf("force %d at the tip: %g, want %g", f, got, w)
		}
	}
}

// Every direction of a member whose section has a level axis, with all six loads at the tip.
func TestDirections(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	for _, d := range []geom.Vec{
		{X: 2}, {Y: 2}, {Z: 2}, {Z: -2}, {X: -1, Y: 1}, {X: 1.2, Z: 1.6}, {Y: -1.2, Z: 1.6}, {X: 1, Y: -2, Z: 0.5}, {X: -1, Z: -1},
	} {
		for _, ref := range []geom.Vec{{}, {Z: 1}, {X: 1}, {Y: 1}} {
			if geom.Norm(geom.Cross(geom.Unit(d), ref)) < 0.1 && ref != (geom.Vec{}) {
				continue
			}
			arm := beam("arm", 0, 1)
			arm.YRef = ref
			x := geom.Unit(d)
			if ref == (geom.Vec{X: 1}) || ref == (geom.Vec{Y: 1}) {
				z := geom.Unit(geom.Cross(x, ref))
				if y := geom.Cross(z, x); math.Abs(y.Z) > 1e-9 && math.Abs(z.Z) > 1e-9 {
					continue // z88 cannot
				}
			}
			m := &statics.Model{
				Nodes:   nodes(geom.V(1, 2, 3), geom.Add(geom.V(1, 2, 3), d)),
				Members: []statics.Member{arm}, Supports: []statics.Support{fixed(0)},
			}
			tip := statics.NodalLoad{Node: 1, F: statics.Vec6{100, 200, -300, 40, 50, -60}}
			same(t, m, statics.Case{Name: fmt.Sprint(d, ref), Nodal: []statics.NodalLoad{tip}}, 1e-5)
		}
	}
}

// The box frame with unequal second moments of area and a push at one corner: the arrangement of the reference's b05c.
func TestBox(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	var at []geom.Vec
	for _, z := range []float64{0, 3} {
		at = append(at, geom.V(0, 0, z), geom.V(4, 0, z), geom.V(4, 2.5, z), geom.V(0, 2.5, z))
	}
	m := &statics.Model{Nodes: nodes(at...)}
	for i := range 4 {
		post := beam("post", i, i+4)
		post.YRef = geom.V(0, 1, 0)
		m.Members = append(m.Members, post, beam("plate", 4+i, 4+(i+1)%4))
		m.Supports = append(m.Supports, fixed(i))
	}
	same(t, m, statics.Case{
		Name: "corner", Gravity: geom.V(0, 0, -statics.StandardGravity),
		Nodal: []statics.NodalLoad{{Node: 6, F: statics.Vec6{1000, -400, 0, 0, 0, 100}}},
	}, 1e-4)
}

// Loads that begin and end within a member or act at a point of it, on members in slanting directions.
func TestLoadsBetweenNodes(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	m := &statics.Model{
		Nodes:    nodes(geom.V(0, 0, 0), geom.V(0, 0, 3), geom.V(3, 0, 5), geom.V(3, 4, 5)),
		Members:  []statics.Member{beam("post", 0, 1), beam("rafter", 1, 2), beam("plate", 2, 3)},
		Supports: []statics.Support{fixed(0), pinned(3)},
	}
	m.Members[0].YRef = geom.V(1, 0, 0)
	same(t, m, statics.Case{
		Name: "between", Gravity: geom.V(0, -3, -9),
		Line: []statics.LineLoad{{Member: 1, W: geom.V(100, 200, -400), From: 0.5, To: 2}, {Member: 2, W: geom.V(50, 0, -100)}},
		Point: []statics.PointLoad{
			{Member: 0, At: 1.2, F: geom.V(500, 100, 0)},
			{Member: 2, At: 2.5, F: geom.V(0, 10, -1000), M: geom.V(0, 30, 200)},
			{Member: 2, F: geom.V(10, 0, 0)},
		},
	}, 1e-4)
}

// Arms: a brace that is held beside the axes of what it braces.
func TestArms(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	m := kneeFrame()
	same(t, m, push(), 0.005)
}

func kneeFrame() *statics.Model {
	m := &statics.Model{
		Nodes: nodes(geom.V(0, 0, 0), geom.V(0, 0, 2), geom.V(0, 0, 3), geom.V(1, 0, 3), geom.V(5, 0, 3), geom.V(5, 0, 0)),
		Members: []statics.Member{
			beam("foot", 0, 1), beam("post", 1, 2), beam("end of the tie", 2, 3), beam("tie", 3, 4), beam("far post", 5, 4), beam("knee", 1, 3),
		},
		Supports: []statics.Support{pinned(0), fixed(5)},
	}
	for _, i := range []int{0, 1, 4} {
		m.Members[i].YRef = geom.V(1, 0, 0)
	}
	m.Members[5].ArmI, m.Members[5].ArmJ = geom.V(0.1, 0.02, 0.05), geom.V(-0.05, 0.02, -0.1)
	return m
}

func push() statics.Case {
	return statics.Case{Name: "push", Gravity: geom.V(0, 0, -10), Nodal: []statics.NodalLoad{{Node: 2, F: statics.Vec6{2000, 300}}}}
}

// Ends that are free or held by springs, one by one and together, with and without arms.
func TestGrips(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	free := statics.Hold{Free: true}
	for name, g := range map[string]statics.Grip{
		"turns about z":  {Hold: [6]statics.Hold{5: free}},
		"turns about y":  {Hold: [6]statics.Hold{4: free}},
		"turns about x":  {Hold: [6]statics.Hold{3: free}},
		"pegged":         {Hold: [6]statics.Hold{0: {K: 6e6}, 1: {K: 2e7}, 2: {K: 1e7}, 3: {K: 3e4}, 4: {K: 2e4}, 5: free}},
		"spring along":   {Hold: [6]statics.Hold{0: {K: 6e6}}},
		"spring across":  {Hold: [6]statics.Hold{1: {K: 1e5}}},
		"spring turning": {Hold: [6]statics.Hold{5: {K: 5e4}}},
		"slides across":  {Hold: [6]statics.Hold{2: free, 5: {K: 1e5}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := kneeFrame()
			m.Members[5].GripI, m.Members[5].GripJ = g, statics.Grip{Hold: [6]statics.Hold{5: free}}
			m.Members[2].GripI = statics.Grip{Hold: [6]statics.Hold{0: {K: 6e6}, 5: {K: 1e4}}}
			same(t, m, push(), 0.01)
		})
	}
}

// Ties and props in their final state, a pull that differs from the push, bars with springs.
func TestOneSided(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	m := kneeFrame()
	bar := func(name string, i, j int, k statics.Kind) statics.Member {
		b := beam(name, i, j)
		b.Kind, b.Section, b.ArmJ = k, statics.Rectangle(0.038, 0.14), geom.V(0.05, 0.1, 0)
		b.GripI.Hold[0], b.GripJ.Hold[0] = statics.Hold{K: 2e6}, statics.Hold{K: 1e6}
		return b
	}
	m.Nodes = append(m.Nodes, nodes(geom.V(-2, 0.3, 0), geom.V(2, -0.4, 0))...)
	m.Supports = append(m.Supports, fixed(6), fixed(7))
	m.Members = append(m.Members, bar("west", 6, 1, statics.Tie), bar("east", 7, 1, statics.Tie), bar("prop", 7, 2, statics.Prop))
	pull := statics.Hold{K: 3e6}
	m.Members[2].GripJ.Pull, m.Members[3].GripI.Pull = &pull, &pull
	c := push()
	c.Nodal[0].F[1] = 10
	r := same(t, m, c, 0.01)
	if !slices.Equal(r.Idle, []bool{8: true}) || r.Pulled[2][1] {
		t.Errorf("pushed: idle %v, pulled %v", r.Idle, r.Pulled)
	}
	c.Nodal[0].F[0] *= -1
	r = same(t, m, c, 0.01)
	if !slices.Equal(r.Idle, []bool{6: true, 8: true}) || !r.Pulled[2][1] || !r.Pulled[3][0] {
		t.Errorf("pulled: idle %v, pulled %v", r.Idle, r.Pulled)
	}
}

// Links, contacts and springs to the ground.
func TestParts(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	c := push()
	c.Nodal = append(c.Nodal, statics.NodalLoad{Node: 2, F: statics.Vec6{2: -6000}}, statics.NodalLoad{Node: 7, F: statics.Vec6{200, 0, -500}})
	for mu, state := range map[float64]statics.State{0.4: statics.Closed, 0.02: statics.Sliding} {
		m := parts(mu)
		r := same(t, m, c, 0.01)
		if !slices.ContainsFunc(r.Bearings, func(b statics.Bearing) bool { return b.State == state }) {
			t.Errorf("friction %v: %+v; some should be in state %d", mu, r.Bearings, state)
		}
		for i := range m.Contacts {
			m.Contacts[i].Held = true
		}
		same(t, m, c, 0.01)
	}
}

func parts(mu float64) *statics.Model {
	m := kneeFrame()
	m.Nodes = append(m.Nodes, nodes(geom.V(5, 0.3, 3), geom.V(5, 3, 3))...)
	m.Members = append(m.Members, beam("plate", 6, 7))
	m.Links = []statics.Link{{
		Name: "lap", I: 4, J: 6, At: geom.V(5.05, 0.15, 3.1),
		Axes: geom.Axes{Axis: geom.V(0, 1, 0), Width: geom.V(1, 0, 0), Depth: geom.V(0, 0, -1)},
		K:    [6]float64{5e6, 4e6, 3e7, 2e4, 1e5, 0},
	}}
	m.Supports = []statics.Support{
		{Name: "far post", Node: 5, Fixed: [6]bool{true, true, true, false, true, true}, Spring: [6]float64{3: 2e5}},
		{Name: "plate's end", Node: 7, Spring: [6]float64{1e5, 1e6, 1e6, 1e4, 1e4, 1e4}},
		{Name: "foot", Node: 0, Fixed: [6]bool{5: true}},
	}
	for k, d := range [][2]float64{{-0.1, -0.1}, {0.1, -0.1}, {0.1, 0.1}, {-0.1, 0.1}} {
		m.Contacts = append(m.Contacts, statics.Contact{
			Name: "corner " + string(rune('1'+k)), Node: 0, Arm: geom.V(d[0], d[1], 0), Normal: geom.V(0, 0, 1), K: 5e7, KT: 2e7, Mu: mu,
		})
	}
	return m
}

// What z88 has no words for is refused.
func TestRefused(t *testing.T) {
	t.Parallel()
	m := &statics.Model{
		Nodes: nodes(geom.V(0, 0, 0), geom.V(2, 0, 0)), Members: []statics.Member{beam("rolled", 0, 1)}, Supports: []statics.Support{fixed(0)},
	}
	m.Members[0].YRef = geom.V(0, 1, 1)
	if err := z88.Write(t.TempDir(), m, statics.Case{}, nil); err == nil {
		t.Error("a section without a level axis was taken")
	}
}
