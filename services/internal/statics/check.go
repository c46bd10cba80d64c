package statics

import (
	"fmt"
	"math"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// What is taken for a slip of the pen: no timber, steel or rope lies outside.
const (
	leastModulus, mostModulus = 1e6, 1e13 // Pa
	mostDensity               = 30e3      // kg/m³
	mostReach                 = 10e3      // m, of coordinates and lengths
	leastLength               = 1e-3      // m, of a member
	mostArea                  = 1e4       // m²
	mostSpring                = 1e15      // N/m, N·m/rad
	leastSpring               = 1e-3      // N/m, N·m/rad
	mostLoad                  = 1e12      // N, N·m, N/m
	mostAcceleration          = 1e3       // m/s²
	mostFriction              = 10        // coefficient
	unitError                 = 1e-6      // of a unit vector's length
	mostNamed                 = 8         // names in a message
	mostShift                 = 10.0      // m or rad, prescribed
	sameNodeProblem           = "both ends are at one node; give it two"
	finiteProblem             = "has a number that is not finite; correct it"
)

func wrong(piece, format string, args ...any) error {
	return &InputError{Piece: piece, Problem: fmt.Sprintf(format, args...)}
}

// called is a piece's name, or its kind and index.
func called(name, kind string, i int) string {
	if name != "" {
		return name
	}
	return fmt.Sprintf("%s %d", kind, i)
}

func (m *Model) nodeName(i int) string { return called(m.Nodes[i].Name, "node", i) }

func (m *Model) memberName(i int) string { return called(m.Members[i].Name, "member", i) }

// Check finds what makes no sense in a model. Its error is an *InputError that names the piece.
func (m *Model) Check() error {
	if len(m.Nodes) == 0 {
		return wrong("model", "it has no nodes; give it at least one member between two nodes")
	}
	for i, n := range m.Nodes {
		if !geom.Finite(n.At) {
			return wrong(m.nodeName(i), finiteProblem)
		}
		if max(math.Abs(n.At.X), math.Abs(n.At.Y), math.Abs(n.At.Z)) > mostReach {
			return wrong(m.nodeName(i), "lies more than %.0f m from the origin; places are in metres", mostReach)
		}
	}
	for i := range m.Members {
		if err := m.checkMember(i); err != nil {
			return err
		}
	}
	for i := range m.Links {
		if err := m.checkLink(i); err != nil {
			return err
		}
	}
	for i := range m.Supports {
		if err := m.checkSupport(i); err != nil {
			return err
		}
	}
	for i := range m.Contacts {
		if err := m.checkContact(i); err != nil {
			return err
		}
	}
	return m.checkConnected()
}

func (m *Model) isNode(i int) bool { return i >= 0 && i < len(m.Nodes) }

func (m *Model) checkMember(i int) error {
	b, name := &m.Members[i], m.memberName(i)
	if !m.isNode(b.I) || !m.isNode(b.J) {
		return wrong(name, "runs from node %d to node %d, but there are %d nodes", b.I, b.J, len(m.Nodes))
	}
	if b.I == b.J {
		return wrong(name, sameNodeProblem)
	}
	if b.Kind < Beam || b.Kind > Prop {
		return wrong(name, "has an unknown kind %d", b.Kind)
	}
	if !geom.Finite(b.ArmI) || !geom.Finite(b.ArmJ) || !geom.Finite(b.YRef) {
		return wrong(name, finiteProblem)
	}
	if err := m.checkStuff(b, name); err != nil {
		return err
	}
	along := geom.Sub(geom.Add(m.Nodes[b.J].At, b.ArmJ), geom.Add(m.Nodes[b.I].At, b.ArmI))
	l := geom.Norm(along)
	if l < leastLength {
		return wrong(name, "is %.3g m long; move its ends apart or leave it out", l)
	}
	if l > mostReach {
		return wrong(name, "is %.0f m long; lengths are in metres", l)
	}
	if b.YRef != (geom.Vec{}) && geom.Norm(geom.Cross(geom.Unit(along), geom.Unit(b.YRef))) < 1e-6 {
		return wrong(name, "has its YRef along itself; give one across it, or none")
	}
	for end, g := range []*Grip{&b.GripI, &b.GripJ} {
		for f, h := range g.Hold {
			if err := checkHold(h, name, "IJ"[end], f); err != nil {
				return err
			}
		}
		if g.Pull != nil {
			if err := checkHold(*g.Pull, name, "IJ"[end], 0); err != nil {
				return err
			}
		}
	}
	if b.Kind != Beam && (b.GripI.Hold[UX].Free || b.GripJ.Hold[UX].Free) {
		return wrong(name, "is a bar that is let go along itself and so carries nothing; leave it out")
	}
	return nil
}

// checkStuff checks a member's material and section.
func (m *Model) checkStuff(b *Member, name string) error {
	mat, sec := b.Material, b.Section
	for _, v := range [...]float64{mat.E, mat.G, mat.Rho, sec.A, sec.Iy, sec.Iz, sec.J, sec.Asy, sec.Asz} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return wrong(name, finiteProblem)
		}
		if v < 0 {
			return wrong(name, "has a negative stiffness, size or density; correct it")
		}
	}
	if mat.E < leastModulus || mat.E > mostModulus {
		return wrong(name, "has a modulus E of %.3g Pa; it should lie between %.0e and %.0e Pa", mat.E, leastModulus, mostModulus)
	}
	if sec.A <= 0 || sec.A > mostArea {
		return wrong(name, "has a section of %.3g m²; areas are in square metres, above 0 and at most %.0f", sec.A, float64(mostArea))
	}
	if mat.Rho > mostDensity {
		return wrong(name, "has a density of %.3g kg/m³; at most %.0e", mat.Rho, mostDensity)
	}
	if b.Kind != Beam {
		return nil
	}
	if mat.G < leastModulus/100 || mat.G > mostModulus {
		return wrong(name, "has a shear modulus G of %.3g Pa; it should lie between %.0e and %.0e Pa", mat.G, leastModulus/100, mostModulus)
	}
	for _, v := range [...]float64{sec.Iy, sec.Iz, sec.J} {
		if v <= 0 || v > mostArea*mostArea {
			return wrong(name, "has a second moment of area of %.3g m⁴; they are in metres to the fourth, above 0", v)
		}
	}
	return nil
}

func checkHold(h Hold, name string, end byte, f int) error {
	what := [...]string{"along x", "along y", "along z", "about x", "about y", "about z"}[f]
	if math.IsNaN(h.K) || math.IsInf(h.K, 0) {
		return wrong(name, "end %c %s: the spring is not a finite number; 0 is rigid", end, what)
	}
	if h.Free && h.K != 0 {
		return wrong(name, "end %c %s: it is free and has a spring; choose one", end, what)
	}
	if h.K != 0 && (h.K < leastSpring || h.K > mostSpring) {
		return wrong(name, "end %c %s: a spring of %.3g; it should lie between %.0e and %.0e N/m or N·m/rad, or be free", end, what, h.K, leastSpring, mostSpring)
	}
	return nil
}

func (m *Model) checkLink(i int) error {
	l, name := &m.Links[i], called(m.Links[i].Name, "link", i)
	if !m.isNode(l.I) || !m.isNode(l.J) {
		return wrong(name, "joins node %d to node %d, but there are %d nodes", l.I, l.J, len(m.Nodes))
	}
	if l.I == l.J {
		return wrong(name, sameNodeProblem)
	}
	if !geom.Finite(l.At) || geom.Norm(l.At) > 2*mostReach {
		return wrong(name, finiteProblem)
	}
	if l.Axes != (geom.Axes{}) {
		x := l.Axes
		for _, v := range [...]geom.Vec{x.Axis, x.Width, x.Depth} {
			if !(math.Abs(geom.Norm(v)-1) <= unitError) {
				return wrong(name, "its axes are not unit directions")
			}
		}
		if math.Abs(geom.Dot(x.Axis, x.Width))+math.Abs(geom.Dot(x.Axis, x.Depth))+math.Abs(geom.Dot(x.Width, x.Depth)) > 3*unitError {
			return wrong(name, "its axes are not square to one another")
		}
	}
	sum := 0.0
	all := append(l.K[:len(l.K):len(l.K)], 0)
	if l.Pull != nil {
		all[len(l.K)] = *l.Pull
	}
	for _, k := range all {
		if err := checkSpring(k, name); err != nil {
			return err
		}
		sum += k
	}
	if sum == 0 {
		return wrong(name, "all its springs have no stiffness; give it some or leave it out")
	}
	return nil
}

// checkSpring refuses a spring that is negative, not finite, or too small or large to be meant; 0 is none.
func checkSpring(k float64, name string) error {
	if math.IsNaN(k) || math.IsInf(k, 0) || k < 0 || k > mostSpring || k > 0 && k < leastSpring {
		return wrong(name, "has a spring of %.3g; it should be 0, or lie between %.0e and %.0e N/m or N·m/rad", k, leastSpring, mostSpring)
	}
	return nil
}

func (m *Model) checkSupport(i int) error {
	p, name := &m.Supports[i], called(m.Supports[i].Name, "support", i)
	if !m.isNode(p.Node) {
		return wrong(name, "is at node %d, but there are %d nodes", p.Node, len(m.Nodes))
	}
	if !geom.Finite(p.Axis) {
		return wrong(name, finiteProblem)
	}
	holds := p.Axis != geom.Vec{}
	if holds && math.Abs(geom.Norm(p.Axis)-1) > unitError {
		return wrong(name, "its axis is %.3g long; give a unit direction", geom.Norm(p.Axis))
	}
	for f := range p.Fixed {
		if err := checkSpring(p.Spring[f], name); err != nil {
			return err
		}
		holds = holds || p.Fixed[f] || p.Spring[f] > 0
		if p.OneSided[f] && !p.Fixed[f] {
			return wrong(name, "a freedom is one-sided but not held; hold it, or make it two-sided")
		}
		if p.OneSided[f] && m.inclinedAt(p.Node) {
			return wrong(name, "a node with an inclined support cannot have a one-sided one; use a contact")
		}
	}
	if !holds {
		return wrong(name, "it holds nothing and its springs have no stiffness; give it some or leave it out")
	}
	return nil
}

func (m *Model) inclinedAt(node int) bool {
	for i := range m.Supports {
		if m.Supports[i].Node == node && m.Supports[i].Axis != (geom.Vec{}) {
			return true
		}
	}
	return false
}

func (m *Model) checkContact(i int) error {
	c, name := &m.Contacts[i], called(m.Contacts[i].Name, "contact", i)
	if !m.isNode(c.Node) {
		return wrong(name, "is at node %d, but there are %d nodes", c.Node, len(m.Nodes))
	}
	if !geom.Finite(c.Arm) || !geom.Finite(c.Normal) || geom.Norm(c.Arm) > mostReach {
		return wrong(name, finiteProblem)
	}
	if math.Abs(geom.Norm(c.Normal)-1) > unitError {
		return wrong(name, "its normal is %.3g long; give a unit direction", geom.Norm(c.Normal))
	}
	for _, k := range [...]float64{c.K, c.KT} {
		if !(k >= leastSpring && k <= mostSpring) {
			return wrong(name, "has a stiffness of %.3g N/m; it should lie between %.0e and %.0e", k, leastSpring, mostSpring)
		}
	}
	if !(c.Mu >= 0 && c.Mu <= mostFriction) {
		return wrong(name, "has a coefficient of friction of %.3g; it should lie between 0 and %d", c.Mu, mostFriction)
	}
	return nil
}

// checkConnected refuses parts that nothing joins to the ground.
func (m *Model) checkConnected() error {
	root := make([]int, len(m.Nodes))
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	used := make([]bool, len(m.Nodes))
	join := func(i, j int) {
		used[i], used[j] = true, true
		root[find(i)] = find(j)
	}
	for i := range m.Members {
		join(m.Members[i].I, m.Members[i].J)
	}
	for i := range m.Links {
		join(m.Links[i].I, m.Links[i].J)
	}
	ground := make([]bool, len(m.Nodes))
	for i := range m.Supports {
		ground[find(m.Supports[i].Node)] = true
		used[m.Supports[i].Node] = true
	}
	for i := range m.Contacts {
		ground[find(m.Contacts[i].Node)] = true
		used[m.Contacts[i].Node] = true
	}
	for i := range m.Nodes {
		if !used[i] {
			return wrong(m.nodeName(i), "nothing is joined to it; join a member or leave it out")
		}
	}
	for i := range m.Members {
		r := find(m.Members[i].I)
		if ground[r] {
			continue
		}
		var names []string
		for j := range m.Members {
			if find(m.Members[j].I) == r {
				names = append(names, m.memberName(j))
			}
		}
		return wrong(m.memberName(i), "not connected to the ground: %s; join or support it, or leave it out", listed(names))
	}
	for i := range m.Links {
		if r := find(m.Links[i].I); !ground[r] {
			return wrong(called(m.Links[i].Name, "link", i), "not connected to the ground; join or support it, or leave it out")
		}
	}
	return nil
}

// listed names some things, and how many more there are.
func listed(names []string) string {
	if len(names) > mostNamed {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:mostNamed], ", "), len(names)-mostNamed)
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}
