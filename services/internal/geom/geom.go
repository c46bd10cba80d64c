// Package geom holds points, directions, boxes, rigid motions and plane polygons: a thin skin on
// gonum's spatial/r3. Lengths are millimetres, angles degrees, axes right-handed with Z up.
package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Vec is a point or a direction.
type Vec = r3.Vec

// Up is the unit direction of Z.
func Up() Vec { return Vec{Z: 1} }

// V makes a Vec.
func V(x, y, z float64) Vec { return Vec{X: x, Y: y, Z: z} }

// Add is a + b.
func Add(a, b Vec) Vec { return r3.Add(a, b) }

// Sub is a − b.
func Sub(a, b Vec) Vec { return r3.Sub(a, b) }

// Scale is f·a.
func Scale(f float64, a Vec) Vec { return r3.Scale(f, a) }

// Along is the point that lies f from p in direction d.
func Along(p Vec, f float64, d Vec) Vec { return r3.Add(p, r3.Scale(f, d)) }

// Dot is the scalar product.
func Dot(a, b Vec) float64 { return r3.Dot(a, b) }

// Cross is the vector product.
func Cross(a, b Vec) Vec { return r3.Cross(a, b) }

// Norm is the length of a. Coordinates of a building square without overflow, so the slower guarded
// form is not needed.
func Norm(a Vec) float64 { return math.Sqrt(r3.Dot(a, a)) }

// Dist is the distance between a and b.
func Dist(a, b Vec) float64 { return Norm(r3.Sub(a, b)) }

// Unit is a scaled to length 1. The zero vector has no direction and stays zero.
func Unit(a Vec) Vec {
	n := Norm(a)
	if n == 0 {
		return Vec{}
	}
	return r3.Scale(1/n, a)
}

// Mid is the point half-way between a and b.
func Mid(a, b Vec) Vec { return r3.Scale(0.5, r3.Add(a, b)) }

// Finite reports whether no coordinate is infinite or not a number.
func Finite(a Vec) bool {
	return finite(a.X) && finite(a.Y) && finite(a.Z)
}

func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

// AngleDeg is the angle between two directions in degrees, 0 to 180. It keeps its accuracy for
// nearly parallel directions, where the arc cosine would not.
func AngleDeg(a, b Vec) float64 {
	return math.Atan2(Norm(Cross(a, b)), Dot(a, b)) * 180 / math.Pi
}

// Radians turns degrees into radians.
func Radians(deg float64) float64 { return deg * math.Pi / 180 }

// Degrees turns radians into degrees.
func Degrees(rad float64) float64 { return rad * 180 / math.Pi }
