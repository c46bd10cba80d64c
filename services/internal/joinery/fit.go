package joinery

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

const (
	// LeastWoodMM is the least wood that must be left beside a mortise and below a blind one. It only tells a
	// mortise from a gash; good practice leaves a tenon's thickness.
	LeastWoodMM = 5
	// fitTolerance lets sizes that are meant to be equal differ by rounding.
	fitTolerance = 0.5
	// throughTolerance is how much shorter than its mortise a through tenon may be.
	throughTolerance = 25
	// scarfSquareness is the least |n·a| of a scarf: its halves run along one another.
	scarfSquareness = 0.9
)

// Misfit is why a joint cannot be cut.
type Misfit struct {
	// Field is the path within the joint, such as tenon.width_mm.
	Field string
	// Message is a sentence that says what to do.
	Message string
}

// Fit finds what keeps a joint from being cut: a slope too flat for the face, a tenon larger than the stick
// that carries it, a mortise that breaks out of the stick that receives it.
func Fit(j Joint) []Misfit {
	d := DirectionsOf(j)
	if m, flat := slope(j, d); flat {
		return []Misfit{m}
	}
	if j.Tenon == nil {
		return nil
	}
	return append(fitEntering(j, d), fitReceiving(j, d)...)
}

func slope(j Joint, d Directions) (Misfit, bool) {
	if j.End == Along || !j.Kind.sloped() {
		return Misfit{}, false
	}
	if j.Kind == Scarf && d.Squareness < scarfSquareness {
		return Misfit{"kind", fmt.Sprintf("The two timbers of the scarf stand at %.0f degrees to one another; a scarf joins timbers in one line, so choose another kind.",
			geom.Degrees(math.Acos(d.Squareness)))}, true
	}
	if d.Squareness < MinSquareness {
		return Misfit{"entering", "The entering timber runs along the face that it should enter; turn it, or join the two as a scarf."}, true
	}
	return Misfit{}, false
}

// fitEntering checks the tenon against the entering stick's outline in the plane of the shoulder.
func fitEntering(j Joint, d Directions) []Misfit {
	if j.End == Along {
		return nil
	}
	t := *j.Tenon
	var misfits []Misfit
	across := footprint(j.Entering, d, d.Thickness)
	if room := across/2 - math.Abs(t.ShoulderOffsetMM) - t.ThicknessMM/2; room < -fitTolerance {
		misfits = append(misfits, Misfit{"tenon.thickness_mm", fmt.Sprintf(
			"The tenon, %.4g mm thick and %.4g mm off centre, is outside the entering timber, which is %.4g mm there; make it thinner or move it.",
			t.ThicknessMM, t.ShoulderOffsetMM, across)})
	}
	if along := footprint(j.Entering, d, d.Width); t.WidthMM > along+fitTolerance {
		misfits = append(misfits, Misfit{"tenon.width_mm", fmt.Sprintf(
			"The tenon, %.4g mm wide, is wider than the entering timber's shoulder of %.4g mm; make it narrower.", t.WidthMM, along)})
	}
	return misfits
}

// footprint is how far the entering stick's outline in the plane of the shoulder reaches along u.
func footprint(s Stick, d Directions, u geom.Vec) float64 {
	a := s.Axes.Axis
	slant := func(v geom.Vec) float64 { // v moved along the axis into the plane
		return math.Abs(geom.Dot(u, v) - geom.Dot(u, a)*geom.Dot(d.N, v)/geom.Dot(d.N, a))
	}
	if d.Squareness < MinSquareness {
		return s.ExtentMM(u)
	}
	return s.WidthMM*slant(s.Axes.Width) + s.DepthMM*slant(s.Axes.Depth)
}

// fitReceiving checks the mortise against the receiving stick: cheeks, bottom and ends.
func fitReceiving(j Joint, d Directions) []Misfit {
	if j.Kind.PostBase() || j.Kind == KnifePlate {
		return nil
	}
	if j.Kind == Scarf {
		return fitScarf(j, d)
	}
	misfits := cheeks(j, d)
	misfits = append(misfits, bottom(j, d)...)
	if j.Kind.Mortised() || j.Kind == SlipTenon {
		misfits = append(misfits, relish(j, d)...)
	}
	return misfits
}

func cheeks(j Joint, d Directions) []Misfit {
	t, r := *j.Tenon, j.Receiving
	center := geom.Dot(geom.Sub(j.At, r.Start), d.Thickness)
	if j.End != Along {
		center += t.ShoulderOffsetMM
	}
	half := r.ExtentMM(d.Thickness) / 2
	plus, minus := half-center-t.ThicknessMM/2, half+center-t.ThicknessMM/2
	if j.Kind == DovetailedHousing || j.Kind == Lap {
		if geom.Dot(openFace(j), d.Thickness) > 0 {
			plus = minus
		}
		minus = plus
	}
	if least := math.Min(plus, minus); least < LeastWoodMM-fitTolerance {
		return []Misfit{{"tenon.thickness_mm", fmt.Sprintf(
			"The mortise leaves %.4g mm of the receiving timber beside it, at least %d mm are needed; make the tenon thinner, move it or use a larger timber.",
			least, LeastWoodMM)}}
	}
	return nil
}

func bottom(j Joint, d Directions) []Misfit {
	t, thick := *j.Tenon, j.Receiving.ExtentMM(d.N)
	if t.HousingDepthMM > thick/2 {
		return []Misfit{{"tenon.housing_depth_mm", fmt.Sprintf(
			"The housing, %.4g mm deep, takes more than half of the receiving timber's %.4g mm; make it shallower.", t.HousingDepthMM, thick)}}
	}
	depth, room := t.LengthMM+t.ClearanceMM, thick-LeastWoodMM
	switch {
	case j.Kind.Through() && t.LengthMM < thick-throughTolerance:
		return []Misfit{{"tenon.length_mm", fmt.Sprintf(
			"The through tenon, %.4g mm long, does not reach through the receiving timber's %.4g mm; make it longer or choose a blind mortise.", t.LengthMM, thick)}}
	case j.Kind.Through():
		return nil
	case j.Kind == ForkAndTongue:
		room = thick
	}
	if depth > room+fitTolerance {
		return []Misfit{{"tenon.length_mm", fmt.Sprintf(
			"The mortise, %.4g mm deep with its clearance, does not fit the receiving timber's %.4g mm; make the tenon shorter or choose a through mortise.", depth, thick)}}
	}
	return nil
}

func relish(j Joint, d Directions) []Misfit {
	t, r := *j.Tenon, j.Receiving
	at := geom.Dot(geom.Sub(j.At, r.Start), r.Axes.Axis)
	if at-t.WidthMM/2 < -fitTolerance || at+t.WidthMM/2 > r.ShoulderMM()+fitTolerance {
		return []Misfit{{"tenon.width_mm", fmt.Sprintf(
			"The mortise, %.4g mm wide and %.4g mm from the receiving timber's start, runs out of its end; make the tenon narrower or move it in.", t.WidthMM, at)}}
	}
	return nil
}

func fitScarf(j Joint, d Directions) []Misfit {
	t, r := *j.Tenon, j.Receiving
	if t.LengthMM > r.ShoulderMM() {
		return []Misfit{{"tenon.length_mm", fmt.Sprintf(
			"The scarf, %.4g mm long, is longer than the receiving timber; make it shorter.", t.LengthMM)}}
	}
	if t.ThicknessMM > r.ExtentMM(d.Thickness)+fitTolerance || t.WidthMM > r.ExtentMM(d.Width)+fitTolerance {
		return []Misfit{{"tenon.thickness_mm", "The scarf's lap is larger than the receiving timber's section; make it smaller."}}
	}
	return nil
}
