package frame

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// checkJoints checks the fields of every joint and tells which can be computed with.
func (c *checker) checkJoints() {
	f := c.f
	f.ends = make([][2]int32, len(f.draft.Joints))
	c.usable = make([]bool, len(f.draft.Joints))
	first := make(map[meeting]int, len(f.draft.Joints))
	for i := range f.draft.Joints {
		j := &f.draft.Joints[i]
		at := place{"joints", i}
		before := len(c.faults) + c.more
		if !j.Kind.Known() {
			c.fault(j.ID, at.field("kind"), "The joint has no known kind; say how the timbers meet.")
			continue
		}
		resolved := c.checkEnds(i, j, at)
		c.checkTenon(j, at)
		c.checkPegs(j, at)
		if (j.Kind == joinery.Scarf) != (j.Scarf >= joinery.ScarfHalved && j.Scarf <= joinery.ScarfEndwise) {
			c.fault(j.ID, at.field("scarf_table"), "A scarf needs its table and no other joint has one; say halved, sideways or endwise, or leave it out.")
		}
		c.point(j.ID, at, "at", j.At)
		if before, again := first[meetingOf(j)]; again {
			c.fault(j.ID, at.field("entering"), "The joint is where joint %s is already, so its wood would be taken off twice; leave one of them out.",
				clip(f.draft.Joints[before].ID))
		} else {
			first[meetingOf(j)] = i
		}
		c.usable[i] = resolved && len(c.faults)+c.more == before
	}
}

// meeting is where two timbers meet: one end of a timber has one joint with another, and along it one at a point.
type meeting struct {
	entering, receiving string
	end                 End
	at                  geom.Vec
}

func meetingOf(j *Joint) meeting {
	m := meeting{entering: j.Entering, receiving: j.Receiving, end: j.EnteringEnd}
	if j.EnteringEnd == Along {
		m.at = geom.V(math.Round(j.At.X), math.Round(j.At.Y), math.Round(j.At.Z))
	}
	return m
}

// checkEnds resolves the two timbers; false when one is missing or not sound itself.
func (c *checker) checkEnds(i int, j *Joint, at place) bool {
	f := c.f
	f.ends[i] = [2]int32{-1, -1}
	entering, ok := f.byMark[j.Entering]
	if !ok {
		c.fault(j.ID, at.field("entering"), "The entering timber %q is not in the frame; name the stick that carries the tenon.", clip(j.Entering))
		return false
	}
	f.ends[i][0] = int32(entering)
	if j.EnteringEnd < AtStart || j.EnteringEnd > Along {
		c.fault(j.ID, at.field("entering_end"), "The joint does not say where on %s it is; say start, end or along.", j.Entering)
	}
	if j.EnteringEnd == Along && !j.Kind.TakesAlong() {
		c.fault(j.ID, at.field("entering_end"), "A %s is at an end of the timber that enters; say start or end.", j.Kind)
	}
	if j.Kind.PostBase() {
		if j.Receiving != "" {
			c.fault(j.ID, at.field("receiving"), "A post base stands on the deck; leave the receiving timber empty.")
		}
		return c.sound[entering]
	}
	receiving, ok := f.byMark[j.Receiving]
	switch {
	case !ok:
		c.fault(j.ID, at.field("receiving"), "The receiving timber %q is not in the frame; name the stick with the mortise or housing.", clip(j.Receiving))
		return false
	case receiving == entering:
		c.fault(j.ID, at.field("receiving"), "The timber %s cannot enter itself; name another receiving timber.", j.Entering)
		return false
	}
	f.ends[i][1] = int32(receiving)
	return c.sound[entering] && c.sound[receiving]
}

func (c *checker) checkTenon(j *Joint, at place) {
	t := j.Tenon
	switch {
	case t == nil && j.Kind.NeedsTenon():
		c.fault(j.ID, at.field("tenon"), "A %s needs its tenon; give length, thickness and width.", j.Kind)
	case t != nil && !j.Kind.TakesTenon():
		c.fault(j.ID, at.field("tenon"), "A %s has no tenon; leave it out.", j.Kind)
	}
	if t == nil {
		return
	}
	sized := c.number(j.ID, at, "tenon.length_mm", t.LengthMM, 1, maxLengthMM, "mm")
	c.number(j.ID, at, "tenon.thickness_mm", t.ThicknessMM, 1, maxSectionMM, "mm")
	c.number(j.ID, at, "tenon.width_mm", t.WidthMM, 1, maxSectionMM*2, "mm")
	c.number(j.ID, at, "tenon.shoulder_offset_mm", t.ShoulderOffsetMM, -maxSectionMM, maxSectionMM, "mm")
	c.number(j.ID, at, "tenon.clearance_mm", t.ClearanceMM, 0, maxSectionMM, "mm")
	if c.number(j.ID, at, "tenon.housing_depth_mm", t.HousingDepthMM, 0, maxSectionMM, "mm") && sized {
		if t.HousingDepthMM >= t.LengthMM {
			c.fault(j.ID, at.field("tenon.housing_depth_mm"), "The housing is as deep as the tenon is long; the length counts from the face entered, so make the tenon longer.")
		}
		if j.Kind == joinery.HousedMortiseAndTenon && t.HousingDepthMM == 0 {
			c.fault(j.ID, at.field("tenon.housing_depth_mm"), "A housed tenon needs the depth of its housing; give it, or choose a blind mortise.")
		}
		if t.HousingDepthMM > 0 && (j.Kind.PostBase() || j.EnteringEnd == Along) {
			c.fault(j.ID, at.field("tenon.housing_depth_mm"), "Nothing is let in here; make the housing depth 0.")
		}
	}
}

func (c *checker) checkPegs(j *Joint, at place) {
	p := j.Pegs
	if p == nil {
		return
	}
	if p.Count < 1 || p.Count > maxPegCount {
		c.fault(j.ID, at.field("pegs.count"), "The count %d is not between 1 and %d; put it right, or leave the pegs out.", p.Count, maxPegCount)
	}
	c.number(j.ID, at, "pegs.diameter_mm", p.DiameterMM, 1, maxPegMM, "mm")
	c.number(j.ID, at, "pegs.length_mm", p.LengthMM, 1, maxSectionMM*2, "mm")
	if _, known := c.lookup(p.Wood); !known {
		c.fault(j.ID, at.field("pegs.wood"), "The species %q of the pegs is not known, so their weight is not either; use one of %s.", clip(p.Wood), wood.KeyList())
	}
	if p.DrivenFrom != joinery.FaceUnspecified && !p.DrivenFrom.Known() {
		c.fault(j.ID, at.field("pegs.driven_from"), "The face is not known; name a face of the receiving timber.")
	}
	if p.Hole < joinery.HoleUnspecified || p.Hole > joinery.HoleBoredThroughAfterAssembly {
		c.fault(j.ID, at.field("pegs.hole"), "The state of the hole is not known; say how the stick leaves the shop.")
	}
	drawn := c.number(j.ID, at, "pegs.draw_bore_offset_mm", p.DrawBoreOffsetMM, 0, maxDrawBoreMM, "mm") && p.DrawBoreOffsetMM > 0
	if drawn && p.Hole == joinery.HoleBoredThroughAfterAssembly {
		c.fault(j.ID, at.field("pegs.draw_bore_offset_mm"), "A hole bored through after assembly cannot draw the joint; bore in the shop, or make the offset 0.")
	}
	placed := c.number(j.ID, at, "pegs.from_shoulder_mm", p.FromShoulderMM, 0, maxSectionMM, "mm")
	if placed && j.Tenon != nil && p.FromShoulderMM >= j.Tenon.LengthMM {
		c.fault(j.ID, at.field("pegs.from_shoulder_mm"), "The pegs lie beyond the tip of the tenon; move them nearer to the shoulder.")
	}
	if c.number(j.ID, at, "pegs.spacing_mm", p.SpacingMM, 0, maxSectionMM, "mm") && p.Count > 1 && p.SpacingMM < p.DiameterMM {
		c.fault(j.ID, at.field("pegs.spacing_mm"), "Neighbouring pegs lie closer than they are thick; give the distance between their centres.")
	}
}
