package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// plumbSine is the sine of the slope from vertical below which a member without YRef takes global X for it.
const plumbSine = 1e-3

// element is a member made ready: its axes, its stiffness before its ends are let go, and the springs at its ends.
type element struct {
	i, j int32
	bar  bool
	arms bool
	// gripped says that an end is not rigid in some freedom other than along the member.
	gripped bool
	l       float64
	// r has the local axes as rows.
	r      [3]geom.Vec
	ai, aj geom.Vec
	// ka and kt are E·A/l and G·J/l; eiz, eiy the bending stiffnesses; py, pz the shear ratios 12·E·I/(G·As·l²).
	ka, kt, eiz, eiy, py, pz float64
	// line is the mass per metre.
	line float64
	// flex are the flexibilities 1/k of the springs at the ends I and J: 0 rigid, +Inf free.
	flex [2]Vec6
	// pull are those along the member while an end is in tension; NaN where Hold serves both.
	pull [2]float64
	// idle and pulls are the one-sided parts of the member, -1 for none.
	idle  int32
	pulls [2]int32
}

// plane is bending in one local plane: stiffness over deflection and slope at I, then at J, condensed to the arms' ends,
// and t, which takes loads on the member's ends to loads on the arms' ends; its transpose takes displacements back.
type plane struct {
	k, t [4][4]float64
}

// stiff is the condensed stiffness of a member in one state.
type stiff struct {
	// ka and kt are along and about the member.
	ka, kt float64
	// ta and tt take loads along and about the member from its ends to the arms' ends.
	ta, tt [2][2]float64
	y, z   plane
	// free says that the member moves though its nodes are held, and how; buckles that it gives way between them.
	free    looseness
	buckles bool
}

// looseness is how a member moves between nodes that are held.
type looseness uint8

const (
	held looseness = iota
	spins
	slides
	swings
)

func newElement(m *Member, nodes []Node) element {
	a := geom.Add(nodes[m.I].At, m.ArmI)
	b := geom.Add(nodes[m.J].At, m.ArmJ)
	l := geom.Dist(a, b)
	e := element{
		i: int32(m.I), j: int32(m.J), bar: m.Kind != Beam, l: l, ai: m.ArmI, aj: m.ArmJ,
		arms: m.ArmI != geom.Vec{} || m.ArmJ != geom.Vec{}, r: localAxes(geom.Sub(b, a), m.YRef),
		ka: m.Material.E * m.Section.A / l, line: m.Material.Rho * m.Section.A,
		idle: -1, pulls: [2]int32{-1, -1},
	}
	for end, g := range []*Grip{&m.GripI, &m.GripJ} {
		for f, h := range g.Hold {
			e.flex[end][f] = h.flexibility()
			e.gripped = e.gripped || f != int(UX) && e.flex[end][f] != 0
		}
		e.pull[end] = math.NaN()
		if g.Pull != nil {
			e.pull[end] = g.Pull.flexibility()
		}
	}
	if e.bar {
		e.gripped = false
		return e
	}
	e.kt = m.Material.G * m.Section.J / l
	e.eiz, e.eiy = m.Material.E*m.Section.Iz, m.Material.E*m.Section.Iy
	if m.Section.Asy > 0 {
		e.py = 12 * e.eiz / (m.Material.G * m.Section.Asy * l * l)
	}
	if m.Section.Asz > 0 {
		e.pz = 12 * e.eiy / (m.Material.G * m.Section.Asz * l * l)
	}
	return e
}

func (h Hold) flexibility() float64 {
	switch {
	case h.Free:
		return math.Inf(1)
	case h.K == 0:
		return 0
	}
	return 1 / h.K
}

// localAxes are x along d, z = x × yref, y = z × x.
func localAxes(d, yref geom.Vec) [3]geom.Vec {
	x := geom.Unit(d)
	if yref == (geom.Vec{}) {
		yref = geom.Up()
		if math.Hypot(x.X, x.Y) < plumbSine {
			yref = geom.V(1, 0, 0)
		}
	}
	z := geom.Unit(geom.Cross(x, yref))
	return [3]geom.Vec{x, geom.Cross(z, x), z}
}

// local gives v in the member's axes, global takes it back.
func (e *element) local(v geom.Vec) (x, y, z float64) {
	return geom.Dot(e.r[0], v), geom.Dot(e.r[1], v), geom.Dot(e.r[2], v)
}

func (e *element) global(x, y, z float64) geom.Vec {
	a, b, c := e.r[0], e.r[1], e.r[2]
	return geom.Vec{
		X: a.X*x + b.X*y + c.X*z,
		Y: a.Y*x + b.Y*y + c.Y*z,
		Z: a.Z*x + b.Z*y + c.Z*z,
	}
}

// along sets what the member carries along itself with its ends held as hold says.
func (s *stiff) along(e *element, hold axialHold) {
	var ok bool
	s.ka, s.ta, ok = series(e.ka, hold.flex[0], hold.flex[1])
	if hold.idle {
		s.ka = 0
	}
	if !ok {
		s.free = slides
	}
}

// condensed gives the member's stiffness with its ends held as hold says, an axial force n (tension positive) acting on
// its bending by the consistent geometric stiffness.
func (e *element) condensed(hold axialHold, n float64, s *stiff) {
	*s = stiff{}
	s.along(e, hold)
	if e.bar {
		s.y.bar(n / e.l)
		s.z.bar(n / e.l)
		return
	}
	var ok bool
	s.kt, s.tt, ok = series(e.kt, e.flex[0][RX], e.flex[1][RX])
	if !ok && s.free == held {
		s.free = spins
	}
	s.y.beam(e.eiz, e.l, e.py, n)
	s.z.beam(e.eiy, e.l, e.pz, n)
	if !e.gripped {
		return
	}
	planes := [...]*plane{&s.y, &s.z}
	for p, flex := range [...][4]float64{
		{e.flex[0][UY], e.flex[0][RZ], e.flex[1][UY], e.flex[1][RZ]},
		{e.flex[0][UZ], e.flex[0][RY], e.flex[1][UZ], e.flex[1][RY]},
	} {
		switch planes[p].release(flex) {
		case isFree:
			if s.free == held {
				s.free = swings
			}
		case isNegative:
			s.buckles = true
		}
	}
}

// axialHold is how a member is held along itself in one state.
type axialHold struct {
	flex [2]float64
	idle bool
}

// series is a spring k0 with flexible ends: its stiffness, and how loads on its two ends reach the outer ends. It is not
// ok when both ends are free.
func series(k0, ci, cj float64) (k float64, t [2][2]float64, ok bool) {
	if ci == 0 && cj == 0 {
		return k0, [2][2]float64{{1, 0}, {0, 1}}, true
	}
	fi, fj := math.IsInf(ci, 1), math.IsInf(cj, 1)
	switch {
	case fi && fj:
		return 0, t, false
	case fi:
		return 0, [2][2]float64{{0, 0}, {1, 1}}, true
	case fj:
		return 0, [2][2]float64{{1, 1}, {0, 0}}, true
	}
	c0 := 1 / k0
	k = 1 / (ci + c0 + cj)
	return k, [2][2]float64{{(c0 + cj) * k, cj * k}, {ci * k, (ci + c0) * k}}, true
}

// bar is a pin-ended member: the axial force over the length turns it about its ends, exactly.
func (p *plane) bar(nl float64) {
	p.k[0][0], p.k[0][2], p.k[2][0], p.k[2][2] = nl, -nl, -nl, nl
	p.t[0][0], p.t[2][2] = 1, 1
}

// beam is the cubic beam with shear ratio phi (Przemieniecki, Theory of Matrix Structural Analysis, 5.6 and 15.2): bending,
// and n times the consistent geometric stiffness.
func (p *plane) beam(ei, l, phi, n float64) {
	p.t = [4][4]float64{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}}
	f := ei / (l * l * l * (1 + phi))
	a, b, c, d := 12*f, 6*l*f, (4+phi)*l*l*f, (2-phi)*l*l*f
	if n != 0 {
		g := n / (l * (1 + phi) * (1 + phi))
		a += g * (1.2 + phi*(2+phi))
		b += g * l / 10
		c += g * l * l * (2.0/15 + phi/6 + phi*phi/12)
		d -= g * l * l * (1.0/30 + phi/6 + phi*phi/12)
	}
	p.k = [4][4]float64{{a, b, -a, b}, {b, c, -b, d}, {-a, -b, a, -b}, {b, d, -b, c}}
}

// geometric is the consistent geometric stiffness alone, for a unit axial force.
func geometric(l, phi float64) (k [4][4]float64) {
	g := 1 / (l * (1 + phi) * (1 + phi))
	a, b := g*(1.2+phi*(2+phi)), g*l/10
	c, d := g*l*l*(2.0/15+phi/6+phi*phi/12), -g*l*l*(1.0/30+phi/6+phi*phi/12)
	return [4][4]float64{{a, b, -a, b}, {b, c, -b, d}, {-a, -b, a, -b}, {b, d, -b, c}}
}

type pivot uint8

const (
	isPositive pivot = iota
	isFree
	isNegative
)

// looseRatio is the ratio of what is left of a stiffness to what it was, below which an end is not held at all.
const looseRatio = 1e-10

// release condenses the ends that are not rigid, one after the other: with an end d on a spring s, and c = 1/(k_dd + s),
// k_ab − k_ad·c·k_db for the others, s·c·k_ad with the outer end, s·c·k_dd for it. Where k_dd + s is nothing, the end is
// not held by anything, and the quotient would be 0/0.
func (p *plane) release(flex [4]float64) pivot {
	var first [4]float64
	for d := range 4 {
		first[d] = p.k[d][d]
	}
	found := isPositive
	for d := range 4 {
		if flex[d] == 0 {
			continue
		}
		s := 1 / flex[d] // 0 when free
		kd := p.k[d]
		sum := kd[d] + s
		if math.Abs(sum) <= looseRatio*math.Abs(first[d]) {
			for a := range 4 {
				p.k[a][d], p.k[d][a], p.t[d][a] = 0, 0, 0
			}
			found = max(found, isFree)
			continue
		}
		if sum < 0 {
			found = isNegative
		}
		c := 1 / sum
		td := p.t[d]
		for a := range 4 {
			if a == d {
				continue
			}
			q := kd[a] * c
			for b := range 4 {
				if b != d {
					p.k[a][b] -= q * kd[b]
				}
				p.t[a][b] -= q * td[b]
			}
			p.k[a][d], p.k[d][a] = s*q, s*q
		}
		p.k[d][d] = s * c * kd[d]
		for b := range 4 {
			p.t[d][b] = s * c * td[b]
		}
	}
	return found
}
