package frame

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// planeMM is how far a timber of an assembly may lie out of its plane.
const planeMM = 25

// warn finds what is doubtful in a frame that is built.
func (c *checker) warn() []Finding {
	var w []Finding
	for i := range c.f.draft.Timbers {
		w = append(w, c.f.warnShort(i)...)
	}
	for j := range c.f.draft.Joints {
		w = append(w, c.f.warnPegs(j)...)
	}
	for a := range c.f.draft.Assemblies {
		w = append(w, c.f.warnPlane(a)...)
	}
	return append(w, warnOverlaps(c.f)...)
}

func (f *Frame) warnShort(i int) []Finding {
	t := &f.draft.Timbers[i]
	if length := f.solids[i].ShoulderMM; length < t.DepthMM {
		return []Finding{{Field: fmt.Sprintf("timbers[%d].end", i), Piece: t.Mark, Message: fmt.Sprintf(
			"%s is shorter than it is deep, %.0f mm by %.0f mm; check its start and end.", t.Mark, length, t.DepthMM)}}
	}
	return nil
}

// warnPegs compares the pegs of a joint with the least distances of package wood. The distance to the
// mortised face counts in the receiving timber, the one to the tenon's end in the entering timber.
func (f *Frame) warnPegs(j int) []Finding {
	joint := &f.draft.Joints[j]
	entering, receiving := f.Ends(j)
	if joint.Pegs == nil || joint.Tenon == nil || receiving < 0 {
		return nil
	}
	p := joint.Pegs
	var w []Finding
	short := func(field, from, of string, have, multiple float64) {
		least := multiple * p.DiameterMM
		if have >= least-0.05 {
			return
		}
		w = append(w, Finding{Field: fmt.Sprintf("joints[%d].pegs.%s", j, field), Piece: joint.ID, Message: fmt.Sprintf(
			"The pegs are %.0f mm from %s; %.1f diameters, %.0f mm, are the least that tests found good (from memory, not verified). Move them, use thinner pegs or make the tenon longer.",
			have, from+of, multiple, least)})
	}
	if least, ok := wood.PegDistancesOf(f.draft.Timbers[receiving].Species); ok {
		short("from_shoulder_mm", "the mortised face of ", joint.Receiving, p.FromShoulderMM, least.Edge)
	}
	if least, ok := wood.PegDistancesOf(f.draft.Timbers[entering].Species); ok {
		short("from_shoulder_mm", "the end of the tenon of ", joint.Entering, joint.Tenon.LengthMM-p.FromShoulderMM, least.End)
		if p.Count > 1 {
			short("spacing_mm", "one another", "", p.SpacingMM, least.Spacing)
		}
	}
	return w
}

// warnPlane warns when a timber of an assembly lies out of its plane. A timber lies in it when its
// near face, its centre line or its far face lies within 25 mm of where most of the assembly has it, seen
// across the assembly's line: sticks of different widths may be centred or flush.
func (f *Frame) warnPlane(a int) []Finding {
	assembly := f.draft.Assemblies[a]
	line, ok := f.lineNamed(assembly)
	if !ok {
		return nil
	}
	across := line.Across()
	members := f.members[assembly.ID]
	offsets := make([][2][3]float64, len(members)) // start and end: near face, centre, far face
	var all [3][]float64
	for k, i := range members {
		s := f.sticks[i]
		half := s.ExtentMM(across) / 2
		for e, p := range [2]geom.Vec{s.Start, s.End} {
			center := geom.Dot(geom.Sub(p, line.Point), across)
			offsets[k][e] = [3]float64{center - half, center, center + half}
			for m, v := range offsets[k][e] {
				all[m] = append(all[m], v)
			}
		}
	}
	var plane [3]float64
	for m := range all {
		slices.Sort(all[m])
		plane[m] = all[m][len(all[m])/2]
	}
	for k, i := range members {
		off := math.Inf(1)
		for m := range plane {
			off = min(off, max(math.Abs(offsets[k][0][m]-plane[m]), math.Abs(offsets[k][1][m]-plane[m])))
		}
		if off > planeMM {
			t := f.draft.Timbers[i]
			return []Finding{{Field: fmt.Sprintf("assemblies[%d]", a), Piece: assembly.ID, Message: fmt.Sprintf(
				"The timbers do not lie in one plane: %s lies %.0f mm out of it, up to %d mm is taken as flat; move it, or leave it out of the assembly.",
				t.Mark, off, planeMM)}}
		}
	}
	return nil
}

// lineNamed is the grid line on which an assembly stands.
func (f *Frame) lineNamed(a Assembly) (GridLine, bool) {
	find := func(lines []GridLine) (GridLine, bool) {
		for _, l := range lines {
			if l.Label == a.Line {
				return l, true
			}
		}
		return GridLine{}, false
	}
	if a.Kind != AssemblyWallPanel {
		if l, ok := find(f.draft.Grid.BentLines); ok {
			return l, true
		}
	}
	return find(f.draft.Grid.WallLines)
}
