package statics_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

var (
	allFixed = [6]bool{true, true, true, true, true, true}
	pinned   = [6]bool{true, true, true}
)

// post is a fixed post of 3 m with a section of 200 × 200 mm.
func post() statics.Model {
	return statics.Model{
		Nodes: []statics.Node{{Name: "foot"}, {Name: "top", At: geom.V(0, 0, 3)}},
		Members: []statics.Member{{
			Name: "post", J: 1, Material: statics.Material{E: 9e9, G: 5.6e8, Rho: 500}, Section: statics.Rectangle(0.2, 0.2),
		}},
		Supports: []statics.Support{{Name: "base", Fixed: allFixed}},
	}
}

func TestBadModels(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		spoil       func(*statics.Model)
		piece, says string
	}{
		"NaN place":       {func(m *statics.Model) { m.Nodes[1].At.Z = math.NaN() }, "top", "not finite"},
		"millimetres":     {func(m *statics.Model) { m.Nodes[1].At.Z = 30000 }, "top", "in metres"},
		"no length":       {func(m *statics.Model) { m.Nodes[1].At.Z = 0 }, "post", "m long"},
		"N/mm²":           {func(m *statics.Model) { m.Members[0].Material.E = 9000 }, "post", "modulus E"},
		"absurd E":        {func(m *statics.Model) { m.Members[0].Material.E = 9e15 }, "post", "modulus E"},
		"no section":      {func(m *statics.Model) { m.Members[0].Section = statics.Section{} }, "post", "section"},
		"no torsion":      {func(m *statics.Model) { m.Members[0].Section.J = 0 }, "post", "second moment"},
		"negative spring": {func(m *statics.Model) { m.Members[0].GripI.Hold[0].K = -1 }, "post", "spring"},
		"NaN spring":      {func(m *statics.Model) { m.Members[0].GripI.Hold[0].K = math.NaN() }, "post", "spring"},
		"free and sprung": {func(m *statics.Model) { m.Members[0].GripI.Hold[0] = statics.Hold{Free: true, K: 1} }, "post", "choose one"},
		"useless link":    {func(m *statics.Model) { m.Links = []statics.Link{{Name: "joint", J: 1}} }, "joint", "no stiffness"},
		"useless support": {func(m *statics.Model) { m.Supports[0].Fixed = [6]bool{} }, "base", "no stiffness"},
		"no stiffness":    {func(m *statics.Model) { m.Contacts = []statics.Contact{{Name: "pad", Normal: geom.V(0, 0, 1)}} }, "pad", "stiffness"},
		"no such node":    {func(m *statics.Model) { m.Members[0].J = 7 }, "post", "node 7"},
		"one node":        {func(m *statics.Model) { m.Members[0].J = 0 }, "post", "both ends"},
		"YRef along":      {func(m *statics.Model) { m.Members[0].YRef = geom.V(0, 0, 1) }, "post", "YRef"},
		"floats": {func(m *statics.Model) {
			m.Nodes = append(m.Nodes, statics.Node{At: geom.V(5, 0, 3)}, statics.Node{At: geom.V(8, 0, 3)}, statics.Node{At: geom.V(9, 0, 3)})
			for i := range 2 {
				b := m.Members[0]
				b.Name, b.I, b.J = []string{"tie", "rafter"}[i], 2+i, 3+i
				m.Members = append(m.Members, b)
			}
		}, "tie", "not connected to the ground: tie and rafter"},
		"lonely node": {func(m *statics.Model) { m.Nodes = append(m.Nodes, statics.Node{Name: "nowhere"}) }, "nowhere", "nothing is joined"},
		"empty":       {func(m *statics.Model) { *m = statics.Model{} }, "model", "no nodes"},
	} {
		m := post()
		test.spoil(&m)
		_, err := statics.Prepare(&m)
		var input *statics.InputError
		if !errors.As(err, &input) || input.Piece != test.piece || !strings.Contains(input.Problem, test.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestBadCases(t *testing.T) {
	t.Parallel()
	m := post()
	s := prepare(t, &m)
	for name, c := range map[string]statics.Case{
		"infinite load":   {Nodal: []statics.NodalLoad{{Node: 1, F: statics.Vec6{math.Inf(1)}}}},
		"NaN gravity":     {Gravity: geom.V(0, 0, math.NaN())},
		"no such node":    {Nodal: []statics.NodalLoad{{Node: 2}}},
		"no such member":  {Line: []statics.LineLoad{{Member: 1}}},
		"beyond the end":  {Point: []statics.PointLoad{{At: 4}}},
		"runs backwards":  {Line: []statics.LineLoad{{From: 2, To: 1}}},
		"held by nothing": {Prescribed: []statics.Prescribed{{Node: 1, Value: 0.01}}},
	} {
		c.Name = name
		_, err := s.Solve([]statics.Case{c}, statics.Options{})
		var input *statics.InputError
		if !errors.As(err, &input) || input.Piece != name {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.Solve(nil, statics.Options{Without: []int{3}}); err == nil {
		t.Error("a member that there is not")
	}
}

// A beam on two supports under an even load and a point load: M = wL²/8 + PL/4, sag 5wL⁴/384EI + PL³/48EI and the shares of
// shear wL²/8GA + PL/4GA (elementary beam theory).
func TestForcesAndShapeOfABeam(t *testing.T) {
	t.Parallel()
	const l, w, p = 4.0, 1000.0, 2000.0
	m := post()
	m.Nodes[1].At = geom.V(l, 0, 0)
	m.Members[0].Section.Asy = m.Members[0].Section.A * 5 / 6
	m.Supports = []statics.Support{{Node: 0, Fixed: [6]bool{true, true, true, true}}, {Node: 1, Fixed: [6]bool{false, true, true}}}
	s := prepare(t, &m)
	r := solve(t, s, statics.Options{}, statics.Case{
		Line: []statics.LineLoad{{W: geom.V(0, 0, -w)}}, Point: []statics.PointLoad{{At: l / 2, F: geom.V(0, 0, -p)}},
	})[0]
	ei, ga := 9e9*m.Members[0].Section.Iz, 5.6e8*m.Members[0].Section.Asy
	f := s.Forces(&r, 0, l/2)
	for name, v := range map[string][2]float64{
		"moment": {f[5], w*l*l/8 + p*l/4},
		"shear":  {f[1], -p / 2},
		"sag":    {-s.Shape(&r, 0, l/2).Z, 5*w*l*l*l*l/(384*ei) + p*l*l*l/(48*ei) + w*l*l/(8*ga) + p*l/(4*ga)},
		"start":  {s.Shape(&r, 0, 0).Z, 0},
		// At a quarter of the length: wx(l³ − 2lx² + x³)/24EI + Px(3l² − 4x²)/48EI, shear wx(l−x)/2GA + Px/2GA.
		"quarter": {-s.Shape(&r, 0, 1).Z, w*(l*l*l-2*l+1)/(24*ei) + p*(3*l*l-4)/(48*ei) + w*(l-1)/(2*ga) + p/(2*ga)},
	} {
		if math.Abs(math.Abs(v[0])-math.Abs(v[1])) > 1e-9*(math.Abs(v[1])+1e-6) {
			t.Errorf("%s %v, want %v", name, v[0], v[1])
		}
	}
}

// A member that is free to twist at both ends: its condensed stiffness would be 0/0.
func TestSpinningMember(t *testing.T) {
	t.Parallel()
	m := post()
	m.Members[0].Name = "brace"
	m.Members[0].GripI.Hold[statics.RX].Free, m.Members[0].GripJ.Hold[statics.RX].Free = true, true
	m.Supports = append(m.Supports, statics.Support{Node: 1, Fixed: allFixed})
	r := solve(t, prepare(t, &m), statics.Options{}, statics.Case{Gravity: geom.V(0, 0, -9.8)})[0]
	if r.Outcome != statics.Moves || len(r.Motions) != 1 || !strings.HasPrefix(r.Motions[0].Words, "brace spins about its own axis") {
		t.Errorf("%v %v", r.Outcome, r.Motions)
	}
}

// A stick that hangs between two posts without pegs pushes on one shoulder and lets go of the other.
func TestUnpeggedEnds(t *testing.T) {
	t.Parallel()
	m := post()
	m.Nodes = append(m.Nodes, statics.Node{Name: "foot 2", At: geom.V(4, 0, 0)}, statics.Node{Name: "top 2", At: geom.V(4, 0, 3)})
	p := m.Members[0]
	p.I, p.J = 2, 3
	tie := m.Members[0]
	tie.Name, tie.I, tie.J = "tie", 1, 3
	tie.GripI.Pull, tie.GripJ.Pull = &statics.Hold{Free: true}, &statics.Hold{Free: true}
	m.Members = append(m.Members, p, tie)
	m.Supports = append(m.Supports, statics.Support{Node: 2, Fixed: allFixed})
	s := prepare(t, &m)
	pull := func(f float64) statics.Case {
		return statics.Case{Nodal: []statics.NodalLoad{{Node: 3, F: statics.Vec6{f}}}}
	}
	rs := solve(t, s, statics.Options{}, pull(1000), pull(-1000))
	for i, want := range []bool{true, false} {
		r := &rs[i]
		if r.Outcome != statics.Solved || (r.Pulled[2][0] || r.Pulled[2][1]) != want || r.Pulled[2][0] && r.Pulled[2][1] {
			t.Errorf("%v: %v %v", i, r.Outcome, r.Pulled[2])
		}
		n := r.Ends[2][1][0]
		open := r.Slip[2][0] + r.Slip[2][1]
		if want && (math.Abs(n) > 1e-6 || math.Abs(open-r.Displacements[3][0]+r.Displacements[1][0]) > 1e-12 || open < 1e-4) {
			t.Errorf("pulled: force %v, opening %v", n, open)
		}
		if !want && (n > -100 || open != 0) {
			t.Errorf("pushed: force %v, opening %v", n, open)
		}
	}
}

// block is a stiff post on the four corners of its foot, 2a square.
func block(mu, a float64) statics.Model {
	m := post()
	m.Supports = nil
	for i, c := range [...][2]float64{{1, 1}, {1, -1}, {-1, -1}, {-1, 1}} {
		m.Contacts = append(m.Contacts, statics.Contact{
			Name: "corner " + string(rune('1'+i)), Arm: geom.V(a*c[0], a*c[1], 0), Normal: geom.V(0, 0, 1), K: 1e8, KT: 5e7, Mu: mu,
		})
	}
	return m
}

// By statics: a block of weight W slides when the push exceeds μW, and goes over when the push H at height h makes H·h more
// than W·a.
func TestBlock(t *testing.T) {
	t.Parallel()
	const a, h = 0.1, 3.0
	w := 0.04 * 3 * 500 * statics.StandardGravity
	push := func(f, at float64) statics.Case {
		return statics.Case{Gravity: geom.V(0, 0, -statics.StandardGravity), Point: []statics.PointLoad{{At: at, F: geom.V(f, 0, 0)}}}
	}
	over, slide := w*a/h, 0.4*w
	m := block(0.4, a)
	s := prepare(t, &m)
	for name, test := range map[string]struct {
		c       statics.Case
		outcome statics.Outcome
		words   string
	}{
		"still":          {push(0, h), statics.Solved, ""},
		"nearly over":    {push(0.97*over, h), statics.Solved, ""},
		"over":           {push(1.03*over, h), statics.Moves, "turns about the line through the feet corner 2 and corner 1"},
		"over backwards": {push(-1.03*over, h), statics.Moves, "turns about the line through the feet corner 3 and corner 4"},
		"nearly slides":  {push(0.97*slide, 0.01), statics.Solved, ""},
		"slides":         {push(1.03*slide, 0.01), statics.Moves, "shifts together along x"},
		"lifted off":     {statics.Case{Nodal: []statics.NodalLoad{{Node: 0, F: statics.Vec6{0, 0, 10}}}}, statics.Moves, "shifts together up or down"},
	} {
		r := solve(t, s, statics.Options{}, test.c)[0]
		if r.Outcome != test.outcome {
			t.Errorf("%s: %v after %d rounds, %v", name, r.Outcome, r.Rounds, r.Motions)
			continue
		}
		if test.words != "" && !strings.Contains(r.Motions[0].Words, test.words) {
			t.Errorf("%s: %s", name, r.Motions[0].Words)
		}
		if r.Outcome != statics.Solved {
			continue
		}
		sum, rub := 0.0, 0.0
		for _, b := range r.Bearings {
			sum += b.Normal
			rub += b.Across.X
			if b.Normal < 0 || geom.Norm(b.Across) > 0.4*b.Normal*(1+1e-4)+1e-3 {
				t.Errorf("%s: %+v", name, b)
			}
		}
		if math.Abs(sum-w) > 1e-6*w || math.Abs(rub+test.c.Point[0].F.X) > 1e-6*w {
			t.Errorf("%s: %v and %v", name, sum, rub)
		}
	}
}

// A link between two nodes at one place joins two posts' halves as a rigid joint of springs does: the softness adds up.
func TestLink(t *testing.T) {
	t.Parallel()
	m := post()
	m.Nodes = append(m.Nodes, statics.Node{Name: "upper", At: geom.V(0, 0, 3)}, statics.Node{Name: "peak", At: geom.V(0, 0, 4)})
	upper := m.Members[0]
	upper.I, upper.J = 2, 3
	m.Members = append(m.Members, upper)
	pull := 1e6
	m.Links = []statics.Link{{Name: "scarf", I: 1, J: 2, At: geom.V(0, 0, 3), Axes: geom.AxesOf(geom.Vec{}, geom.V(0, 0, 1), 0), K: [6]float64{1e8, 1e7, 1e7, 1e6, 1e6, 1e6}, Pull: &pull}}
	s := prepare(t, &m)
	up := statics.Case{Nodal: []statics.NodalLoad{{Node: 3, F: statics.Vec6{0, 0, 1000}}}}
	side := statics.Case{Nodal: []statics.NodalLoad{{Node: 3, F: statics.Vec6{100}}, {Node: 3, F: statics.Vec6{0, 0, -5000}}}}
	rs := solve(t, s, statics.Options{}, up, side)
	if math.Abs(rs[0].Opening[0]-1000/pull) > 1e-12 || math.Abs(rs[0].Links[0][0]+1000) > 1e-6 {
		t.Errorf("pulled: opening %v, force %v", rs[0].Opening[0], rs[0].Links[0])
	}
	if math.Abs(rs[1].Opening[0]+5000/1e8) > 1e-12 || math.Abs(rs[1].Links[0][1])+math.Abs(rs[1].Links[0][2]) < 99 {
		t.Errorf("pressed: opening %v, force %v", rs[1].Opening[0], rs[1].Links[0])
	}
	// Cantilever of 4 m with a spring against turning at 3 m and one across: PL³/3EI + P/k + P·1·1/k.
	ei := 9e9 * m.Members[0].Section.Iz
	if want := 100*64/(3*ei) + 100/1e7 + 100/1e6; math.Abs(rs[1].Displacements[3][0]-want) > 1e-9*want {
		t.Errorf("sway %v, want %v", rs[1].Displacements[3][0], want)
	}
}

// Arms: a bar that pulls beside the axis of a post bends it by the eccentricity.
func TestArms(t *testing.T) {
	t.Parallel()
	m := post()
	m.Nodes = append(m.Nodes, statics.Node{Name: "anchor", At: geom.V(0.1, 0, 6)})
	rope := m.Members[0]
	rope.Name, rope.Kind, rope.I, rope.J, rope.ArmI = "rope", statics.Tie, 1, 2, geom.V(0.1, 0, 0)
	rope.Material.Rho = 0
	m.Members = append(m.Members, rope)
	m.Supports = append(m.Supports, statics.Support{Node: 2, Fixed: pinned})
	s := prepare(t, &m)
	r := solve(t, s, statics.Options{}, statics.Case{Prescribed: []statics.Prescribed{{Node: 2, Freedom: statics.UZ, Value: 1e-3}}})[0]
	n := s.Forces(&r, 1, 0)[0]
	ea, ei := 9e9*0.04, 9e9*m.Members[0].Section.Iz
	// The stretch of both, and the eccentric moment N·e turning the top by N·e·h/EI, which gives way by e times that.
	want := 1e-3 / (3/ea + 3/ea + 0.1*0.1*3/ei)
	if math.Abs(n-want) > 1e-9*want || math.Abs(math.Abs(r.Ends[0][1][5])-0.1*n) > 1e-6*n {
		t.Errorf("force %v, want %v; moment %v", n, want, r.Ends[0][1][5])
	}
}

// Starting from another result, or with axial forces given, leads to the same answer.
func TestStartAndAxial(t *testing.T) {
	t.Parallel()
	m, cases := bents(60, true)
	s := prepare(t, &m)
	cold := solve(t, s, statics.Options{SecondOrder: true}, cases...)
	var start []*statics.Result
	for i := range cold {
		start = append(start, &cold[i])
	}
	warm := solve(t, s, statics.Options{SecondOrder: true, Start: start}, cases...)
	near := solve(t, s, statics.Options{Axial: s.Axial(&cold[0])}, cases[:1]...)
	for i := range cold {
		if cold[i].Outcome != statics.Solved || warm[i].Outcome != statics.Solved || warm[i].Rounds > cold[i].Rounds {
			t.Fatalf("%v, %v after %d and %d rounds", cold[i].Outcome, warm[i].Outcome, cold[i].Rounds, warm[i].Rounds)
		}
		for n := range cold[i].Displacements {
			for f := range 6 {
				if d := cold[i].Displacements[n][f]; math.Abs(d-warm[i].Displacements[n][f]) > 1e-5*1e-2 {
					t.Fatalf("case %d node %d: %v, from a start %v", i, n, d, warm[i].Displacements[n][f])
				}
			}
		}
	}
	for n := range near[0].Displacements {
		for f := range 6 {
			if d := cold[0].Displacements[n][f]; math.Abs(d-near[0].Displacements[n][f]) > 1e-7 {
				t.Fatalf("node %d: %v, with its axial forces given %v", n, d, near[0].Displacements[n][f])
			}
		}
	}
}

// Left out, a brace with a node of its own leaves nothing behind; a stick that only it held falls.
func TestKnockedOut(t *testing.T) {
	t.Parallel()
	m := post()
	m.Nodes = append(m.Nodes, statics.Node{Name: "eye", At: geom.V(2, 0, 3)})
	arm := m.Members[0]
	arm.Name, arm.I, arm.J = "arm", 1, 2
	m.Members = append(m.Members, arm)
	m.Members[0].GripJ.Hold[statics.RZ].Free = true
	s := prepare(t, &m)
	load := statics.Case{Gravity: geom.V(0, 0, -9.80665)}
	if r := solve(t, s, statics.Options{Without: []int{1}}, load)[0]; r.Outcome != statics.Solved {
		t.Errorf("without the arm: %v %v", r.Outcome, r.Motions)
	}
	r := solve(t, s, statics.Options{Without: []int{0}}, load)[0]
	if r.Outcome != statics.Moves || len(r.Motions) != 6 || !strings.Contains(r.Motions[0].Words, "shift") {
		t.Errorf("without the post: %v %v", r.Outcome, r.Motions)
	}
}
