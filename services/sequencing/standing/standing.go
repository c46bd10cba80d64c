// Package standing answers, for a frame that is partly raised: does what stands stay standing when the hook lets go.
//
// It checks load cases and their combinations on the structure of package model with both ends of the range of joint
// stiffness, counting the displaced shape, feet that only push, joints that do not pull before they are pegged; then the
// strength of joints, members, braces and anchors, sway and buckling. It is a check for planning: temporary works
// need a qualified person and local rules.
package standing

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// Combination is a sum of load cases, each with its factor.
type Combination struct {
	Name string
	// Weight, Notional, Wind, Person, ComeAlong and Bump are the factors.
	Weight, Notional, Wind, Person, ComeAlong, Bump float64
}

// Rules are a company's settings of the check. See DefaultRules for values and their status.
type Rules struct {
	// WorkingGustMPS and NightGustMPS are 3-second gusts at the height of the frame, for the hours of work and for the
	// night; LowGustMPS is that with any one brace knocked out.
	WorkingGustMPS, NightGustMPS, LowGustMPS float64
	// Exposure is Kz·Kzt·Kd, and ForceCoefficient cf of a bare stick.
	Exposure, ForceCoefficient float64
	// PeriodFactor is the factor on the speed for a short construction period; 1 for none.
	PeriodFactor float64
	// Shielding is the share of the wind that a stick behind another is spared; 0 for none.
	Shielding float64
	// NotionalShare is the lateral load as a share of the weight.
	NotionalShare float64
	// PersonKG is a person with tools.
	PersonKG float64
	// ComeAlongN is the pull on the standing pieces while a neighbour is drawn in, and BumpShare the blow of the swinging
	// bent as a share of its weight.
	ComeAlongN, BumpShare float64
	// SwayShare is the most sway as a share of height; LeastBuckling the least buckling factor.
	SwayShare, LeastBuckling float64
	// SlendernessPush is the most le/d of a brace that is counted on to push.
	SlendernessPush float64
	// PegHoldsN is what one 25.4 mm peg holds in withdrawal of the tenon, for normal duration.
	PegHoldsN float64
	// DurationFactor is the load duration factor on strength for construction loads; with wind it is raised as 1.6 is over
	// 1.25, to at most 1.6.
	DurationFactor float64
	// Joints are the stiffnesses and the friction; their Stiffness field is not read.
	Joints model.Settings
	// Combinations are those of a state on its own; NeighbourCombinations are added while a neighbour is being set.
	Combinations, NeighbourCombinations []Combination
	// DayHours is how long a working day is.
	DayHours float64
}

// Situation is a state to check.
type Situation struct {
	// Standing are the timbers that stand; OnHook those of a neighbour that is being set, which lean on nothing yet.
	Standing, OnHook []int
	// Pegged says for each joint whether its pegs are in.
	Pegged []bool
	Braces []brace.Brace
	// GustMPS is the 3-second gust that it must stand.
	GustMPS float64
}

// FailureKind is how it fails.
type FailureKind int

// The kinds of failure.
const (
	// NoFailure is none.
	NoFailure FailureKind = iota
	// Mechanism is a free motion.
	Mechanism
	// Overturning is going over about a line.
	Overturning
	// Sliding is a foot sliding on the deck.
	Sliding
	// Uplift is a foot lifting that is held down.
	Uplift
	// JointApart is a joint pulled apart.
	JointApart
	// JointCrushed is a joint pushed or sheared beyond what it bears.
	JointCrushed
	// BraceBuckled is a brace pushed beyond what it bears.
	BraceBuckled
	// BraceFastening is the head of a brace torn off.
	BraceFastening
	// AnchorOut is the foot of a brace pulled out or pushed away.
	AnchorOut
	// Overstressed is a member overstressed.
	Overstressed
	// Sway is more sway than allowed.
	Sway
	// Buckling is a buckling factor below the least.
	Buckling
	// Undecided is an analysis that did not settle, which counts as a failure.
	Undecided
)

// String is the failure in words.
func (k FailureKind) String() string {
	names := [...]string{
		"none", "mechanism", "overturning", "sliding", "uplift", "joint pulled apart", "joint overloaded", "brace buckled",
		"brace fastening torn", "brace anchor overloaded", "member overstressed", "sway", "buckling", "undecided",
	}
	if k < 0 || int(k) >= len(names) {
		return "unknown failure"
	}
	return names[k]
}

// Usage is how much of a capacity is used.
type Usage struct {
	Kind FailureKind
	// Piece is the mark, joint id or brace id.
	Piece string
	// Share is demand over capacity; it fails above 1. A mechanism has +Inf, and so has an overturning that the weight does
	// not resist at all.
	Share float64
	// Demand and Capacity are in Unit.
	Demand, Capacity float64
	Unit             string
	// Combination names the combination with direction and the end of the stiffness range.
	Combination string
	// Formula is in the trade's symbols, Source where it comes from.
	Formula, Source string
	Status          wood.Status
	// Words say it in a sentence.
	Words string
}

// Axis is a line, for overturning.
type Axis struct{ At, Along geom.Vec }

// Run is one combination in one direction at one end of the stiffness range.
type Run struct {
	Name      string
	Stiffness model.Stiffness
	Case      statics.Case
	Result    *statics.Result
}

// Verdict is the answer for one state.
type Verdict struct {
	Stands bool
	// Governing is the usage with the largest share, or the fall, when some run finds no state of rest. Worst has the largest of
	// each kind and piece, largest first, after the fall.
	Governing Usage
	Worst     []Usage
	// HighestGustMPS is the highest gust at which it still stands, to 0.1 m/s; 0 when it does not stand in still air, MostGustMPS
	// when it stands that. −1 when it was not asked for.
	HighestGustMPS float64
	// SwayMM is the largest displacement across at the highest point, TopMark the stick there and TopMM its height.
	SwayMM  float64
	TopMark string
	TopMM   float64
	// WeightN is the weight of what stands.
	WeightN float64
	// Runs are all combinations, for pictures; the structures are those of the two ends of the range.
	Runs       []Run
	Structures [2]*model.Structure
	// Uses has the largest share of each timber of the frame, for pictures; 0 where it does not stand.
	Uses []float64
	// BraceForces are the largest pull and push of each brace of the situation, in N.
	BraceForces []Forces
	// Residual is the largest residual of all runs.
	Residual float64
	// Notes are what was assumed, each a sentence.
	Notes []string
}

// Forces are the largest pull and push in a bar, in N, both not negative.
type Forces struct{ Pull, Push float64 }
