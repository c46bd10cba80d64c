package model_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// dense is a second formulation of a structure, without shear strain: every member end has six freedoms of its own in the member's
// axes, every spring of a grip or a contact is the energy of one sum of displacements, and the whole is solved by plain
// elimination. Nothing is condensed, and no code is shared with package statics.
type dense struct {
	m    *statics.Model
	rows [][]float64 // the last column is the load
}

// term is one share in a sum of displacements.
type term struct {
	freedom int
	share   float64
}

// rigid stands for a hold without a spring, in N/m and N·m/rad.
const rigid = 1e13

func newDense(m *statics.Model) *dense {
	n := 6*len(m.Nodes) + 12*len(m.Members)
	d := &dense{m: m, rows: make([][]float64, n)}
	for i := range d.rows {
		d.rows[i] = make([]float64, n+1)
	}
	return d
}

// spring adds k/2·(sum of terms)² to the energy.
func (d *dense) spring(k float64, terms []term) {
	for _, a := range terms {
		for _, b := range terms {
			d.rows[a.freedom][b.freedom] += k * a.share * b.share
		}
	}
}

// shift is how far the end of an arm from a node moves along e.
func shift(node int, arm, e geom.Vec) []term {
	turn := geom.Cross(arm, e)
	return []term{
		{6 * node, e.X}, {6*node + 1, e.Y}, {6*node + 2, e.Z}, {6*node + 3, turn.X}, {6*node + 4, turn.Y}, {6*node + 5, turn.Z},
	}
}

// twist is how far a node turns about e.
func twist(node int, e geom.Vec) []term {
	return []term{{6*node + 3, e.X}, {6*node + 4, e.Y}, {6*node + 5, e.Z}}
}

// member adds a member with its weight and its grips, on their pull where the answer says so.
func (d *dense) member(index int, gravity geom.Vec, pulled [2]bool) {
	p := &d.m.Members[index]
	from, to := geom.Add(d.m.Nodes[p.I].At, p.ArmI), geom.Add(d.m.Nodes[p.J].At, p.ArmJ)
	l, x := geom.Dist(from, to), geom.Unit(geom.Sub(to, from))
	z := geom.Unit(geom.Cross(x, p.YRef))
	axes := [3]geom.Vec{x, geom.Cross(z, x), z}
	base := 6*len(d.m.Nodes) + 12*index
	e, s := p.Material.E, p.Section
	d.spring(e*s.A/l, []term{{base, -1}, {base + 6, 1}})
	d.spring(p.Material.G*s.J/l, []term{{base + 3, -1}, {base + 9, 1}})
	// Bending: the even share of the two turns against the chord has 12·EI/l, the odd one EI/l, each over its square.
	for _, b := range [2]struct {
		across, about int
		sign, ei      float64
	}{{1, 5, 1, e * s.Iz}, {2, 4, -1, e * s.Iy}} {
		chord := b.sign / l
		d.spring(12*b.ei/l, []term{{base + b.about, 0.5}, {base + 6 + b.about, 0.5}, {base + b.across, chord}, {base + 6 + b.across, -chord}})
		d.spring(b.ei/l, []term{{base + b.about, -1}, {base + 6 + b.about, 1}})
	}
	load := len(d.rows)
	for k, w := range axes {
		q := p.Material.Rho * s.A * geom.Dot(gravity, w)
		d.rows[base+k][load] += q * l / 2
		d.rows[base+6+k][load] += q * l / 2
		switch k {
		case 1:
			d.rows[base+5][load] += q * l * l / 12
			d.rows[base+11][load] -= q * l * l / 12
		case 2:
			d.rows[base+4][load] -= q * l * l / 12
			d.rows[base+10][load] += q * l * l / 12
		}
	}
	for end, g := range [2]statics.Grip{p.GripI, p.GripJ} {
		node, arm := p.I, p.ArmI
		if end == 1 {
			node, arm = p.J, p.ArmJ
		}
		for k, h := range g.Hold {
			if k == 0 && g.Pull != nil && pulled[end] {
				h = *g.Pull
			}
			terms := []term{{base + 6*end + k, -1}}
			if k < 3 {
				terms = append(terms, shift(node, arm, axes[k])...)
			} else {
				terms = append(terms, twist(node, axes[k-3])...)
			}
			switch {
			case h.Free:
			case h.K == 0:
				d.spring(rigid, terms)
			default:
				d.spring(h.K, terms)
			}
		}
	}
}

// solve eliminates, and gives the displacements of all freedoms.
func (d *dense) solve(t *testing.T) []float64 {
	n := len(d.rows)
	for i, pivot := range d.rows {
		if pivot[i] <= 0 {
			t.Fatalf("freedom %d is not held", i)
		}
		for _, row := range d.rows[i+1:] {
			f := row[i] / pivot[i]
			if f == 0 {
				continue
			}
			for k := i; k <= n; k++ {
				row[k] -= f * pivot[k]
			}
		}
	}
	u := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		sum := d.rows[i][n]
		for k := i + 1; k < n; k++ {
			sum -= d.rows[i][k] * u[k]
		}
		u[i] = sum / d.rows[i][i]
	}
	return u
}

// The whole frame by both formulations, in the state of the one-sided parts that it ended in.
func TestSecondFormulationAgrees(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	for _, stiffness := range []model.Stiffness{model.Soft, model.Stiff} {
		m := build(t, f, complete(f), stiffness).Model
		for i := range m.Members {
			m.Members[i].Section.Asy, m.Members[i].Section.Asz = 0, 0
		}
		c := leaning("lean", 0.03, geom.V(2, 3, 0))
		r := solve(t, m, statics.Options{}, c)[0]
		if r.Outcome != statics.Solved || len(m.Links)+len(m.Supports) > 0 {
			t.Fatalf("%s, or links and supports that this test does not know", why(&r))
		}
		d := newDense(m)
		for i := range m.Members {
			d.member(i, c.Gravity, r.Pulled[i])
		}
		for i, b := range r.Bearings {
			p := &m.Contacts[i]
			switch b.State {
			case statics.Sliding:
				t.Fatal("a foot slides, which this test does not know")
			case statics.Closed:
				d.spring(p.K, shift(p.Node, p.Arm, geom.V(0, 0, 1)))
				d.spring(p.KT, shift(p.Node, p.Arm, geom.V(1, 0, 0)))
				d.spring(p.KT, shift(p.Node, p.Arm, geom.V(0, 1, 0)))
			}
		}
		u := d.solve(t)
		worst := 0.0
		for node, moves := range r.Displacements {
			for k, v := range moves {
				worst = max(worst, v-u[6*node+k], u[6*node+k]-v)
			}
		}
		if worst > 1e-4*swayM(&r) {
			t.Errorf("%s: the two differ by %g of %g m", stiffness, worst, swayM(&r))
		}
	}
}
