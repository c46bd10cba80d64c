package sling

import (
	"errors"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The reasons for which a load cannot hang from two points.
var (
	// ErrRoll says that the center of gravity does not lie below the line through the two points, so
	// that the load could roll over about that line.
	ErrRoll = errors.New("the center of gravity does not lie below the line between the two points: the load could roll over")
	// ErrShort says that the legs do not reach from both points to one hook.
	ErrShort = errors.New("the legs are too short to reach one hook from both points")
)

// Hanging is how a load hangs from one hook by two legs.
type Hanging struct {
	// One and Two place the points relative to the hook, as the load hangs.
	One, Two Leg
	// DepthMM is how far the center of gravity lies below the line through the two points.
	DepthMM float64
	// HookOverCenterMM is the height of the hook over the center of gravity.
	HookOverCenterMM float64
	// Hook is where the hook is in the axes in which the load was described.
	Hook geom.Vec
	// AlongDeg is how far the load hangs out of the attitude in which it was described, turned in the
	// upright plane through the two points, in degrees.
	AlongDeg float64
	// AcrossDeg is how far it leans out of that plane, in degrees.
	AcrossDeg float64
}

// Hang finds how a load comes to rest. The load is described by its two points and its center of
// gravity as it is meant to hang (Z up); each leg has a length of its own.
//
// The load turns freely about the line through its points until the center of gravity is under that
// line, and with the hook until the center of gravity is plumb under the hook. With s between the
// points, x along the line from the first point, d the depth of the center of gravity below the line:
//
//	x_hook = (L1² − L2² + s²) / 2s    H = √(L1² − x_hook²)    tilt = atan((x_hook − x_g) / (H + d))
//
// It is statics of a rigid body on weightless legs. Errors: ErrRoll, ErrShort, ErrPush.
func Hang(one, two, center geom.Vec, legOneMM, legTwoMM float64) (Hanging, error) {
	span := geom.Dist(one, two)
	if !(span > 0) {
		return Hanging{}, ErrShort
	}
	along := geom.Unit(geom.Sub(two, one))
	toCenter := geom.Sub(center, one)
	xCenter := geom.Dot(toCenter, along)
	drop := geom.Sub(toCenter, geom.Scale(xCenter, along))
	depth := geom.Norm(drop)
	if !(depth > 0) || drop.Z >= 0 {
		return Hanging{}, ErrRoll
	}
	xHook := (legOneMM*legOneMM - legTwoMM*legTwoMM + span*span) / (2 * span)
	square := legOneMM*legOneMM - xHook*xHook
	if !(square > 0) {
		return Hanging{}, ErrShort
	}
	height := math.Sqrt(square)
	// Plumb, as (along the line, away from the center of gravity), in the load's own axes.
	length := math.Hypot(xHook-xCenter, height+depth)
	px, py := (xHook-xCenter)/length, (height+depth)/length
	leg := func(x, side float64) Leg {
		dx, dy := x-xHook, -height
		return Leg{RunMM: side * (dx*py - dy*px), RiseMM: -(dx*px + dy*py)}
	}
	h := Hanging{One: leg(0, -1), Two: leg(span, 1), DepthMM: depth, HookOverCenterMM: length}
	h.Hook = geom.Along(geom.Along(one, xHook, along), -height/depth, drop)
	if h.One.RunMM < 0 || h.Two.RunMM < 0 {
		return Hanging{}, ErrPush
	}
	plumb := geom.Add(geom.Scale(px, along), geom.Scale(-py/depth, drop))
	level := geom.V(along.X, along.Y, 0)
	if geom.Norm(level) == 0 {
		return Hanging{}, ErrPush
	}
	level = geom.Unit(level)
	h.AlongDeg = math.Abs(math.Atan2(geom.Dot(plumb, level), plumb.Z)) * 180 / math.Pi
	across := geom.Dot(plumb, geom.Cross(level, geom.V(0, 0, 1)))
	h.AcrossDeg = math.Abs(math.Asin(max(-1, min(1, across)))) * 180 / math.Pi
	return h, nil
}
