// Package standup checks a bent on the hook: from flat on the deck, pivoting about its feet, to plumb, and hanging free. At
// each step it asks what package statics says of the bent in its own upright coordinates with gravity turned, and
// names what governs: bending across its plane, joints pulled apart, feet that slide or spread.
//
// # Model
//
// With t the angle of the bent's plane above level, n out of the plane and z up in it, gravity is −g·(cos t·n + sin t·z).
// Vertical slings hold the points along the current vertical alone; legs at an angle b push them together besides with H =
// V/tan b. The feet are pins on the deck edge that only push, one of them held along the bent. Hanging free, the points
// are held and one restraint keeps the bent from swinging, with a force that comes out as nothing. So the hook carries
// W·zcg/zpick at every tilt, and jumps to W as the feet come off. It is a check for planning: a qualified person and local
// rules decide on the lift.
package standup

import (
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// Problem is a bent to stand up.
type Problem struct {
	Frame *frame.Frame
	// Pieces are its timbers by index, and Pegged says for each joint of the frame whether its pegs are in.
	Pieces []int
	Pegged []bool
	Rules  standing.Rules
	// Points are where the slings take hold; empty takes two in balance on the highest sticks that a sling can hold.
	Points []Point
	// SlingDeg is the angle of the slings from level: 0 for 60, 90 for a spreader.
	SlingDeg float64
	// DynamicFactor is on the weight; 0 for the default.
	DynamicFactor float64
	// FeetTied are the posts whose feet are tied to one another.
	FeetTied []int
	// Strongback is lashed across the posts; nil for none.
	Strongback *brace.Lumber
	// Steps from flat to plumb; 0 for 7.
	Steps int
}

// Point is a place on a stick.
type Point struct {
	Timber      int
	FromStartMM float64
}

// Step is one step.
type Step struct {
	TiltDeg float64
	// Hanging says that it hangs free of the deck.
	Hanging bool
	// HookN is the load on the hook, BaseUpN and BaseAcrossN the forces on all feet up and along the way the bent
	// comes up, the latter from a hook line that is a little out of plumb, FrictionNeeded their quotient, +Inf where
	// nothing bears on the deck. All count the dynamic factor.
	HookN, BaseUpN, BaseAcrossN, FrictionNeeded float64
	// SqueezeN is what legs at an angle push the two points together with.
	SqueezeN float64
	// BendingAcrossNM is the largest bending across the plane of the bent, at BendingMark.
	BendingAcrossNM float64
	BendingMark     string
	// MoveMM is the largest move of a point of the bent.
	MoveMM float64
	// Governing is the usage with the largest share at both ends of the range of joint stiffness; the share is +Inf when the
	// bent comes apart, folds or is out of balance.
	Governing standing.Usage
	// Pulled are the joints in tension or open, by index.
	Pulled []int
	// Result is that of the soft end.
	Result *statics.Result
}

// Remedy is something that was tried.
type Remedy struct {
	Words     string
	Holds     bool
	Governing standing.Usage
}

// Answer is how the bent bears it.
type Answer struct {
	Holds     bool
	Governing standing.Usage
	Steps     []Step
	Remedies  []Remedy
	Points    []Point
	Notes     []string
}
