package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/wood"
)

// standardPegMM is the diameter that the settings of pegs are given for.
const standardPegMM = 25.4

// HoldSettings are what joints are reckoned with. Hardly anything of it was read in a standard; whoever relies on a
// joint must confirm it. See DefaultHold.
type HoldSettings struct {
	// PegHoldsN is what one peg of 25.4 mm holds in double shear, allowable for normal duration; other pegs by the square of
	// their diameter. It is meant for a red-oak peg in white pine: lighter woods and thin tenons hold less by the quotient
	// of their PegN, heavier ones no more.
	PegHoldsN float64
	// PegNPerM are the soft and the stiff end of the range of one such peg's stiffness; other pegs by the power
	// 1.5 of their diameter, as the slip modulus of dowels goes.
	PegNPerM [2]float64
	// ShoulderNPerM are those of a joint that is pushed home on its shoulders; the soft end goes with the bearing area where that
	// is less than 200 mm square.
	ShoulderNPerM [2]float64
	// SteelHoldsN and SteelNPerM are what a plate or steel connection of unknown make holds, and gives.
	SteelHoldsN float64
	SteelNPerM  [2]float64
}

// DefaultHold are the settings, all from memory and at the low end of what was found: a red-oak peg in white pine holds
// 3.0 kN; its stiffness of 2 to 5 kN/mm is known by its order only and is run at half and at twice; shoulders at 50 and at
// 200 kN/mm.
func DefaultHold() HoldSettings {
	return HoldSettings{
		PegHoldsN: 3000, PegNPerM: [2]float64{1e6, 10e6}, ShoulderNPerM: [2]float64{50e6, 200e6},
		SteelHoldsN: 5000, SteelNPerM: [2]float64{5e6, 50e6},
	}
}

// HoldWood are the woods that meet.
type HoldWood struct {
	Entering, Receiving wood.Design
}

// Hold is what a joint holds and how far it gives, along the entering stick and across it, with its pegs, wedges or bolts
// in. Without them PullN is nothing, whatever it says here.
type Hold struct {
	// PullN, PushN and ShearN are allowable for normal duration, in newtons: drawing the entering stick out along its axis,
	// pushing it home, and moving it across its axis in the direction in which it holds least. A joint that holds
	// nothing has 0.
	PullN, PushN, ShearN float64
	// PullBy, PushBy and ShearBy say what governs each, in words.
	PullBy, PushBy, ShearBy string
	// PullNPerM, PushNPerM and ShearNPerM are the soft and the stiff end of the range of stiffness; PullNPerM is 0 where
	// nothing pulls.
	PullNPerM, PushNPerM, ShearNPerM [2]float64
	// TurnNMPerRad are the ranges about the entering stick's axis, about the peg (the tenon's thickness direction) and about the
	// tenon's width direction; 0 is a hinge.
	TurnNMPerRad [3][2]float64
	Status       wood.Status
	Source       string
}

// pegged reports whether something is driven that keeps the joint from being drawn apart.
func (j Joint) pegged() bool { return j.Pegs != nil && j.Pegs.Count > 0 }

// HoldOf gives what a joint holds.
//
// Pull: pegs in double shear, limited by the wood of the tenon behind them, 2·t·e·Fv for each with e the distance to the
// tenon's end, and by the tenon beside them, t·(w − Σd)·Ft; a lap and a halved scarf have their pegs in single shear, half;
// a loose tongue has half of its pegs on either side; a wedged tenon without pegs holds like one peg. Open seats, dovetails and
// joints without pegs do not pull: shrinkage loosens a tail; nor does a lap of sticks that cross, whose pegs lie along the way
// that it opens.
//
// Push: on the shoulder less the mortise, across the receiving grain, n·F = Fc⊥·A, and what runs along the receiving
// stick on the tenon's edge or the housing's wall by Hankinson's formula; a stick on the deck on its end grain but no more than
// the deck bears, taken as 2.9 MPa across the grain.
//
// Shear: the tenon, 2/3·Fv·t·w, or its bearing, plus a housing's wall. Turning: a hinge about the peg; about the tenon's
// width and the stick's axis a twentieth to a half of the bare tenon's own stiffness, and about the width a quarter
// to all of the shoulder's that rocks on the face entered.
//
// Source: common practice and memory throughout; frame tests found joints to be pins.
func HoldOf(j Joint, w HoldWood, o HoldSettings) Hold {
	h := Hold{Status: wood.FromMemory, Source: "remembered range of tests and a remembered peg model; confirm it"}
	g := gripOf(j, w)
	h.pull(g, o)
	h.push(g, o)
	h.shear(g, o)
	h.stiffen(g, o)
	return h
}

// grip is a joint measured for what it holds.
type grip struct {
	j    Joint
	w    HoldWood
	d    Directions
	t    Tenon
	area float64 // of the entering section, mm²
	// bearing is the shoulder that bears on the face entered, mm².
	bearing float64
}

func gripOf(j Joint, w HoldWood) grip {
	g := grip{j: j, w: w, d: DirectionsOf(j), area: j.Entering.AreaMM2()}
	if j.Tenon != nil {
		g.t = *j.Tenon
	}
	across := footprint(j.Entering, g.d, g.d.Thickness)
	if !j.Kind.PostBase() {
		across = math.Min(across, j.Receiving.ExtentMM(g.d.Thickness))
	}
	along := footprint(j.Entering, g.d, g.d.Width)
	g.bearing = across * along
	switch j.Kind {
	case Scarf, Lap:
		g.bearing = g.area / 2
	case Birdsmouth:
		// A seat is cut a third of the depth deep; what it bears on is not in the frame.
		g.bearing = j.Entering.WidthMM * j.Entering.DepthMM / 3
	default:
		g.bearing -= g.t.ThicknessMM * g.t.WidthMM
	}
	// What is left beside a tenon that fills its stick.
	g.bearing = math.Max(g.bearing, 0.05*g.area)
	return g
}

// PegN is what one peg holds in double shear, in newtons, allowable for normal duration, by the yield modes of the peg model of
// the timber frame standard, all remembered: bearing in the tenon and in the cheeks, the peg bent, and the peg sheared through
//
//	V: π·D²·Fvy/(2·3.5),  Fvy = 4850·Gp·Gt^0.75 psi
//	Im: D·lm·Fe/4,  Is: 2·D·ls·Fe/4,  Fe = the lesser of 4770·Gp^1.32 and 4900·Gp·√Gt psi
//
// with gravities of peg and timber on oven-dry weight and volume, lm the tenon's thickness and ls one cheek's.
func PegN(diameterMM, tenonMM, cheekMM, pegGravity, timberGravity float64) float64 {
	const psi, inch = 6894.757293168361, 25.4e-3
	d, lm, ls := diameterMM/25.4, tenonMM/25.4, cheekMM/25.4
	v := math.Pi * d * d * 4850 * pegGravity * math.Pow(timberGravity, 0.75) / (2 * 3.5)
	fe := math.Min(4770*math.Pow(pegGravity, 1.32), 4900*pegGravity*math.Sqrt(timberGravity))
	return math.Min(v, math.Min(d*lm*fe/4, 2*d*ls*fe/4)) * psi * inch * inch
}

// Specific gravities of the woods that PegHoldsN is meant for, and that of pegs of a wood that is not known, the least that
// pegs are made of.
const (
	meantPegGravity    = 0.68
	meantTimberGravity = 0.36
	leastPegGravity    = 0.57
)

// pegN is what one peg of the joint holds.
func (g grip) pegN(o HoldSettings) float64 {
	p := g.j.Pegs
	gravity := leastPegGravity
	if s, ok := wood.Lookup(p.Wood); ok {
		gravity = s.DryGravity
	}
	tenon := g.t.ThicknessMM
	if tenon <= 0 {
		tenon = g.j.Entering.ExtentMM(g.d.Thickness) / 3
	}
	cheek := math.Max((g.j.Receiving.ExtentMM(g.d.Thickness)-tenon)/2, LeastWoodMM)
	have := PegN(p.DiameterMM, tenon, cheek, gravity, math.Min(g.w.Entering.Gravity, g.w.Receiving.Gravity))
	// Sturdy enough on both sides that the peg itself gives way.
	sturdy := 4 * p.DiameterMM
	meant := PegN(p.DiameterMM, sturdy, sturdy, meantPegGravity, meantTimberGravity)
	r := p.DiameterMM / standardPegMM
	return o.PegHoldsN * r * r * math.Min(1, have/meant)
}

func (h *Hold) pull(g grip, o HoldSettings) {
	k := g.j.Kind
	switch {
	case k == Birdsmouth, k == SteppedFoot, k == DovetailedHousing, k == PostBaseBearing, k == PostBaseDowelled:
		h.PullBy = "nothing: the joint only bears"
		return
	case k == Lap && g.j.End == Along:
		h.PullBy = "nothing: pegs lie along the way that it opens"
		return
	case k == KnifePlate, k == SteelConnection, k == PostBaseKnifePlate:
		h.PullN, h.PullBy = o.SteelHoldsN, "a steel connection of unknown make"
		return
	case k == WedgedMortiseAndTenon && !g.j.pegged():
		h.PullN, h.PullBy = o.PegHoldsN, "wedges, taken as one peg"
		h.limitByTenon(g, 0)
		return
	case !g.j.pegged():
		h.PullBy = "nothing: it has no pegs"
		return
	}
	n := float64(g.j.Pegs.Count)
	h.PullN, h.PullBy = n*g.pegN(o), "pegs in double shear"
	switch k {
	case Lap:
		h.PullN, h.PullBy = h.PullN/2, "pegs in single shear"
	case SlipTenon:
		n = math.Floor(n / 2)
		h.PullN, h.PullBy = n*g.pegN(o), "half of the pegs, in double shear"
	case Scarf:
		if g.j.Scarf != ScarfEndwise {
			h.PullN, h.PullBy = h.PullN/2, "pegs in single shear"
		}
		// Tension in a scarf: the low end of the remembered share of the solid stick.
		if solid := 0.2 * g.w.Entering.Ft * g.area * 1e-6; solid < h.PullN {
			h.PullN, h.PullBy = solid, "the scarf, a fifth of the solid stick"
		}
	}
	h.limitByTenon(g, n)
}

// limitByTenon lowers the pull to what the tenon bears behind and beside n pegs.
func (h *Hold) limitByTenon(g grip, n float64) {
	t := g.t
	if !(t.ThicknessMM > 0) || g.j.Kind == Scarf || g.j.Kind == Lap {
		return
	}
	pegMM := 0.0
	if n > 0 {
		p := g.j.Pegs
		pegMM = p.DiameterMM
		end := math.Max(0, t.LengthMM-p.FromShoulderMM)
		if relish := n * 2 * t.ThicknessMM * end * 1e-6 * g.w.Entering.Fv; relish < h.PullN {
			h.PullN, h.PullBy = relish, "the tenon sheared out behind its pegs"
		}
	}
	if net := t.ThicknessMM * math.Max(0, t.WidthMM-n*pegMM) * 1e-6 * g.w.Entering.Ft; net < h.PullN {
		h.PullN, h.PullBy = net, "the tenon torn beside its pegs"
	}
}
