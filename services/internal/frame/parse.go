package frame

import (
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/natural"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Limits of what a field may hold.
const (
	maxTitle      = 200
	maxMark       = 24
	maxGrade      = 100
	minSectionMM  = 20
	maxSectionMM  = 2000
	minLengthMM   = 1
	maxLengthMM   = 50_000
	maxCoordMM    = 1e6
	maxNominalIn  = 80
	maxPegCount   = 100
	maxPegMM      = 100
	maxDrawBoreMM = 25
	maxCount      = 10_000
	maxMassKG     = 10_000
	maxLines      = 2_000
	maxFaults     = 2_000
	// nearMM is how near a joint's point must be to the timbers that it joins.
	nearMM = 25
)

// checker collects what is wrong with a draft while the frame is built from it.
type checker struct {
	f      *Frame
	faults []Finding
	more   int
	// sound tells the timbers whose own fields are right, so that nothing is computed from others.
	sound []bool
	// usable tells the joints whose fields and timbers are right.
	usable []bool
	// reach is how far each stick reaches beyond its start and end.
	reach [][2]float64
	// effects are the measures of the usable joints.
	effects []joinery.Effect
	// species of each timber.
	species []wood.Species
	// known are the species met so far.
	known map[string]wood.Species
}

// Parse checks a draft and builds the frame. The error is a *Faults with every fault that was found, up
// to 2,000 of them; a draft over the limits of MaxTimbers and MaxJoints has that one fault only. The
// frame keeps no reference to the draft. Time grows nearly in proportion to the number of timbers.
func Parse(d Draft) (*Frame, error) {
	if fault, over := overLimit(d); over {
		return nil, &Faults{Faults: []Finding{fault}}
	}
	f := &Frame{draft: d.Clone()}
	c := &checker{f: f, known: make(map[string]wood.Species)}
	c.checkTitle()
	c.checkGrid()
	c.indexAll()
	c.checkTimbers()
	c.checkAssemblies()
	c.checkJoints()
	c.checkHardware()
	c.buildJoints()
	c.checkGeometry()
	if len(c.faults) == 0 {
		c.checkConnected()
	}
	if len(c.faults) == 0 {
		c.buildSolids()
	}
	if len(c.faults) > 0 {
		return nil, c.err()
	}
	c.buildWeights()
	f.warnings = c.warn()
	f.digest = digest(f.draft)
	f.inOrder = inOrder(f.draft.Timbers)
	return f, nil
}

// inOrder are the indices of the timbers by mark. Indices are sorted, not timbers: those are large to move about.
func inOrder(timbers []Timber) []int {
	order := make([]int, len(timbers))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return natural.Compare(timbers[a].Mark, timbers[b].Mark) })
	return order
}

func overLimit(d Draft) (Finding, bool) {
	for _, list := range []struct {
		field, what string
		n, most     int
	}{
		{"timbers", "timbers", len(d.Timbers), MaxTimbers},
		{"joints", "joints", len(d.Joints), MaxJoints},
		{"assemblies", "assemblies", len(d.Assemblies), MaxTimbers},
		{"hardware", "entries of hardware", len(d.Hardware), MaxJoints},
		{"grid.bent_lines", "bent lines", len(d.Grid.BentLines), maxLines},
		{"grid.wall_lines", "wall lines", len(d.Grid.WallLines), maxLines},
		{"grid.levels", "levels", len(d.Grid.Levels), maxLines},
	} {
		if list.n > list.most {
			return Finding{Field: list.field, Message: fmt.Sprintf(
				"The frame has %d %s, at most %d are taken; split it into several frames.", list.n, list.what, list.most)}, true
		}
	}
	if len(d.Timbers) == 0 {
		return Finding{Field: "timbers", Message: "The frame has no timbers; give at least one."}, true
	}
	return Finding{}, false
}

func (c *checker) fault(piece, field, format string, args ...any) {
	if len(c.faults) >= maxFaults {
		c.more++
		return
	}
	c.faults = append(c.faults, Finding{Field: field, Piece: piece, Message: fmt.Sprintf(format, args...)})
}

func (c *checker) err() error {
	if c.more > 0 {
		c.faults = append(c.faults, Finding{Field: "timbers", Message: fmt.Sprintf(
			"%d more faults are not listed; put these right first and check again.", c.more)})
	}
	return &Faults{Faults: c.faults}
}

// indexAll builds the indices of marks and ids, and reports doubles.
func (c *checker) indexAll() {
	d := &c.f.draft
	c.f.byMark = make(map[string]int, len(d.Timbers))
	for i, t := range d.Timbers {
		at := place{"timbers", i}
		c.checkID(t.Mark, at, "mark")
		if first, double := c.f.byMark[t.Mark]; double {
			c.fault(t.Mark, at.field("mark"), "The mark %q is already on timbers[%d]; give each stick a mark of its own.", t.Mark, first)
			continue
		}
		c.f.byMark[t.Mark] = i
	}
	c.f.byJoint = make(map[string]int, len(d.Joints))
	for i, j := range d.Joints {
		at := place{"joints", i}
		c.checkID(j.ID, at, "id")
		if first, double := c.f.byJoint[j.ID]; double {
			c.fault(j.ID, at.field("id"), "The id %q already names joints[%d]; give each joint an id of its own.", j.ID, first)
			continue
		}
		c.f.byJoint[j.ID] = i
	}
}

// buildJoints turns the usable joints into joinery and gathers how far sticks reach.
func (c *checker) buildJoints() {
	f := c.f
	n := len(f.draft.Joints)
	f.joints = make([]joinery.Joint, n)
	c.effects = make([]joinery.Effect, n)
	c.reach = make([][2]float64, len(f.draft.Timbers))
	f.jointsOf = make([][]int, len(f.draft.Timbers))
	for j := range f.draft.Joints {
		if !c.usable[j] {
			continue
		}
		given := &f.draft.Joints[j]
		entering, receiving := f.Ends(j)
		joint := joinery.Joint{
			Kind: given.Kind, Entering: f.sticks[entering], End: given.EnteringEnd,
			Tenon: given.Tenon, Pegs: given.Pegs, At: given.At, Scarf: given.Scarf,
		}
		f.jointsOf[entering] = append(f.jointsOf[entering], j)
		if receiving >= 0 {
			joint.Receiving = f.sticks[receiving]
			f.jointsOf[receiving] = append(f.jointsOf[receiving], j)
		}
		f.joints[j] = joint
		c.effects[j] = joinery.Measure(joint)
		if e := given.EnteringEnd; e == AtStart || e == AtEnd {
			r := &c.reach[entering][e-AtStart]
			*r = max(*r, c.effects[j].ExtensionMM)
		}
	}
}

// checkGeometry checks where the usable joints lie and whether they can be cut.
func (c *checker) checkGeometry() {
	f := c.f
	for j := range f.draft.Joints {
		if !c.usable[j] {
			continue
		}
		given, joint := &f.draft.Joints[j], f.joints[j]
		at := place{"joints", j}
		c.checkPlace(j, at, given, joint)
		for _, m := range joinery.Fit(joint) {
			c.fault(given.ID, at.field(m.Field), "%s", m.Message)
		}
	}
}

func (c *checker) checkPlace(j int, at place, given *Joint, joint joinery.Joint) {
	entering, receiving := c.f.Ends(j)
	if given.EnteringEnd == Along {
		if off := c.distance(entering, given.At); off > nearMM {
			c.fault(given.ID, at.field("at"), "The joint lies %.0f mm outside %s, which should enter here; move it onto the timber.", off, given.Entering)
		}
	} else if off := geom.Dist(given.At, joint.Place()); off > nearMM {
		c.fault(given.ID, at.field("at"), "The joint lies %.0f mm from the %s of %s, at most %d mm are taken; move the joint or the end of the timber.",
			off, given.EnteringEnd, given.Entering, nearMM)
	}
	if receiving < 0 {
		return
	}
	if off := c.distance(receiving, given.At); off > nearMM {
		c.fault(given.ID, at.field("at"), "The joint lies %.0f mm outside %s, which should receive it; move it onto the timber.", off, given.Receiving)
	}
}

// distance is how far p lies outside a stick that is as long as its joints make it.
func (c *checker) distance(i int, p geom.Vec) float64 {
	s := c.f.sticks[i]
	s.Start = geom.Along(s.Start, -c.reach[i][0], s.Axes.Axis)
	s.End = geom.Along(s.End, c.reach[i][1], s.Axes.Axis)
	return s.DistanceMM(p)
}
