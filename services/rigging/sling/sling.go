// Package sling holds the statics of two sling legs under one hook: what each leg carries, at what
// angle, and how a load turns until its center of gravity hangs plumb under the hook. Angles of legs
// are from level, as the printed tables of sling makers in the trade have them. Lengths may be in any
// unit as long as all of them are in the same one; the names say millimetres, as the program uses them.
package sling

import (
	"errors"
	"math"
)

// StandardGravity turns kilograms into newtons, in metres per second squared.
const StandardGravity = 9.80665

// The reasons for which two legs cannot carry a load.
var (
	// ErrWeight says that the weight is not a positive finite number.
	ErrWeight = errors.New("the weight is not known: it has to be above 0")
	// ErrRise says that a leg does not rise from the load to the hook.
	ErrRise = errors.New("the hook has to be above both points")
	// ErrPush says that the plumb line through the hook falls outside the two points, so that one of
	// the legs would have to push; a sling cannot.
	ErrPush = errors.New("the center of gravity does not lie between the two points: one leg would have to push")
	// ErrSplit says that both points lie plumb under the hook, so that nothing divides the load.
	ErrSplit = errors.New("both points lie plumb under the hook: how they share the load cannot be told")
)

// Leg places one point of a bridle relative to a hook that is plumb over the center of gravity.
type Leg struct {
	// RunMM is the level distance from the plumb line through the hook to the point, towards the
	// point's own side; negative when the point lies on the other leg's side.
	RunMM float64
	// RiseMM is the height of the hook over the point.
	RiseMM float64
}

// LengthMM is the length of the leg.
func (l Leg) LengthMM() float64 { return math.Hypot(l.RunMM, l.RiseMM) }

// AngleDeg is the angle of the leg from level, in degrees.
func (l Leg) AngleDeg() float64 { return math.Atan2(l.RiseMM, math.Abs(l.RunMM)) * 180 / math.Pi }

// Bridle is what two legs carry.
type Bridle struct {
	// VerticalN are the shares of the weight that the legs lift, in the unit of the weight.
	VerticalN [2]float64
	// TensionN are the pulls along the legs, in the unit of the weight.
	TensionN [2]float64
	// SqueezeN is the level force with which the legs press the load together, in the unit of the weight.
	SqueezeN float64
}

// Share gives what each of two legs carries when the hook is plumb over the center of gravity.
//
// With a, b the level distances from the center of gravity to the points, h1, h2 the heights of the
// hook over them, and W the weight:
//
//	V1 = W (b/h2) / (a/h1 + b/h2)    V2 = W − V1    T = V L/h    L = √(run² + h²)
//
// which is equilibrium of forces and moments; with equal heights it is V1 = W b/(a + b), so the leg
// nearer to the center of gravity carries more. The rule of sines gives the same tensions. It holds for
// legs that are straight and weigh nothing. Errors: ErrWeight, ErrRise, ErrPush, ErrSplit.
func Share(weightN float64, one, two Leg) (Bridle, error) {
	switch {
	case !(weightN > 0) || math.IsInf(weightN, 0):
		return Bridle{}, ErrWeight
	case !(one.RiseMM > 0) || !(two.RiseMM > 0) || math.IsInf(one.RiseMM, 0) || math.IsInf(two.RiseMM, 0):
		return Bridle{}, ErrRise
	case !(one.RunMM >= 0) || !(two.RunMM >= 0) || math.IsInf(one.RunMM, 0) || math.IsInf(two.RunMM, 0):
		return Bridle{}, ErrPush
	}
	first, second := one.RunMM/one.RiseMM, two.RunMM/two.RiseMM
	if first+second == 0 {
		return Bridle{}, ErrSplit
	}
	v1 := weightN * second / (first + second)
	v2 := weightN * first / (first + second)
	return Bridle{
		VerticalN: [2]float64{v1, v2},
		TensionN:  [2]float64{v1 * one.LengthMM() / one.RiseMM, v2 * two.LengthMM() / two.RiseMM},
		SqueezeN:  v1 * first,
	}, nil
}

// TensionFactor is the pull of one leg of a level bridle over its share of the weight, L/H = 1/sin a,
// for an angle from level in degrees above 0 and up to 90. Outside that range it is +Inf: a level leg
// carries nothing.
func TensionFactor(angleDeg float64) float64 {
	if !(angleDeg > 0) || angleDeg > 90 {
		return math.Inf(1)
	}
	return 1 / math.Sin(angleDeg*math.Pi/180)
}
