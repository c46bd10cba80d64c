package picking

import (
	"cmp"
	"fmt"
	"slices"
)

// Settings are the rules of a pick that a company may set. What a published text fixes is a constant.
type Settings struct {
	// AllowanceShare is added to the mass of a pick for what was not weighed.
	AllowanceShare float64
	// PreferredAngleDeg is the leg angle from level at or above which slings are looked for first.
	PreferredAngleDeg float64
	// LeastAngleDeg is the leg angle from level below which a pick is refused; never less than 30.
	LeastAngleDeg float64
	// LeastDepthMM is how far an assembly's center of gravity has to hang below the pick line.
	LeastDepthMM float64
	// MostTiltDeg is how far a load may hang out of level along its pick points.
	MostTiltDeg float64
	// MostLeanDeg is how far a load may hang out of its own plane.
	MostLeanDeg float64
	// JointClearanceMM is kept between a sling and the edge of a joint.
	JointClearanceMM float64
	// HookClearanceMM is kept between the hook and the top of an assembly under it.
	HookClearanceMM float64
	// LiftClearanceMM is kept under a load above where it lay and above where it comes to rest.
	LiftClearanceMM float64
}

// Default are rules of common practice; none of them is a constant of nature or of law.
func Default() Settings {
	return Settings{
		AllowanceShare:    0.10,
		PreferredAngleDeg: 60,
		LeastAngleDeg:     45,
		LeastDepthMM:      100,
		MostTiltDeg:       3,
		MostLeanDeg:       5,
		JointClearanceMM:  100,
		HookClearanceMM:   300,
		LiftClearanceMM:   600,
	}
}

// PublishedLeastAngleDeg is the angle from level below which sling makers' sheets forbid a leg.
const PublishedLeastAngleDeg = 30

// OverhangShare is the overhang over the length at which a uniform stick lifted level at two points
// bends least: (√2 − 1)/2.
const OverhangShare = 0.20710678118654752

// Limit is one thing that was checked.
type Limit struct {
	Name string
	// Share is demand over capacity; above 1 refuses. Where more is better, such as an angle, the share
	// is what is needed over what there is.
	Share            float64
	Demand, Capacity float64
	Unit             string
	// advice says what to do when it is exceeded.
	advice string
	// least says that the demand is what there has to be at least, and the capacity what there is.
	least bool
}

// slack lets a share be 1 after rounding.
const slack = 1e-9

// atLeast makes a limit on what has to be there at least.
func atLeast(name string, needed, actual float64, unit, advice string) Limit {
	l := limit(name, needed, actual, unit, advice)
	l.least = true
	return l
}

// beyondAll is the share of a demand on a capacity of 0; answers go out as JSON, which has no infinity.
const beyondAll = 999

// limit makes a limit; any demand passes a capacity of 0, and what is not a number never passes.
func limit(name string, demand, capacity float64, unit, advice string) Limit {
	l := Limit{Name: name, Demand: demand, Capacity: capacity, Unit: unit, advice: advice}
	switch {
	case capacity > 0:
		l.Share = demand / capacity
	case demand <= 0 && capacity <= 0:
	default:
		l.Share = beyondAll
	}
	return l
}

func (l Limit) exceeded() bool { return !(l.Share <= 1+slack) }

func (p *Pick) refuse(format string, args ...any) {
	p.Refusals = append(p.Refusals, fmt.Sprintf(format, args...))
}

// finish puts the governing limit first and refuses what is exceeded.
func (p *Pick) finish() {
	slices.SortStableFunc(p.Limits, func(a, b Limit) int { return cmp.Compare(b.Share, a.Share) })
	for _, l := range p.Limits {
		switch {
		case !l.exceeded():
		case l.least:
			p.refuse("%s: at least %s %s are needed, there are %s; %s.", upper(l.Name), figure(l.Demand), l.Unit, figure(l.Capacity), l.advice)
		default:
			p.refuse("%s: %s %s against %s %s; %s.", upper(l.Name), figure(l.Demand), l.Unit, figure(l.Capacity), l.Unit, l.advice)
		}
	}
}

// figure writes a number for a sentence: whole where it is large, else with one decimal.
func figure(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}

func upper(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
