package standing

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// strength is what the joints and sticks of a frame bear.
type strength struct {
	bonds   []bond
	designs []wood.Design
	// long is the length of each stick in metres.
	long []float64
}

// bond is what a joint bears.
type bond struct {
	hold joinery.Hold
	// open is how far it may open when nothing pulls it together, in metres.
	open float64
	// turn is what its tongue bears in bending across its thickness, Fb·w·t²/6 in N·m, 0 without a tongue, and lever half the
	// shoulder across it, in metres, about which pegs and weight keep it shut. Both are 0 where that is not checked: at the deck, at
	// seats, which at the soft end hardly hold and are let down by sway first, and at knee braces and struts, which work along their axes and whose tenons are bent only by being dragged along.
	turn, lever float64
	// twist is what its tenon bears in torsion, Fv·a·c²/(3 + 1.8·c/a) in N·m; 0 where that is not checked.
	twist float64
}

// openSeatM is how far a seat without a tenon may open, in metres: common practice, the play at which it is walked back.
const openSeatM = 0.010

// tenonShare is the share of a tenon's length that a joint may open before it counts as pulled apart: a third still
// guides it, and the wedge of a draw-bore still catches. Common practice.
const tenonShare = 1.0 / 3

// shoulderShare is how much of half the shoulder counts as lever: the edge itself crushes.
const shoulderShare = 0.8

func strengthOf(f *frame.Frame, r Rules) (*strength, error) {
	s := &strength{}
	for _, t := range f.Timbers() {
		d, err := wood.DesignOf(t.Species, t.Grade, t.WidthMM, t.DepthMM, t.MoisturePercent)
		if err != nil {
			return nil, &statics.InputError{Piece: t.Mark, Problem: err.Error()}
		}
		s.designs = append(s.designs, d)
		s.long = append(s.long, geom.Dist(t.Start, t.End)/1000)
	}
	o := joinery.DefaultHold()
	o.PegHoldsN = r.PegHoldsN
	for j := range f.Joints() {
		entering, receiving := f.Ends(j)
		woods := joinery.HoldWood{Entering: s.designs[entering], Receiving: s.designs[entering]}
		if receiving >= 0 {
			woods.Receiving = s.designs[receiving]
		}
		joint := f.Joinery(j)
		b := bond{hold: joinery.HoldOf(joint, woods, o), open: openSeatM}
		if t := joint.Tenon; t != nil && t.ThicknessMM > 0 && t.LengthMM > 0 && joint.Kind != joinery.DovetailedHousing && !joint.Kind.PostBase() {
			b.open = t.LengthMM * tenonShare / 1000
		}
		if role := f.Timbers()[entering].Role; receiving >= 0 && role != frame.RoleKneeBrace && role != frame.RoleStrut {
			b.bends(joint, woods.Entering)
		}
		s.bonds = append(s.bonds, b)
	}
	return s, nil
}

// bends fills in what a joint between two sticks bears in bending. A tail is bent in its own plane; a scarf that says nothing of
// its laps has halves.
func (b *bond) bends(j joinery.Joint, d wood.Design) {
	fb := d.Fb
	b.lever = shoulderShare * j.Entering.ExtentMM(joinery.DirectionsOf(j).Thickness) / 2000
	t := j.Tenon
	switch {
	case t != nil && t.ThicknessMM > 0 && j.Kind == joinery.DovetailedHousing:
		thin, wide := math.Min(t.ThicknessMM, t.WidthMM), math.Max(t.ThicknessMM, t.WidthMM)
		b.turn = fb * thin * wide * wide / 6 * 1e-9
	case t != nil && t.ThicknessMM > 0:
		thin, wide := math.Min(t.ThicknessMM, t.WidthMM), math.Max(t.ThicknessMM, t.WidthMM)
		b.twist = d.Fv * wide * thin * thin / (3 + 1.8*thin/wide) * 1e-9
		b.turn = fb * t.WidthMM * t.ThicknessMM * t.ThicknessMM / 6 * 1e-9
	case j.Kind == joinery.Scarf:
		thin, wide := math.Min(j.Entering.WidthMM, j.Entering.DepthMM), math.Max(j.Entering.WidthMM, j.Entering.DepthMM)
		b.turn = fb * wide * thin * thin / 24 * 1e-9
	}
}
