package standup

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// check runs one set-up through all attitudes at both ends of the range of joint stiffness.
func (c *checker) check(ctx context.Context, s setup) (*tried, error) {
	t := &tried{governing: standing.Usage{Words: "nothing is used"}}
	var ends [2]*load
	for i := range ends {
		l, err := c.load(s, model.Stiffness(i))
		if err != nil {
			return nil, err
		}
		ends[i] = l
	}
	loose := loose{s: s}
	for _, a := range c.attitudes() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		step := Step{TiltDeg: a.tiltDeg, Hanging: a.hanging}
		for i, l := range ends {
			o, err := l.rig.solve(a)
			if err != nil {
				return nil, err
			}
			name := fmt.Sprintf("%s, %s", a.words(), model.Stiffness(i))
			uses, err := c.uses(s, l, o, name)
			if err != nil {
				return nil, err
			}
			if len(uses) > 0 && uses[0].Kind == standing.Mechanism {
				if uses, step.Pulled, err = c.apart(&loose, a, uses, step.Pulled, name); err != nil {
					return nil, err
				}
			}
			t.noteTorn(c, uses)
			c.fill(&step, l, o, uses, i == 0)
		}
		t.steps = append(t.steps, step)
		if worse(step.Governing, t.governing) {
			t.governing = step.Governing
		}
	}
	t.leans = c.leans(s)
	for _, j := range ends[0].joints {
		if j.Tied {
			t.waiting = append(t.waiting, j.Joint)
		}
	}
	return t, nil
}

// attitudes are the steps from flat to plumb on the feet, and hanging free.
func (c *checker) attitudes() []attitude {
	var list []attitude
	for i := range c.steps {
		list = append(list, attitude{tiltDeg: 90 * float64(i) / float64(c.steps-1)})
	}
	return append(list, attitude{tiltDeg: 90, hanging: true})
}

func (a attitude) words() string {
	switch {
	case a.hanging:
		return "hanging free"
	case a.tiltDeg == 0:
		return "lifted off flat"
	}
	return fmt.Sprintf("tilted to %.0f degrees", a.tiltDeg)
}

// worse says whether one usage governs another.
func worse(a, b standing.Usage) bool {
	return a.Share > b.Share || b.Kind == standing.NoFailure && a.Kind != standing.NoFailure && a.Share == b.Share
}

// fill writes what one end of the range says into a step; the soft end gives the numbers, both give what governs.
func (c *checker) fill(step *Step, l *load, o *outcome, uses []standing.Usage, soft bool) {
	for _, u := range uses {
		if worse(u, step.Governing) {
			step.Governing = u
		}
	}
	r := o.result
	if r.Outcome != statics.Solved {
		if soft {
			step.Result = r
		}
		return
	}
	for _, j := range l.pulled(r) {
		if !slices.Contains(step.Pulled, j) {
			step.Pulled = append(step.Pulled, j)
		}
	}
	slices.Sort(step.Pulled)
	if m, timber := c.bendingAcross(l, o); m > step.BendingAcrossNM {
		step.BendingAcrossNM, step.BendingMark = m, c.f.Timbers()[timber].Mark
	}
	for _, d := range r.Displacements {
		step.MoveMM = math.Max(step.MoveMM, 1000*math.Sqrt(d[0]*d[0]+d[1]*d[1]+d[2]*d[2]))
	}
	if !soft {
		return
	}
	step.Result = r
	step.HookN, step.BaseUpN, step.SqueezeN = o.hookN(), o.baseUpN(), o.squeezeN
	step.BaseAcrossN, step.FrictionNeeded = o.across()
}

// across is the force on the feet along the way the bent comes up, from a hook line that is leanDeg out of plumb, and the
// coefficient of friction that it needs; 0 while it hangs free.
func (o *outcome) across() (acrossN, friction float64) {
	if o.hanging {
		return 0, 0
	}
	acrossN = o.hookN() * math.Tan(geom.Radians(leanDeg))
	if up := o.baseUpN(); up > 0 {
		return acrossN, acrossN / up
	}
	return acrossN, math.Inf(1)
}

// uses are the shares of everything at one attitude, the largest first; what falls or comes apart comes before.
func (c *checker) uses(s setup, l *load, o *outcome, name string) ([]standing.Usage, error) {
	own := c.balance(s, o, name)
	if o.result.Outcome != statics.Solved {
		// What is out of balance says more than how it moves.
		if !o.off() && c.pickHeight(s) > c.center.Z {
			own = []standing.Usage{c.falls(o, name)}
		}
		return own, nil
	}
	st, m := *l.structure, *l.rig.model
	m.Members = m.Members[:l.own]
	st.Model, st.Joints = &m, l.joints
	list, err := c.judge.Uses(standing.Situation{Standing: c.pieces, Pegged: s.pegged}, &st, o.solver, o.result, name)
	if err != nil {
		return nil, err
	}
	for _, u := range list {
		// A stiffer tenon draws a bending moment to itself that it does not have to carry.
		if l.stiffness == model.Stiff && u.Kind == standing.JointCrushed && u.Unit == "N·m" {
			continue
		}
		if j, ok := c.f.JointIndex(u.Piece); ok && u.Kind == standing.JointApart && slices.Contains(s.strapped, j) {
			continue
		}
		own = append(own, u)
	}
	own = append(own, l.straps(c, s, o, name)...)
	own = append(own, l.helpers(c, o, name)...)
	slices.SortStableFunc(own, func(a, b standing.Usage) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		}
		return 0
	})
	return own, nil
}

// falls is the usage of an attitude in which the bent moves freely.
func (c *checker) falls(o *outcome, name string) standing.Usage {
	u := standing.Usage{Kind: standing.Mechanism, Piece: "bent", Share: math.Inf(1), Combination: name, Status: wood.Computed, Source: "statics"}
	switch r := o.result; {
	case r.Outcome == statics.Unsettled:
		u.Kind, u.Words = standing.Undecided, "The analysis did not settle, which counts as a failure."
	case len(r.Motions) > 0:
		u.Words = fmt.Sprintf("It folds or turns freely: %s.", trimmed(r.Motions[0].Words))
	default:
		u.Words = "It does not hold its shape: " + r.Outcome.String() + "."
	}
	return u
}

func trimmed(s string) string {
	for len(s) > 0 && (s[len(s)-1] == '.' || s[len(s)-1] == ' ') {
		s = s[:len(s)-1]
	}
	return s
}

// balance is what slings and feet make of it: points above the centre of gravity, both slings taut, no foot off the deck before
// the others, and feet that do not slide.
func (c *checker) balance(s setup, o *outcome, name string) []standing.Usage {
	var list []standing.Usage
	never := func(kind standing.FailureKind, piece, words string) {
		list = append(list, standing.Usage{
			Kind: kind, Piece: piece, Share: math.Inf(1), Combination: name, Words: words, Status: wood.Computed, Source: "statics of the bent on its slings",
		})
	}
	if c.pickHeight(s) <= c.center.Z {
		never(standing.Overturning, "bent", "The slings take hold no higher than the center of gravity: the feet come up first and it turns over. Take hold higher.")
		return list
	}
	for k, slack := range o.slack {
		if slack {
			never(standing.Overturning, c.f.Timbers()[s.points[k].Timber].Mark, "The sling on "+c.f.Timbers()[s.points[k].Timber].Mark+
				" hangs slack: the points are out of balance. Take hold on both sides of the center of gravity.")
		}
	}
	if o.hanging {
		return list
	}
	if o.tips() {
		never(standing.Uplift, "feet", "A foot comes off the deck before the others, so the bent turns on the remaining one. Move the slings until both feet bear.")
		return list
	}
	acrossN, needed := o.across()
	have := c.rules.Joints.Friction
	if s.blocked {
		return list
	}
	u := standing.Usage{
		Kind: standing.Sliding, Piece: "feet", Share: share(needed, have), Demand: needed, Capacity: have, Combination: name,
		Formula: fmt.Sprintf("hook·tan %.0f° / base reaction", leanDeg), Source: "a hook line that far out of plumb is common practice", Status: wood.CommonPractice,
	}
	u.Words = fmt.Sprintf("With the hook line %.0f degrees out of plumb %.0f lb push the feet along the deck; that needs a friction of %.2f where %.2f is counted on.",
		leanDeg, units.PoundsForceFromN(acrossN), needed, have)
	return append(list, u)
}

func share(demand, capacity float64) float64 {
	switch {
	case demand <= 0:
		return 0
	case !(capacity > 0):
		return math.Inf(1)
	}
	return demand / capacity
}

// pickHeight is the height of the lower point, in millimetres.
func (c *checker) pickHeight(s setup) float64 {
	return math.Min(c.on(s.points[0]).Z, c.on(s.points[1]).Z)
}

// on is a point in the frame.
func (c *checker) on(p Point) geom.Vec {
	return geom.Along(c.f.Timbers()[p.Timber].Start, p.FromStartMM, c.f.Axes(p.Timber).Axis)
}

// leans is how far out of plumb it hangs, in degrees, because its centre of gravity is not in the plane of the slings.
func (c *checker) leans(s setup) float64 {
	middle := geom.Mid(c.on(s.points[0]), c.on(s.points[1]))
	off := geom.Dot(geom.Sub(c.center, middle), c.plane.normal)
	return geom.Degrees(math.Atan2(math.Abs(off), math.Max(1, middle.Z-c.center.Z)))
}

// bendingAcross is the largest bending across the plane of the bent and the timber that has it.
func (c *checker) bendingAcross(l *load, o *outcome) (most float64, timber int) {
	m := l.rig.model
	for i, members := range l.structure.Members {
		for _, k := range members {
			x, y, z := axes(m, k)
			about := geom.Cross(x, c.plane.normal)
			length := l.length(k)
			for _, at := range stations() {
				f := o.solver.Forces(o.result, k, at*length)
				moment := geom.Along(geom.Scale(f[4], y), f[5], z)
				if across := math.Abs(geom.Dot(moment, about)); across > most {
					most, timber = across, i
				}
			}
		}
	}
	return most, timber
}

// stations are the shares of a member's length at which it is looked at: its ends and what its own weight does between.
func stations() [5]float64 { return [...]float64{0, 0.25, 0.5, 0.75, 1} }

// axes are the local axes of a member.
func axes(m *statics.Model, k int) (x, y, z geom.Vec) {
	e := &m.Members[k]
	a, b := geom.Add(m.Nodes[e.I].At, e.ArmI), geom.Add(m.Nodes[e.J].At, e.ArmJ)
	x = geom.Unit(geom.Sub(b, a))
	ref := e.YRef
	if ref == (geom.Vec{}) {
		if ref = geom.Up(); math.Abs(x.Z) > 1-5e-7 {
			ref = geom.V(1, 0, 0)
		}
	}
	z = geom.Unit(geom.Cross(x, ref))
	return x, geom.Cross(z, x), z
}

// What counts as pulled and as open.
const (
	leastPullN = 1
	leastOpenM = 1e-5
)

// pulled are the joints of a solved attitude that are in tension or open.
func (l *load) pulled(r *statics.Result) []int {
	var list []int
	for _, j := range l.joints {
		if pull, opening := pullOf(j, r); pull > leastPullN || opening > leastOpenM {
			list = append(list, j.Joint)
		}
	}
	return list
}

// pullOf is the tension in a joint in newtons, and how far it is open in metres.
func pullOf(j model.JointAt, r *statics.Result) (pull, opening float64) {
	switch {
	case j.Member >= 0 && j.AtJ:
		return r.Ends[j.Member][1][0], r.Slip[j.Member][1]
	case j.Member >= 0:
		return -r.Ends[j.Member][0][0], r.Slip[j.Member][0]
	case j.Link >= 0:
		return -r.Links[j.Link][0], r.Opening[j.Link]
	}
	return 0, 0
}
