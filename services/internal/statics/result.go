package statics

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// finish fills the result of a run.
func (s *Solver) finish(r *run, o Options) {
	out := r.result
	out.Rounds = r.rounds
	if out.Outcome != Solved {
		return
	}
	out.Residual = r.residual(s)
	if !(out.Residual <= mostResidual) {
		out.Outcome = Unsettled
		return
	}
	if !r.second {
		out.EnergyError = r.energyError(s)
	}
	s.fill(r)
	if o.Buckling {
		out.Buckling, _ = s.buckling(r, s.Axial(out))
	}
}

// energyError is the relative difference of the work of loads and supports and the strain energy.
func (r *run) energyError(s *Solver) float64 {
	work := r.work
	if r.load.held != nil {
		for f, v := range r.load.held {
			work -= v * r.out[f] // the support gives what is left over, turned round
		}
	}
	most := max(math.Abs(work), r.strain)
	if most == 0 {
		return 0
	}
	return math.Abs(work-r.strain) / most
}

func (s *Solver) fill(r *run) {
	out, m := r.result, s.m
	out.run = r
	nodes := len(m.Nodes)
	out.Displacements = make([]Vec6, nodes)
	for n := range nodes {
		copy(out.Displacements[n][:], r.u[6*n:6*n+6])
	}
	out.Ends = r.ends
	out.Slip = make([][2]float64, len(m.Members))
	out.Pulled = make([][2]bool, len(m.Members))
	out.Idle = make([]bool, len(m.Members))
	for i := range s.elements {
		if s.without[i] {
			continue
		}
		e := &s.elements[i]
		out.Slip[i] = r.slips(s, i)
		out.Idle[i] = e.idle >= 0 && r.state[e.idle] == Open
		for end, p := range e.pulls {
			out.Pulled[i][end] = p >= 0 && r.state[p] == Open
		}
	}
	out.Links, out.Opening = make([]Vec6, len(m.Links)), make([]float64, len(m.Links))
	for i := range s.links {
		out.Links[i] = r.linkForce(s, i)
		out.Opening[i] = geom.Dot(s.links[i].gap(r.u), s.links[i].axes[0])
	}
	s.fillSupports(r)
	out.Bearings = make([]Bearing, len(m.Contacts))
	for i, p := range s.contactParts {
		c, b := &m.Contacts[i], &out.Bearings[i]
		if b.State = r.state[p]; b.State > Sliding {
			b.State = Open
		}
		d := moved(r.u, c.Node, c.Arm)
		lift, _ := across(d, s.normals[i])
		if b.State == Open {
			b.Gap = lift
		}
		k, rub := s.contactStiffness(i, r.state[p], &r.slide[i])
		f := geom.Sub(rub, times(&k, d))
		b.Normal, b.Across = across(f, s.normals[i])
	}
}

// fillSupports shares out what is left over at the nodes among the supports that hold them.
func (s *Solver) fillSupports(r *run) {
	out, m := r.result, s.m
	out.Reactions, out.Axial = make([]Vec6, len(m.Supports)), make([]float64, len(m.Supports))
	for i := range m.Supports {
		p := &m.Supports[i]
		for f, k := range p.Spring {
			out.Reactions[i][f] -= k * r.u[6*p.Node+f]
		}
	}
	for f, i := range s.owner {
		if i < 0 || !s.held[f] || f%6 < 3 && s.turns[int32(f/6)] != nil {
			continue
		}
		out.Reactions[i][f%6] -= r.out[f]
	}
	for _, q := range s.oneSidedSupports {
		if r.state[q.part] == Closed {
			i := s.owner[q.freedom]
			out.Reactions[i][q.freedom%6] += s.rigid * (r.heldAt(q.freedom) - r.u[q.freedom])
		}
	}
	for _, node := range s.inward {
		t := s.turns[node]
		rest := geom.Scale(-1, geom.Vec{X: r.out[6*node], Y: r.out[6*node+1], Z: r.out[6*node+2]})
		for k := len(t.gens) - 1; k >= 0; k-- {
			a := geom.Dot(rest, t.axes[k]) / geom.Dot(t.gens[k], t.axes[k])
			rest = geom.Sub(rest, geom.Scale(a, t.gens[k]))
			i := t.support[k]
			if t.freedom[k] < 0 {
				out.Axial[i] = a
			}
			v := geom.Scale(a, t.gens[k])
			out.Reactions[i][0] += v.X
			out.Reactions[i][1] += v.Y
			out.Reactions[i][2] += v.Z
		}
	}
}
