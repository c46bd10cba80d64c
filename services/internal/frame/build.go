package frame

import (
	"fmt"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// checkConnected finds the timbers that no chain of joints connects to the deck.
func (c *checker) checkConnected() {
	f := c.f
	deck := len(f.draft.Timbers)
	sets := newUnion(deck + 1)
	for j := range f.draft.Joints {
		entering, receiving := f.Ends(j)
		if receiving < 0 {
			receiving = deck
		}
		sets.join(entering, receiving)
	}
	adrift := make(map[int][]int)
	var order []int
	for i := range f.draft.Timbers {
		root := sets.root(i)
		if root == sets.root(deck) {
			continue
		}
		if adrift[root] == nil {
			order = append(order, root)
		}
		adrift[root] = append(adrift[root], i)
	}
	for _, root := range order {
		c.faultAdrift(adrift[root])
	}
}

func (c *checker) faultAdrift(group []int) {
	const named = 5
	var marks []string
	for _, i := range group[:min(named, len(group))] {
		marks = append(marks, c.f.draft.Timbers[i].Mark)
	}
	list := strings.Join(marks, ", ")
	if len(group) > named {
		list += fmt.Sprintf(" and %d more", len(group)-named)
	}
	c.fault(marks[0], fmt.Sprintf("timbers[%d]", group[0]),
		"No joints connect %s to the deck; add the joints that carry it, or the post bases under its posts.", list)
}

// union is a forest of disjoint sets.
type union []int

func newUnion(n int) union {
	u := make(union, n)
	for i := range u {
		u[i] = i
	}
	return u
}

func (u union) root(i int) int {
	for u[i] != i {
		u[i] = u[u[i]]
		i = u[i]
	}
	return i
}

func (u union) join(a, b int) { u[u.root(a)] = u.root(b) }

// buildSolids measures every stick, and reports those from which the joints take more than there is.
func (c *checker) buildSolids() {
	f := c.f
	f.solids = make([]Solid, len(f.draft.Timbers))
	moments := make([]geom.Vec, len(f.solids))
	for i, s := range f.sticks {
		length := s.ShoulderMM()
		volume := s.AreaMM2() * length
		f.solids[i] = Solid{
			OverallMM: length + c.reach[i][0] + c.reach[i][1], ShoulderMM: length,
			StartMM: c.reach[i][0], EndMM: c.reach[i][1], VolumeMM3: volume, Corners: corners(s),
		}
		moments[i] = geom.Scale(volume, geom.Mid(s.Start, s.End))
	}
	add := func(i int, lumps [2]joinery.Lump) (sum float64) {
		for _, l := range lumps {
			sum += l.VolumeMM3
			moments[i] = geom.Along(moments[i], l.VolumeMM3, l.Centroid)
		}
		f.solids[i].VolumeMM3 += sum
		return sum
	}
	for j := range f.joints {
		entering, receiving := f.Ends(j)
		add(entering, c.effects[j].Entering)
		if receiving >= 0 {
			f.solids[receiving].RemovedMM3 -= add(receiving, c.effects[j].Receiving)
		}
		f.shape(entering, f.joints[j])
	}
	for i := range f.solids {
		s := &f.solids[i]
		if s.VolumeMM3 <= 0 {
			t := f.draft.Timbers[i]
			c.fault(t.Mark, fmt.Sprintf("timbers[%d]", i),
				"The joints take more wood from %s than it has; check the sizes of the mortises and housings in it.", t.Mark)
			continue
		}
		s.Centroid = geom.Scale(1/s.VolumeMM3, moments[i])
	}
}

// corners are those of the square-ended stick.
func corners(s joinery.Stick) (c [8]geom.Vec) {
	for i, p := range [2]geom.Vec{s.Start, s.End} {
		for k, side := range sides {
			c[4*i+k] = geom.Along(geom.Along(p, side[0]*s.WidthMM/2, s.Axes.Width), side[1]*s.DepthMM/2, s.Axes.Depth)
		}
	}
	return c
}

// sides are the signs of width and depth at the corners of a section, in order round.
var sides = [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}

// shape cuts the end of a stick to the shoulder of a joint, and adds its tongue.
func (f *Frame) shape(i int, j joinery.Joint) {
	if tongue, ok := joinery.Tongue(j); ok {
		f.solids[i].Tongues = append(f.solids[i].Tongues, tongue)
	}
	p, n, ok := joinery.Shoulder(j)
	if !ok {
		return
	}
	first := 0
	if j.End == AtEnd {
		first = 4
	}
	a := f.sticks[i].Axes.Axis
	square := geom.Dot(n, a)
	for k := first; k < first+4; k++ {
		corner := &f.solids[i].Corners[k]
		*corner = geom.Along(*corner, geom.Dot(n, geom.Sub(p, *corner))/square, a)
	}
}

// buildWeights looks up what sticks and pegs weigh.
func (c *checker) buildWeights() {
	f := c.f
	f.density = make([]float64, len(f.draft.Timbers))
	for i, t := range f.draft.Timbers {
		f.density[i] = c.species[i].DensityKgPerM3(t.MoisturePercent)
	}
	f.pegMass = make([]float64, len(f.draft.Joints))
	for j := range f.draft.Joints {
		if p := f.draft.Joints[j].Pegs; p != nil {
			s, _ := c.lookup(p.Wood)
			f.pegMass[j] = p.VolumeMM3() * perM3 * s.PegDensityKgPerM3()
		}
	}
}

// pegCenter is the middle of the pegs of joint j: at their distance from the shoulder, inside the
// timber that they are weighed with.
func (f *Frame) pegCenter(j int) geom.Vec {
	joint := f.joints[j]
	inward := -joint.Pegs.FromShoulderMM
	if joint.Kind.PostBase() {
		inward = -inward
	}
	return geom.Along(joint.At, inward, joinery.EnteredFace(joint))
}
