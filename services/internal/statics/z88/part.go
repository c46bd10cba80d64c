package z88

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// ground is how long, in metres, a member is that stands for a spring to the ground.
const ground = 1.0

// groundSpring holds a node to the ground along and about an axis, and in no other way.
func (b *builder) groundSpring(from int, axis geom.Vec, k, turn float64) {
	to := b.held(geom.Along(b.nodes[from].at, -ground, axis))
	b.beam(beam{i: from, j: to, e: modulus, a: k * ground / modulus, it: turn * ground / (modulus / 2)})
}

func globalAxes() [3]geom.Vec { return [3]geom.Vec{{X: 1}, {Y: 1}, {Z: 1}} }

// supports holds nodes.
func (b *builder) supports() {
	for i := range b.m.Supports {
		s := &b.m.Supports[i]
		n := &b.nodes[s.Node]
		for f, held := range s.Fixed {
			n.fixed[f] = n.fixed[f] || held && !b.letGo(i, f)
		}
		for a, axis := range globalAxes() {
			if s.Spring[a] > 0 {
				b.groundSpring(s.Node, axis, s.Spring[a], 0)
			}
			if s.Spring[a+3] > 0 {
				b.groundSpring(s.Node, axis, 0, s.Spring[a+3])
			}
		}
		if s.Axis != (geom.Vec{}) {
			b.groundSpring(s.Node, geom.Unit(s.Axis), stiff*b.stiffest(), 0)
		}
	}
	for _, p := range b.c.Prescribed {
		b.nodes[p.Node].value[p.Freedom] = p.Value
	}
}

// letGo says whether a one-sided support ended open.
func (b *builder) letGo(i, f int) bool {
	return b.m.Supports[i].OneSided[f] && b.final != nil && len(b.final.Reactions) > i && b.final.Reactions[i][f] == 0
}

// stiffest is the axial stiffness of the stiffest member, those under a metre taken for that long.
func (b *builder) stiffest() float64 {
	most := 0.0
	for i := range b.m.Members {
		p := &b.m.Members[i]
		from, to := b.ends(p)
		most = max(most, p.Material.E*p.Section.A/max(geom.Dist(from, to), 1))
	}
	return most
}

// link adds a link: an arm from node I, a chain of short members for its springs at its point, an arm to node J.
func (b *builder) link(i int) {
	p := &b.m.Links[i]
	k := p.K
	if p.Pull != nil && b.final != nil && len(b.final.Opening) > i && b.final.Opening[i] > 0 {
		k[0] = *p.Pull
	}
	axes := globalAxes()
	if p.Axes.Axis != (geom.Vec{}) {
		axes = [3]geom.Vec{p.Axes.Axis, p.Axes.Width, p.Axes.Depth}
	}
	near := stiffness{max(k[0], k[1], k[2]), max(k[3], k[4], k[5])}
	const lever = 0.05 // metres: what the springs would be in turning, were there a few of them in a joint
	near.turn = max(near.turn, near.along*lever*lever)
	near.along = max(near.along, near.turn/lever/lever)
	var parts []soft
	for a, axis := range axes {
		parts = append(parts, soft{axis, max(k[a], faint*near.along), max(k[a+3], faint*near.turn)})
	}
	b.join(b.chain(p.I, p.At, parts, near), p.J, near)
}

// contact adds a contact: an arm and three springs to the ground. One that is open has none of them, or those across when it is
// held, and one that slides has only that along its normal.
func (b *builder) contact(i int) {
	p := &b.m.Contacts[i]
	state := statics.Closed
	if b.final != nil && len(b.final.Bearings) > i {
		state = b.final.Bearings[i].State
	}
	if state == statics.Open && !p.Held {
		return
	}
	at := b.arm(p.Node, geom.Add(b.nodes[p.Node].at, p.Arm), stiffness{max(p.K, p.KT), 0})
	n := geom.Unit(p.Normal)
	if state != statics.Open {
		b.groundSpring(at, n, p.K, 0)
	}
	if state == statics.Sliding {
		add(&b.nodes[at].load, force(b.final.Bearings[i].Across, geom.Vec{}))
		return
	}
	helper := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.9 {
		helper = geom.Vec{Y: 1}
	}
	t := geom.Unit(geom.Cross(n, helper))
	b.groundSpring(at, t, p.KT, 0)
	b.groundSpring(at, geom.Cross(n, t), p.KT, 0)
}
