package geom

import "math"

// Motion is a rigid motion: a turn followed by a shift. The zero Motion is not a motion; start from
// Still, Shift or Turn.
type Motion struct {
	// x, y, z are the images of the axes; shift is the image of the origin.
	x, y, z Vec
	shift   Vec
}

// Still moves nothing.
func Still() Motion { return Motion{x: Vec{X: 1}, y: Vec{Y: 1}, z: Vec{Z: 1}} }

// Shift moves everything by v.
func Shift(v Vec) Motion {
	m := Still()
	m.shift = v
	return m
}

// Turn rotates about the line through point along axis by deg degrees, by the right-hand rule. A
// zero axis turns nothing.
func Turn(point, axis Vec, deg float64) Motion {
	u := Unit(axis)
	if u == (Vec{}) {
		return Still()
	}
	s, c := math.Sincos(Radians(deg))
	turn := func(v Vec) Vec { // Rodrigues
		return Add(Add(Scale(c, v), Scale(s, Cross(u, v))), Scale(Dot(u, v)*(1-c), u))
	}
	m := Motion{x: turn(Vec{X: 1}), y: turn(Vec{Y: 1}), z: turn(Vec{Z: 1})}
	m.shift = Sub(point, m.Direction(point))
	return m
}

// Point is where p comes to lie.
func (m Motion) Point(p Vec) Vec { return Add(m.shift, m.Direction(p)) }

// Direction is how the direction d comes to point.
func (m Motion) Direction(d Vec) Vec {
	return Add(Add(Scale(d.X, m.x), Scale(d.Y, m.y)), Scale(d.Z, m.z))
}

// Axes are how the axes of a stick come to point.
func (m Motion) Axes(a Axes) Axes {
	return Axes{Axis: m.Direction(a.Axis), Width: m.Direction(a.Width), Depth: m.Direction(a.Depth)}
}

// Then is this motion followed by next.
func (m Motion) Then(next Motion) Motion {
	return Motion{
		x: next.Direction(m.x), y: next.Direction(m.y), z: next.Direction(m.z),
		shift: next.Point(m.shift),
	}
}

// Inverse undoes the motion.
func (m Motion) Inverse() Motion {
	inv := Motion{
		x: Vec{X: m.x.X, Y: m.y.X, Z: m.z.X},
		y: Vec{X: m.x.Y, Y: m.y.Y, Z: m.z.Y},
		z: Vec{X: m.x.Z, Y: m.y.Z, Z: m.z.Z},
	}
	inv.shift = Scale(-1, inv.Direction(m.shift))
	return inv
}
