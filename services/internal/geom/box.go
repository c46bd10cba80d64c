package geom

import "math"

// Box is an axis-parallel box. The zero value is the point at the origin; EmptyBox holds nothing.
type Box struct {
	Min, Max Vec
}

// EmptyBox holds no point; adding points makes it grow.
func EmptyBox() Box {
	inf := math.Inf(1)
	return Box{Min: Vec{X: inf, Y: inf, Z: inf}, Max: Vec{X: -inf, Y: -inf, Z: -inf}}
}

// BoxOf is the smallest box around the points.
func BoxOf(points ...Vec) Box {
	b := EmptyBox()
	for _, p := range points {
		b = b.With(p)
	}
	return b
}

// Empty reports whether the box holds no point.
func (b Box) Empty() bool { return b.Min.X > b.Max.X || b.Min.Y > b.Max.Y || b.Min.Z > b.Max.Z }

// With is the box grown to hold p.
func (b Box) With(p Vec) Box {
	return Box{
		Min: Vec{X: math.Min(b.Min.X, p.X), Y: math.Min(b.Min.Y, p.Y), Z: math.Min(b.Min.Z, p.Z)},
		Max: Vec{X: math.Max(b.Max.X, p.X), Y: math.Max(b.Max.Y, p.Y), Z: math.Max(b.Max.Z, p.Z)},
	}
}

// Union is the smallest box around both.
func (b Box) Union(o Box) Box {
	if o.Empty() {
		return b
	}
	return b.With(o.Min).With(o.Max)
}

// Grow moves every side outwards by d millimetres, inwards when d is negative.
func (b Box) Grow(d float64) Box {
	g := Vec{X: d, Y: d, Z: d}
	return Box{Min: Sub(b.Min, g), Max: Add(b.Max, g)}
}

// Overlaps reports whether the boxes share a point.
func (b Box) Overlaps(o Box) bool {
	return b.Min.X <= o.Max.X && o.Min.X <= b.Max.X &&
		b.Min.Y <= o.Max.Y && o.Min.Y <= b.Max.Y &&
		b.Min.Z <= o.Max.Z && o.Min.Z <= b.Max.Z
}

// Contains reports whether p lies in the box or on its sides.
func (b Box) Contains(p Vec) bool {
	return p.X >= b.Min.X && p.X <= b.Max.X && p.Y >= b.Min.Y && p.Y <= b.Max.Y &&
		p.Z >= b.Min.Z && p.Z <= b.Max.Z
}

// Center is the middle of the box.
func (b Box) Center() Vec { return Mid(b.Min, b.Max) }

// Size is the extent of the box along X, Y and Z.
func (b Box) Size() Vec { return Sub(b.Max, b.Min) }
