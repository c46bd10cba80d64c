package standup

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// What a tie across the feet is reckoned with, from memory: a 2x6 with four screws at each post.
const (
	tieHoldsN   = 2400.0
	tieNPerM    = 2.5e6
	tieWidthM   = 0.0381
	tieDepthM   = 0.1397
	lowestBandM = 0.05
	lumberG     = 16.0 // E/G
)

// load is a bent with what is lashed to it, at one end of the range of stiffness.
type load struct {
	stiffness model.Stiffness
	structure *model.Structure
	rig       rig
	// own is how many members of the structure are timber; what is lashed on comes after them.
	own int
	// joints are those between timbers.
	joints []model.JointAt
	// ties are members across the feet, backs the strongbacks.
	ties  []int
	backs []back
}

// load builds a set-up.
func (c *checker) load(s setup, stiffness model.Stiffness) (*load, error) {
	lines := c.lines(s)
	state := model.State{Standing: c.pieces, Pegged: s.pegged, Carried: true}
	add := func(p Point) {
		state.Points = append(state.Points, model.Point{Timber: p.Timber, FromStartMM: p.FromStartMM})
	}
	for _, p := range s.points {
		add(p)
	}
	for _, line := range lines {
		for _, p := range line.at {
			add(p)
		}
	}
	st, err := c.builders[stiffness].Build(state)
	if err != nil {
		return nil, err
	}
	l := &load{stiffness: stiffness, structure: st, own: len(st.Model.Members)}
	l.rig = rig{
		model: st.Model, picks: [2]int{st.PointNodes[0], st.PointNodes[1]}, along: c.plane.along, normal: c.plane.normal,
		slingDeg: s.slingDeg, factor: c.factor,
	}
	if l.rig.picks[0] == l.rig.picks[1] {
		return nil, fault("slings", "both points are in one place; take hold at two places apart")
	}
	for _, j := range st.Joints {
		if len(j.Contacts) == 0 && (j.Member >= 0 || j.Link >= 0) {
			l.joints = append(l.joints, j)
		}
	}
	l.strap(s.strapped)
	l.findFeet()
	// The deck holds it no longer; the attitude says what does.
	st.Model.Supports, st.Model.Contacts = nil, nil
	l.tie(c, s.tied)
	nodes := st.PointNodes[len(s.points):]
	for _, line := range lines {
		l.lash(c, line, nodes[:len(line.at)])
		nodes = nodes[len(line.at):]
	}
	return l, nil
}

// findFeet finds the nodes that stand on the deck, in order along the bent; where none does, the lowest ones.
func (l *load) findFeet() {
	m := l.structure.Model
	for i := range m.Contacts {
		if node := m.Contacts[i].Node; !slices.Contains(l.rig.feet, node) {
			l.rig.feet = append(l.rig.feet, node)
		}
	}
	at := func(node int) float64 { return geom.Dot(m.Nodes[node].At, l.rig.along) }
	if len(l.rig.feet) < 2 {
		l.rig.feet = l.rig.feet[:0]
		low := math.Inf(1)
		for i := range m.Nodes {
			low = math.Min(low, m.Nodes[i].At.Z)
		}
		for i := range m.Nodes {
			if m.Nodes[i].At.Z < low+lowestBandM {
				l.rig.feet = append(l.rig.feet, i)
			}
		}
		slices.SortStableFunc(l.rig.feet, func(a, b int) int { return cmp.Compare(at(a), at(b)) })
		l.rig.feet = []int{l.rig.feet[0], l.rig.feet[len(l.rig.feet)-1]}
	}
	slices.SortStableFunc(l.rig.feet, func(a, b int) int { return cmp.Compare(at(a), at(b)) })
}

// footNode is the lowest node of a timber.
func (l *load) footNode(timber int) int {
	m := l.structure.Model
	best := -1
	for _, k := range l.structure.Members[timber] {
		for _, node := range [2]int{m.Members[k].I, m.Members[k].J} {
			if best < 0 || m.Nodes[node].At.Z < m.Nodes[best].At.Z {
				best = node
			}
		}
	}
	return best
}

// lumberMaterial is what boards are made of; design values are checked before.
func lumberMaterial(l brace.Lumber) statics.Material {
	d, err := l.Design()
	if err != nil {
		return statics.Material{}
	}
	return statics.Material{E: d.E, G: d.E / lumberG, Rho: l.DensityKgPerM3()}
}

// extra adds a member that is no part of a timber.
func (l *load) extra(e statics.Member) int {
	l.structure.Model.Members = append(l.structure.Model.Members, e)
	return len(l.structure.Model.Members) - 1
}

// tie joins the feet of posts, each to the next, with a board that pulls and pushes.
func (l *load) tie(c *checker, posts []int) {
	if len(posts) < 2 {
		return
	}
	material := lumberMaterial(tieLumber())
	slip := statics.Grip{}
	slip.Hold[statics.UX] = statics.Hold{K: tieNPerM}
	for k := 1; k < len(posts); k++ {
		a, b := l.footNode(posts[k-1]), l.footNode(posts[k])
		l.ties = append(l.ties, l.extra(statics.Member{
			Name: fmt.Sprintf("tie from %s to %s", c.f.Timbers()[posts[k-1]].Mark, c.f.Timbers()[posts[k]].Mark), I: a, J: b, Kind: statics.Bar,
			Material: material, Section: statics.Rectangle(tieWidthM, tieDepthM), YRef: geom.Up(), GripI: slip, GripJ: slip,
		}))
	}
}

// tieLumber is the board across the feet.
func tieLumber() brace.Lumber {
	return brace.Lumber{WidthMM: tieWidthM * 1000, DepthMM: tieDepthM * 1000, Plies: 1, Species: "white-spruce", Grade: "No. 2"}
}

// length is a member's length in metres.
func (l *load) length(k int) float64 {
	e := &l.rig.model.Members[k]
	return geom.Dist(geom.Add(l.rig.model.Nodes[e.I].At, e.ArmI), geom.Add(l.rig.model.Nodes[e.J].At, e.ArmJ))
}

// helpers are the shares of what is lashed to the bent.
func (l *load) helpers(c *checker, o *outcome, name string) []standing.Usage {
	var list []standing.Usage
	cd := c.rules.DurationFactor
	for _, k := range l.ties {
		n := math.Abs(o.result.Ends[k][1][0]+(-o.result.Ends[k][0][0])) / 2
		list = append(list, standing.Usage{
			Kind: standing.BraceFastening, Piece: l.rig.model.Members[k].Name, Share: n / (tieHoldsN * cd), Demand: n, Capacity: tieHoldsN * cd, Unit: "N",
			Combination: name, Formula: "F/(holds·CD)", Source: "four structural screws in a 2x6, from memory", Status: wood.FromMemory,
			Words: fmt.Sprintf("The %s carries %.0f lb; its screws hold %.0f lb.", l.rig.model.Members[k].Name, units.PoundsForceFromN(n), units.PoundsForceFromN(tieHoldsN*cd)),
		})
	}
	for i := range l.backs {
		list = append(list, l.backs[i].uses(c, l, o, name)...)
	}
	return list
}
