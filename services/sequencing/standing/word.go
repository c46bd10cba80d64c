package standing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
)

// statusComputed is the status of what is statics alone.
const statusComputed = wood.Computed

// pounds is a force in pounds, rounded as people say it.
func pounds(n float64) string { return fmt.Sprintf("%.0f lb", units.PoundsForceFromN(n)) }

// footPounds is a moment in foot-pounds.
func footPounds(nm float64) float64 { return units.PoundsForceFromN(nm) * 1000 / units.MMPerInch / 12 }

// opening is a small length in metres as a tape reads it; what a tape does not show is written in hundredths.
func opening(m float64) string {
	if mm := m * 1000; math.Abs(mm) >= units.MMPerInch/8 {
		return strings.TrimSuffix(units.Inches(mm), `"`) + " in"
	}
	return fmt.Sprintf("%.2f in", units.InchesFromMM(m*1000))
}

// usages are the shares of a tally in words, unsorted. name names the run of a place.
func (c *Checker) usages(s *state, t *tally, name func(place) string) []Usage {
	e := s.ends[0]
	var list []Usage
	add := func(m *mark, u Usage) {
		u.Share, u.Demand, u.Capacity = m.share, m.demand, m.capacity
		u.Combination = name(place{m.trial, m.end})
		list = append(list, u)
	}
	for i := range e.st.Joints {
		j := e.st.Joints[i].Joint
		if m := &t.apart[i]; m.set {
			add(m, c.apartUsage(m, j))
		}
		if m := &t.crushed[i]; m.set {
			add(m, c.crushedUsage(m, j))
		}
	}
	for i := range t.over {
		if m := &t.over[i]; m.set {
			add(m, c.memberUsage(m, i))
		}
		if m := &t.sway[i]; m.set {
			add(m, c.swayUsage(m, i))
		}
	}
	for i := range s.Braces {
		if m := &t.buckled[i]; m.set {
			add(m, c.buckledUsage(s, m, i))
		}
		if m := &t.fastened[i]; m.set {
			add(m, c.fastenedUsage(s, m, i))
		}
		if m := &t.anchored[i]; m.set {
			add(m, c.anchoredUsage(s, m, i))
		}
	}
	for i := range e.feet {
		if m := &t.lifted[i]; m.set {
			add(m, c.liftedUsage(e, m, i))
		}
		if m := &t.slid[i]; m.set {
			add(m, c.slidUsage(e, m, i))
		}
	}
	if m := &t.buckling; m.set {
		add(m, Usage{
			Kind: Buckling, Formula: "least factor / λ", Source: "linear buckling of the frame in the state that the load leaves", Status: statusComputed,
			Words: fmt.Sprintf("It would buckle at %.1f times its load; at least %.1f is asked for.", m.capacity, m.demand),
		})
	}
	return list
}

// jointWords names a joint by its pieces.
func (c *Checker) jointWords(j int) string {
	x := &c.frame.Joints()[j]
	if x.Receiving == "" {
		return "The foot of " + x.Entering
	}
	return fmt.Sprintf("The joint of %s with %s", x.Entering, x.Receiving)
}

func (c *Checker) apartUsage(m *mark, j int) Usage {
	hold := &c.strength.bonds[j].hold
	u := Usage{Kind: JointApart, Piece: c.frame.Joints()[j].ID, Unit: "N", Status: hold.Status, Source: hold.Source}
	if m.how == byPegs {
		u.Formula = "T/(CD·pull), by " + hold.PullBy
		u.Words = fmt.Sprintf("%s is pulled with %s; it holds %s.", c.jointWords(j), pounds(m.demand), pounds(m.capacity))
		return u
	}
	u.Unit, u.Formula, u.Source, u.Status = "m", "opening/(tenon length/3)", "a tenon is guided as long as two thirds of it are in", wood.CommonPractice
	if c.strength.bonds[j].open == openSeatM {
		u.Formula, u.Source = "opening/10 mm", "the play at which an open seat is walked back"
	}
	u.Words = fmt.Sprintf("%s opens by %s with nothing to pull it together; %s is allowed.", c.jointWords(j), opening(m.demand), opening(m.capacity))
	return u
}

func (c *Checker) crushedUsage(m *mark, j int) Usage {
	hold := &c.strength.bonds[j].hold
	u := Usage{Kind: JointCrushed, Piece: c.frame.Joints()[j].ID, Unit: "N", Status: hold.Status, Source: hold.Source}
	switch m.how {
	case byPush:
		u.Formula = "P/push, by " + hold.PushBy
		u.Words = fmt.Sprintf("%s is pushed with %s; it bears %s.", c.jointWords(j), pounds(m.demand), pounds(m.capacity))
	case byShear:
		u.Formula = "V/shear, by " + hold.ShearBy
		u.Words = fmt.Sprintf("%s is sheared with %s; it bears %s.", c.jointWords(j), pounds(m.demand), pounds(m.capacity))
	case byTwist:
		u.Unit, u.Formula = "N·m", "T·(3 + 1.8·c/a)/(CD·Fv·a·c²) of the tenon, soft joints"
		u.Words = fmt.Sprintf("%s is twisted with %.0f lb·ft; its tenon bears %.0f lb·ft.", c.jointWords(j), footPounds(m.demand), footPounds(m.capacity))
	default:
		u.Unit, u.Formula = "N·m", "M/max(CD·Fb·w·t²/6, 0.8·(CD·pull + N)·b/2), across the tenon's thickness, soft joints"
		u.Words = fmt.Sprintf("%s is bent with %.0f lb·ft across its tenon; it bears %.0f lb·ft.", c.jointWords(j), footPounds(m.demand), footPounds(m.capacity))
	}
	return u
}

func (c *Checker) memberUsage(m *mark, i int) Usage {
	d := &c.strength.designs[i]
	mark := c.frame.Timbers()[i].Mark
	return Usage{
		Kind: Overstressed, Piece: mark, Formula: m.formula, Status: d.Status,
		Source: fmt.Sprintf("%s, %s, %s: %s", d.Group, d.Class, d.Grade, d.Source),
		Words:  fmt.Sprintf("%s is stressed to %s of what it bears.", mark, percent(m.share)),
	}
}

// percent is a share as people say it.
func percent(share float64) string {
	if math.IsInf(share, 1) {
		return "far more than 100 percent"
	}
	return fmt.Sprintf("%.0f percent", 100*share)
}

func (c *Checker) swayUsage(m *mark, i int) Usage {
	mark := c.frame.Timbers()[i].Mark
	return Usage{
		Kind: Sway, Piece: mark, Unit: "m", Formula: fmt.Sprintf("sway/(%.3g·height)", c.rules.SwayShare), Source: "limit of the rules", Status: wood.CommonPractice,
		Words: fmt.Sprintf("%s sways by %s; %s is allowed at its height.", mark, opening(m.demand), opening(m.capacity)),
	}
}

func (c *Checker) buckledUsage(s *state, m *mark, i int) Usage {
	b := &s.Braces[i]
	u := Usage{
		Kind: BraceBuckled, Piece: b.ID, Unit: "N", Formula: "P/(F'c·A), F'c with CP at le/d " + fmt.Sprintf("%.0f", b.Slenderness()), Source: "NDS 3.7.1, hinges at both ends",
		Status: wood.Published, Words: fmt.Sprintf("Brace %s is pushed with %s; as a column it bears %s.", b.ID, pounds(m.demand), pounds(m.capacity)),
	}
	if m.how == byBending {
		u.Formula, u.Source = fmt.Sprintf("(fc/F'c)² + fb/(F'b·(1 − fc/FcE)), le/d %.0f", b.Slenderness()), "NDS 3.9.2, hinges at both ends, bent by its weight and the wind on it"
		u.Words = fmt.Sprintf("Brace %s is pushed with %s while its weight and the wind bend it; that is %s of what it bears.", b.ID, pounds(m.demand), percent(m.share))
	}
	return u
}

func (c *Checker) fastenedUsage(s *state, m *mark, i int) Usage {
	b := &s.Braces[i]
	u := Usage{Kind: BraceFastening, Piece: b.ID, Unit: "N", Formula: "F/(CD·hold) of " + b.Head.Name, Source: "the company's list of fastenings", Status: b.Head.Status}
	u.Words = fmt.Sprintf("Brace %s draws %s on its fastening, %s, which holds %s.", b.ID, pounds(m.demand), b.Head.Name, pounds(m.capacity))
	if m.how == byBoard {
		u.Formula, u.Source, u.Status = "T/(CD·0.75·Ft·A)", "the board in tension, a quarter of it left to fasteners", wood.FromMemory
		u.Words = fmt.Sprintf("Brace %s is pulled with %s; its board bears %s.", b.ID, pounds(m.demand), pounds(m.capacity))
	}
	return u
}

func (c *Checker) anchoredUsage(s *state, m *mark, i int) Usage {
	b := &s.Braces[i]
	axial, does, which := m.demand, "pulls on", "up"
	if m.how == byDown {
		axial, does, which = -axial, "pushes on", "down"
	}
	_, formula := b.AnchorUseFor(axial, c.duration(s, place{m.trial, m.end}))
	return Usage{
		Kind: AnchorOut, Piece: b.ID, Unit: "N", Formula: formula, Source: "the company's list of anchors; " + which + " and across added up", Status: b.Anchor.Status,
		Words: fmt.Sprintf("Brace %s %s its anchor, %s, with %s; along this brace it holds %s.", b.ID, does, b.Anchor.Name, pounds(m.demand), pounds(m.capacity)),
	}
}

func (c *Checker) liftedUsage(e *end, m *mark, i int) Usage {
	f := &e.feet[i]
	mark := c.frame.Timbers()[f.timber].Mark
	if m.how == byHoldDown {
		hold := &c.strength.bonds[f.joint].hold
		return Usage{
			Kind: Uplift, Piece: mark, Unit: "N", Formula: "T/hold-down, by " + hold.PullBy, Source: hold.Source, Status: hold.Status,
			Words: fmt.Sprintf("The foot of %s is lifted with %s; what ties it down holds %s.", mark, pounds(m.demand), pounds(m.capacity)),
		}
	}
	words := fmt.Sprintf("The foot of %s lifts %s off the deck; %s is allowed.", mark, opening(m.demand), opening(m.capacity))
	if c.frame.Joints()[f.joint].Kind == joinery.PostBaseDowelled {
		words = fmt.Sprintf("The foot of %s lifts %s on its dowel; %s is allowed.", mark, opening(m.demand), opening(m.capacity))
	}
	return Usage{Kind: Uplift, Piece: mark, Unit: "m", Formula: "lift/5 mm", Source: "a foot off the deck is off its mark", Status: wood.CommonPractice, Words: words}
}

func (c *Checker) slidUsage(e *end, m *mark, i int) Usage {
	mark := c.frame.Timbers()[e.feet[i].timber].Mark
	return Usage{
		Kind: Sliding, Piece: mark, Unit: "m", Formula: "slip/10 mm, once H > μ·N", Source: "Coulomb friction; the limit is common practice", Status: wood.CommonPractice,
		Words: fmt.Sprintf("The foot of %s slides by %s; %s is allowed.", mark, opening(m.demand), opening(m.capacity)),
	}
}

// Uses judges one result by the strength of joints, members, braces and anchors and by how feet move: the uses of the pieces of
// st, largest first. sv is the solver of st, res a solved result of it, and name what the combination is called. Sway is
// left out, and buckling is looked at when the result has a factor. st is the structure of the situation's Standing, Pegged
// and Braces.
func (c *Checker) Uses(sit Situation, st *model.Structure, sv *statics.Solver, res *statics.Result, name string) ([]Usage, error) {
	if c.bad != nil {
		return nil, c.bad
	}
	s := &state{Situation: sit}
	c.addProps(s)
	e := c.endFor(s, st, sv)
	e.tops = nil
	s.ends = [2]*end{e, e}
	t := c.tallyOf(s)
	c.judge(t, s, e, nil, res, place{})
	if res.Buckling > 0 {
		c.judgeBuckling(t, res, place{})
	}
	list := c.usages(s, t, func(place) string { return name })
	largestFirst(list)
	return list, nil
}

// governs puts a fall before everything else: what goes over has no share worth comparing.
func governs(fallen *Usage, list []Usage) []Usage {
	largestFirst(list)
	if fallen != nil {
		list = slices.Insert(list, 0, *fallen)
	}
	return list
}
