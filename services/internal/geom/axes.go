package geom

import "math"

// plumbSine is the sine of the slope from plumb below which a stick counts as plumb: far under any
// slope that is built, far over the rounding of coordinates given in millimetres.
const plumbSine = 1e-6

// Axes are the orthonormal, right-handed directions of a stick: along it, across its width and
// across its depth; Axis × Width = Depth.
type Axes struct {
	Axis, Width, Depth Vec
}

// AxesOf gives the axes of a stick from start to end. With roll 0 the depth points as far up as
// the axis lets it; for a plumb stick it points along +Y. Width = Depth × Axis. The roll turns width
// and depth about the axis by the right-hand rule, in degrees. When start and end coincide the
// axes are zero.
func AxesOf(start, end Vec, rollDeg float64) Axes {
	a := Unit(Sub(end, start))
	if a == (Vec{}) {
		return Axes{}
	}
	towards := Vec{Y: 1}
	if math.Hypot(a.X, a.Y) > plumbSine {
		towards = Vec{Z: 1}
	}
	width := Unit(Cross(towards, a)) // first, since it stays exact for a stick that is nearly plumb
	depth := Cross(a, width)
	if rollDeg == 0 {
		return Axes{Axis: a, Width: width, Depth: depth}
	}
	s, c := math.Sincos(Radians(math.Mod(rollDeg, 360)))
	return Axes{
		Axis:  a,
		Width: Add(Scale(c, width), Scale(s, depth)),
		Depth: Sub(Scale(c, depth), Scale(s, width)),
	}
}

// Local gives the components of v along axis, width and depth.
func (x Axes) Local(v Vec) (along, width, depth float64) {
	return Dot(v, x.Axis), Dot(v, x.Width), Dot(v, x.Depth)
}

// Extent is how far a section of the given width and depth reaches along the direction u, over
// both sides of its centre.
func (x Axes) Extent(widthMM, depthMM float64, u Vec) float64 {
	return widthMM*math.Abs(Dot(u, x.Width)) + depthMM*math.Abs(Dot(u, x.Depth))
}
