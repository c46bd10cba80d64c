package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// gauge measures one displacement that the law of a one-sided part goes by: its reading is vi·u at node i plus vj·u at node j, and
// a force along it acts on the nodes by the same vectors. j is −1 when it measures one node alone.
type gauge struct {
	i, j   int32
	vi, vj Vec6
}

func (g *gauge) read(u []float64) float64 {
	p := (*[6]float64)(u[6*g.i:])
	v := &g.vi
	sum := v[0]*p[0] + v[1]*p[1] + v[2]*p[2] + v[3]*p[3] + v[4]*p[4] + v[5]*p[5]
	if g.j >= 0 {
		p, v = (*[6]float64)(u[6*g.j:]), &g.vj
		sum += v[0]*p[0] + v[1]*p[1] + v[2]*p[2] + v[3]*p[3] + v[4]*p[4] + v[5]*p[5]
	}
	return sum
}

// push adds a force of size f along the gauge.
func (g *gauge) push(f float64, to []float64) {
	for k, v := range g.vi {
		to[6*int(g.i)+k] += f * v
	}
	if g.j >= 0 {
		for k, v := range g.vj {
			to[6*int(g.j)+k] += f * v
		}
	}
}

// apart measures how far the end of an arm at j has moved from that of one at i, along a direction.
func apart(i, j int32, ai, aj, along geom.Vec) gauge {
	g := at(j, aj, along)
	g.j, g.vj = g.i, g.vi
	o := at(i, ai, geom.Scale(-1, along))
	g.i, g.vi = o.i, o.vi
	return g
}

// at measures the displacement of the end of an arm at a node along a direction.
func at(node int32, arm, along geom.Vec) gauge {
	t := geom.Cross(arm, along)
	return gauge{i: node, j: -1, vi: Vec6{along.X, along.Y, along.Z, t.X, t.Y, t.Z}}
}

// findGauges puts gauges at the one-sided parts: the stretches of members, the openings of links, the lifts of supports, and the
// displacements of contacts along the global axes.
func (s *Solver) findGauges() {
	for _, m := range s.oneSided {
		e := &s.elements[m]
		s.gauges = append(s.gauges, apart(e.i, e.j, e.ai, e.aj, e.r[0]))
	}
	s.linkGauges = make([]int32, len(s.links))
	for i, p := range s.linkParts {
		s.linkGauges[i] = -1
		if p >= 0 {
			l := &s.links[i]
			s.linkGauges[i] = int32(len(s.gauges))
			s.gauges = append(s.gauges, apart(l.i, l.j, l.ai, l.aj, l.axes[0]))
		}
	}
	s.supportGauge = len(s.gauges)
	for _, q := range s.oneSidedSupports {
		g := gauge{i: int32(q.freedom / 6), j: -1}
		g.vi[q.freedom%6] = 1
		s.gauges = append(s.gauges, g)
	}
	s.contactGauge = len(s.gauges)
	for i := range s.m.Contacts {
		c := &s.m.Contacts[i]
		for _, axis := range [...]geom.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			s.gauges = append(s.gauges, at(int32(c.Node), c.Arm, axis))
		}
	}
	s.findFeet()
	n := len(s.gauges)
	memory := make([]float64, 4*n)
	for i := range s.readings {
		s.readings[i] = memory[i*n : (i+1)*n : (i+1)*n]
	}
	s.laws, s.baseLaws = s.newModelled(), s.newModelled()
}

// foot are the contacts at one node. All that they do goes by the displacement of their middle and the turns of the node, six
// gauges along and about two directions across the first normal and this: across, across, about; along, about, about.
type foot struct {
	contacts []int32
	middle   geom.Vec
	axes     [3]geom.Vec
}

// findFeet gathers the contacts at each node, puts gauges at their middles, and notes the displacements of the contacts by unit
// displacements of the gauges.
func (s *Solver) findFeet() {
	s.footGauge = len(s.gauges)
	s.spans = make([][6]geom.Vec, len(s.m.Contacts))
	of := make([]int32, len(s.m.Nodes))
	for i := range s.m.Contacts {
		node := s.m.Contacts[i].Node
		if of[node] == 0 {
			n := s.normals[i]
			side := geom.Unit(geom.Cross(n, geom.V(1, 0, 0)))
			if math.Abs(n.X) > 0.9 {
				side = geom.Unit(geom.Cross(n, geom.V(0, 1, 0)))
			}
			s.feet = append(s.feet, foot{axes: [3]geom.Vec{side, geom.Cross(n, side), n}})
			of[node] = int32(len(s.feet))
		}
		f := &s.feet[of[node]-1]
		f.contacts = append(f.contacts, int32(i))
	}
	for i := range s.feet {
		f := &s.feet[i]
		for _, c := range f.contacts {
			f.middle = geom.Add(f.middle, geom.Scale(1/float64(len(f.contacts)), s.m.Contacts[c].Arm))
		}
		node, a := int32(s.m.Contacts[f.contacts[0]].Node), &f.axes
		about := func(v geom.Vec) gauge { return gauge{i: node, j: -1, vi: Vec6{3: v.X, 4: v.Y, 5: v.Z}} }
		s.gauges = append(s.gauges, at(node, f.middle, a[0]), at(node, f.middle, a[1]), about(a[2]), at(node, f.middle, a[2]), about(a[0]), about(a[1]))
		for _, c := range f.contacts {
			arm := geom.Sub(s.m.Contacts[c].Arm, f.middle)
			s.spans[c] = [6]geom.Vec{a[0], a[1], geom.Cross(a[2], arm), a[2], geom.Cross(a[0], arm), geom.Cross(a[1], arm)}
		}
	}
}

func (s *Solver) newModelled() modelled {
	return modelled{
		members:  make([]affine, s.contactGauge),
		contacts: make([]mat3, len(s.m.Contacts)), rubs: make([]geom.Vec, len(s.m.Contacts)),
	}
}

// read takes the readings of all gauges.
func (s *Solver) read(u, to []float64) {
	for i := range s.gauges {
		to[i] = s.gauges[i].read(u)
	}
}

// contactAt is the displacement of a contact in readings.
func (s *Solver) contactAt(q []float64, i int) geom.Vec {
	p := q[s.contactGauge+3*i:]
	return geom.Vec{X: p[0], Y: p[1], Z: p[2]}
}

// affine is a force k·x + a for a reading x.
type affine struct{ k, a float64 }

func (f affine) at(x float64) float64 { return f.k*x + f.a }

// modelled are the forces along the gauges, against their readings, that the matrix of a run's state gives: contacts give
// −k·d + rub on the body.
type modelled struct {
	members  []affine // and links and supports
	contacts []mat3
	rubs     []geom.Vec
}

// model notes the forces that the matrix of given states gives.
func (r *run) model(s *Solver, st states, slide []sliding, to *modelled) {
	for k, m := range s.oneSided {
		e := &s.elements[m]
		to.members[k] = affine{}
		if s.without[m] {
			continue
		}
		h := s.hold(e, st)
		if h.idle {
			continue
		}
		c, t, _ := series(e.ka, h.flex[0], h.flex[1])
		to.members[k].k = c
		if !e.bar {
			to.members[k].a = t[0][0]*r.ends0[k][0] + t[0][1]*r.ends0[k][1]
		}
	}
	for i, g := range s.linkGauges {
		if g < 0 {
			continue
		}
		k := s.m.Links[i].K[0]
		if st[s.linkParts[i]] == Open {
			k = *s.m.Links[i].Pull
		}
		to.members[g] = affine{k: k}
	}
	for i, q := range s.oneSidedSupports {
		o := affine{}
		if st[q.part] == Closed {
			o = affine{k: s.rigid, a: -s.rigid * r.heldAt(q.freedom)}
		}
		to.members[s.supportGauge+i] = o
	}
	for i, p := range s.contactParts {
		var sl *sliding
		if slide != nil {
			sl = &slide[i]
		}
		to.contacts[i], to.rubs[i] = s.contactStiffness(i, st[p], sl)
	}
}

// contact is the force on the body that a contact gives for its displacement.
func (m *modelled) contact(i int, d geom.Vec) geom.Vec {
	return geom.Sub(m.rubs[i], times(&m.contacts[i], d))
}
