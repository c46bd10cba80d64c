package joinery

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// MinSquareness is the least |n·a| at which a sloped shoulder can be cut: some 3 degrees between the
// stick and the face.
const MinSquareness = 0.05

// Lump is a volume with its centroid; negative when it is taken away.
type Lump struct {
	VolumeMM3 float64
	Centroid  geom.Vec
}

// Effect is what a joint does to the measure of the two sticks.
type Effect struct {
	// ExtensionMM is how far the entering stick reaches beyond its shoulder point, along its axis.
	ExtensionMM float64
	// Entering is what the entering stick has beyond or less than its shoulder-to-shoulder prism: the let-in end,
	// then the tenon or, negative, the kerf, the dowel's hole or the notch.
	Entering [2]Lump
	// Receiving is what the receiving stick loses, negative: the housing, then the mortise.
	Receiving [2]Lump
}

// RemovedMM3 is the volume that the joint takes from the receiving stick, positive:
//
//	housing  W·D·h / |n·a|           W, D section of the entering stick, h housing depth
//	mortise  t·w·(L − h + c)         t thickness, w width, L length, c clearance of the tenon
//	through  t·w·(T − h)             T the receiving section's extent along n
//
// A fork counts like a blind mortise of its tongue, a dovetail like one of its tail; a lap along the
// entering stick takes t·w·L from both. A birdsmouth, a slip tenon (its tongue fills the
// mortises), a knife plate, a steel connection and a post base take nothing from it.
func RemovedMM3(j Joint) float64 {
	e := Measure(j)
	return -(e.Receiving[0].VolumeMM3 + e.Receiving[1].VolumeMM3)
}

// Measure gives the effect of a joint. Beyond its shoulder point a stick reaches
//
//	e = max( (W/2·|n·w| + D/2·|n·d| + h) / |n·a|,  L·|n·a| + w/2·|t·a| )
//
// with w, d its width and depth directions: the long point of the sloped shoulder with the let-in end, or
// the tip of the tenon, whichever is longer; for a slip tenon, a knife plate and a steel connection only
// the first. A post base, a birdsmouth and a joint along the stick leave it square at its point: e = 0.
// The entering stick gains W·D·h/|n·a| and t·w·(L − h), and loses t·w·L for the kerf of a knife plate and
// for the dowel or plate of a post base with a tenon of that size. Source: plane geometry; the prism
// between the points is exact for any slope, since the centre line ends in the shoulder plane.
func Measure(j Joint) Effect {
	d := DirectionsOf(j)
	var t Tenon
	if j.Tenon != nil {
		t = *j.Tenon
	}
	if j.End == Along || j.Kind.PostBase() || j.Kind == Birdsmouth {
		return unsloped(j, d, t)
	}
	s := j.Entering
	c := math.Max(d.Squareness, MinSquareness)
	effect := Effect{ExtensionMM: (s.ExtentMM(d.N)/2 + t.HousingDepthMM) / c}
	place := j.Place()
	sized := t.ThicknessMM * t.WidthMM
	letIn := s.AreaMM2() * t.HousingDepthMM / c
	effect.Entering[0] = Lump{letIn, geom.Along(place, t.HousingDepthMM/(2*c), d.Out)}
	effect.Receiving[0] = Lump{-letIn, geom.Along(j.At, t.HousingDepthMM/(2*c), d.Out)}
	if j.Kind.projects() {
		tip := t.LengthMM*d.Squareness + t.WidthMM/2*math.Abs(geom.Dot(d.Width, s.Axes.Axis))
		if j.Tenon != nil {
			effect.ExtensionMM = math.Max(effect.ExtensionMM, tip)
		}
		effect.Entering[1] = Lump{sized * (t.LengthMM - t.HousingDepthMM), inside(place, d, t, t.LengthMM)}
		bottom := t.LengthMM + t.ClearanceMM
		if j.Kind.Through() {
			bottom = j.Receiving.ExtentMM(d.N)
		}
		effect.Receiving[1] = Lump{-sized * (bottom - t.HousingDepthMM), inside(j.At, d, t, bottom)}
	}
	if j.Kind == KnifePlate {
		effect.Entering[1] = Lump{-sized * t.LengthMM, geom.Along(place, t.LengthMM/2, d.N)}
	}
	return effect
}

// unsloped measures the joints that leave the stick square at its point.
func unsloped(j Joint, d Directions, t Tenon) Effect {
	volume := t.ThicknessMM * t.WidthMM * t.LengthMM
	var effect Effect
	switch {
	case j.Kind == Lap:
		effect.Entering[1] = Lump{-volume, j.At}
		effect.Receiving[1] = Lump{-volume, j.At}
	case j.Kind.PostBase():
		effect.Entering[1] = Lump{-volume, geom.Along(j.Place(), t.LengthMM/2, d.N)}
	}
	return effect
}

// inside is the middle of what lies between the bottom of the housing and the given depth below the
// face entered.
func inside(p geom.Vec, d Directions, t Tenon, depth float64) geom.Vec {
	return geom.Along(geom.Along(p, -(t.HousingDepthMM+depth)/2, d.N), t.ShoulderOffsetMM, d.Thickness)
}

// Tongue gives the eight corners of the tenon, tongue or tail that the entering stick carries, from the
// bottom of the housing to its tip; false when it carries none. The first four lie at the shoulder,
// the last four at the tip, in the same order round.
func Tongue(j Joint) ([8]geom.Vec, bool) {
	var corners [8]geom.Vec
	if j.Tenon == nil || !j.Kind.projects() || j.End == Along {
		return corners, false
	}
	d, t := DirectionsOf(j), *j.Tenon
	middle := geom.Along(j.Place(), t.ShoulderOffsetMM, d.Thickness)
	for i, depth := range [2]float64{t.HousingDepthMM, t.LengthMM} {
		p := geom.Along(middle, -depth, d.N)
		for k, s := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
			corners[4*i+k] = geom.Along(geom.Along(p, s[0]*t.WidthMM/2, d.Width), s[1]*t.ThicknessMM/2, d.Thickness)
		}
	}
	return corners, true
}

// Shoulder is the plane that cuts the entering stick's end: a point on it and its normal, the let-in
// end included; false where the end is square at its point.
func Shoulder(j Joint) (point, normal geom.Vec, ok bool) {
	if j.End == Along || !j.Kind.sloped() {
		return geom.Vec{}, geom.Vec{}, false
	}
	d := DirectionsOf(j)
	depth := 0.0
	if j.Tenon != nil {
		depth = j.Tenon.HousingDepthMM
	}
	return geom.Along(j.Place(), depth/math.Max(d.Squareness, MinSquareness), d.Out), d.N, true
}
