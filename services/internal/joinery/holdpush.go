package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Bearing and turning of joints, from memory.
const (
	// deckPa is what a wooden deck or its sill bears across the grain: the low end of the softwoods used.
	deckPa = 2.9e6
	// standardShoulderMM2 is the shoulder that ShoulderNPerM is given for.
	standardShoulderMM2 = 200 * 200
	// turnSoft and turnStiff are the shares of a bare tenon's bending and twisting stiffness that a joint keeps.
	turnSoft, turnStiff = 0.05, 0.5
	// seatSoft and seatStiff are the shares of a shoulder's rocking stiffness: at the soft end half of its width bears, with half
	// of what it would have. Where a joint hangs in tension its shoulder does not bear at all; then only the tenon counts,
	// which is what its bending is checked against.
	seatSoft, seatStiff = 0.25, 1
	// tenonShear is the share of the shear strength that counts in a tenon cut out of a stick.
	tenonShear = 2.0 / 3
)

func (h *Hold) push(g grip, o HoldSettings) {
	k, c := g.j.Kind, math.Max(g.d.Squareness, MinSquareness)
	entering, receiving := g.w.Entering, g.w.Receiving
	switch k {
	case PostBaseBearing, PostBaseDowelled, PostBaseKnifePlate:
		h.PushN, h.PushBy = math.Min(entering.Fc, deckPa)*g.bearing*1e-6, "the deck under the foot, across its grain"
		return
	case Scarf:
		h.PushN, h.PushBy = math.Min(entering.Fc, receiving.Fc)*g.bearing*1e-6, "half of the section, end to end"
		return
	case Lap:
		if g.j.End == Along {
			h.PushN, h.PushBy = math.Min(entering.FcPerp, receiving.FcPerp)*g.lapMM2()*1e-6, "the shoulders of the lap, across the grain"
			return
		}
	case Birdsmouth:
		h.PushN, h.PushBy = math.Min(entering.FcPerp, receiving.FcPerp)*g.bearing*1e-6, "the seat, across the grain"
		return
	case KnifePlate, SteelConnection:
		if g.j.End == Along {
			h.PushN, h.PushBy = o.SteelHoldsN, "a steel connection of unknown make"
			return
		}
	}
	// Across the face entered, by its shoulder.
	h.PushN, h.PushBy = receiving.FcPerp*g.bearing*1e-6/c, "the shoulder, across the grain of what receives it"
	if end := entering.Fc * g.bearing * 1e-6; end < h.PushN {
		h.PushN, h.PushBy = end, "the shoulder, along its own grain"
	}
	// Along the face entered, by the tenon's edge and the housing's wall.
	run := math.Sqrt(math.Max(0, 1-c*c))
	if run < 0.1 {
		return
	}
	slope := geom.Degrees(math.Acos(math.Min(1, math.Abs(geom.Dot(g.j.Entering.Axes.Axis, g.d.Width)))))
	edge := math.Min(receiving.Fc, wood.Hankinson(entering.Fc, entering.FcPerp, slope)) * g.wallMM2() * 1e-6 / run
	if edge < h.PushN {
		h.PushN, h.PushBy = edge, "the edge of the tenon and the housing's wall, along the grain of what receives it"
	}
}

// wallMM2 is what bears along the receiving stick: the tenon's edge below the housing, and the housing's wall. An end cut
// to a step or a plain end that is let in nowhere has the least that the trade cuts, half an inch.
func (g grip) wallMM2() float64 {
	wide := math.Min(g.j.Entering.ExtentMM(g.d.Thickness), g.j.Receiving.ExtentMM(g.d.Thickness))
	wall := g.t.ThicknessMM*math.Max(0, g.t.LengthMM-g.t.HousingDepthMM) + wide*g.t.HousingDepthMM
	if g.j.Kind == SteppedFoot || wall <= 0 {
		wall = math.Max(wall, wide*12.7)
	}
	return wall
}

// lapMM2 is a lap's shoulder: the notch's depth over the width.
func (g grip) lapMM2() float64 {
	if g.t.ThicknessMM > 0 && g.t.WidthMM > 0 {
		return g.t.ThicknessMM * g.t.WidthMM
	}
	return g.area / 4
}

func (h *Hold) shear(g grip, o HoldSettings) {
	k := g.j.Kind
	entering, receiving := g.w.Entering, g.w.Receiving
	switch {
	case k == PostBaseBearing:
		h.ShearBy = "friction alone"
		return
	case k == KnifePlate, k == SteelConnection, k == PostBaseKnifePlate, k == PostBaseDowelled && g.t.ThicknessMM <= 0:
		h.ShearN, h.ShearBy = o.SteelHoldsN, "a steel connection of unknown make"
		return
	case k == Birdsmouth, k == SteppedFoot:
		h.ShearN, h.ShearBy = entering.Fv*g.area/3*1e-6*tenonShear, "the heel, sheared along its grain"
		return
	case k == Scarf, k == Lap:
		h.ShearN, h.ShearBy = entering.Fv*g.area/2*1e-6*tenonShear, "half of the section, in shear"
		return
	}
	t := g.t
	shear := tenonShear * entering.Fv * t.ThicknessMM * t.WidthMM * 1e-6
	long := math.Max(0, t.LengthMM-t.HousingDepthMM)
	bears := math.Min(entering.FcPerp, receiving.FcPerp) * math.Min(t.ThicknessMM, t.WidthMM) * long * 1e-6
	h.ShearN, h.ShearBy = shear, "the tenon, sheared off"
	if bears < shear {
		h.ShearN, h.ShearBy = bears, "the tenon, pressed into its mortise"
	}
	if t.HousingDepthMM > 0 {
		thin := math.Min(g.j.Entering.WidthMM, g.j.Entering.DepthMM)
		h.ShearN += math.Min(entering.FcPerp, receiving.FcPerp) * thin * t.HousingDepthMM * 1e-6
		h.ShearBy += ", and its housing"
	}
}

// stiffen gives the ranges of stiffness.
func (h *Hold) stiffen(g grip, o HoldSettings) {
	k := g.j.Kind
	soft := math.Min(1, g.bearing/standardShoulderMM2)
	h.PushNPerM = [2]float64{o.ShoulderNPerM[0] * soft, o.ShoulderNPerM[1]}
	h.ShearNPerM = [2]float64{o.ShoulderNPerM[0] * soft / 2, o.ShoulderNPerM[1]}
	if k == KnifePlate || k == SteelConnection || k == PostBaseKnifePlate {
		h.PullNPerM, h.ShearNPerM = o.SteelNPerM, o.SteelNPerM
	} else if h.PullN > 0 {
		n := 1.0
		ratio := 1.0
		if g.j.pegged() {
			n, ratio = float64(g.j.Pegs.Count), math.Pow(g.j.Pegs.DiameterMM/standardPegMM, 1.5)
		}
		for i := range h.PullNPerM {
			h.PullNPerM[i] = n * ratio * o.PegNPerM[i]
		}
		if k == Lap || k == SlipTenon {
			h.PullNPerM[0], h.PullNPerM[1] = h.PullNPerM[0]/2, h.PullNPerM[1]/2
		}
	}
	h.turn(g, o)
}

// turn gives the stiffness against turning.
func (h *Hold) turn(g grip, o HoldSettings) {
	e := math.Min(g.w.Entering.E, g.w.Receiving.E)
	t := g.t
	if g.j.Kind == Scarf {
		// A scarf keeps a share of the solid stick's stiffness over its own length.
		s := g.j.Entering
		long := math.Max(t.LengthMM, 2*s.DepthMM) * 1e-3
		b, d := s.WidthMM*1e-3, s.DepthMM*1e-3
		deep, flat := e*b*d*d*d/12/long, e*d*b*b*b/12/long
		least := math.Min(deep, flat)
		h.TurnNMPerRad = [3][2]float64{{0.1 * least / 8, least / 8}, {0.1 * least, deep}, {0.1 * least, math.Max(deep, flat)}}
		return
	}
	if !(t.ThicknessMM > 0) || !(t.LengthMM > 0) || !g.j.Kind.NeedsTenon() {
		h.TurnNMPerRad = g.bare(o)
		return
	}
	thick, wide, long := t.ThicknessMM*1e-3, t.WidthMM*1e-3, t.LengthMM*1e-3
	bend := e * wide * thick * thick * thick / 12 / long
	if g.j.Kind == DovetailedHousing {
		// A tail lies flat in the top of its stick: it is a hinge about that stick, and stiff in its own plane.
		bend = e * math.Min(thick, wide) * math.Pow(math.Max(thick, wide), 3) / 12 / long
		h.TurnNMPerRad = [3][2]float64{{turnSoft * bend / 4, turnStiff * bend / 4}, {turnSoft * bend, turnStiff * bend}, {}}
		return
	}
	// Shoulders that weight presses on steady the joint too.
	seat := g.seat(o, seatSoft, seatStiff)
	twist := e / 16 * math.Max(thick, wide) * math.Pow(math.Min(thick, wide), 3) / 3 / long
	h.TurnNMPerRad = [3][2]float64{{turnSoft * twist, turnStiff * twist}, {}, {turnSoft*bend + seat[0], turnStiff*bend + seat[1]}}
}

// seat is the range of stiffness of a shoulder against rocking over its width: shares of the k·b²/12 of all of it.
func (g grip) seat(o HoldSettings, softShare, stiffShare float64) [2]float64 {
	b := math.Min(g.j.Entering.WidthMM, g.j.Entering.DepthMM) * 1e-3
	soft := math.Min(1, g.bearing/standardShoulderMM2)
	return [2]float64{softShare * o.ShoulderNPerM[0] * soft * b * b / 12, stiffShare * o.ShoulderNPerM[1] * b * b / 12}
}

// bare is the turning stiffness of a joint without a tongue: what its seat bears over its width.
func (g grip) bare(o HoldSettings) [3][2]float64 {
	seat := g.seat(o, turnSoft, turnStiff)
	if g.j.Kind == Birdsmouth {
		// It turns freely about the plate that it sits on.
		return [3][2]float64{seat, seat, {}}
	}
	return [3][2]float64{seat, {}, seat}
}
