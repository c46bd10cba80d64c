package standing

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/statics"
)

// verdict puts a tally into words.
func (c *Checker) verdict(s *state, t *tally) *Verdict {
	v := &Verdict{Stands: !t.fails(), HighestGustMPS: -1, SwayMM: 1000 * t.topM, Residual: t.residual, BraceForces: t.forces}
	v.Worst = governs(t.fallen, c.usages(s, t, func(p place) string { return runName(s, p) }))
	if len(v.Worst) > 0 {
		v.Governing = v.Worst[0]
	}
	for _, p := range s.ends[0].tops {
		if p.highest {
			v.TopMark, v.TopMM = c.frame.Timbers()[p.timber].Mark, 1000*p.heightM
			break
		}
	}
	mass, _ := c.frame.Weigh(s.Standing)
	v.WeightN = mass * statics.StandardGravity
	v.Uses = c.usesOf(s, t)
	v.Notes = c.notes(s)
	return v
}

// usesOf are the largest share of each timber: of the stick itself and of the joints with which it enters others.
func (c *Checker) usesOf(s *state, t *tally) []float64 {
	uses := make([]float64, len(c.frame.Timbers()))
	for i := range t.over {
		uses[i] = t.over[i].share
	}
	for i := range s.ends[0].st.Joints {
		entering, _ := c.frame.Ends(s.ends[0].st.Joints[i].Joint)
		uses[entering] = math.Max(uses[entering], math.Max(t.apart[i].share, t.crushed[i].share))
	}
	return uses
}

// notes are what was assumed, each a sentence.
func (c *Checker) notes(s *state) []string {
	r := &c.rules
	notes := []string{
		"Both ends of the range of joint stiffness were run, in the displaced shape; the worse counts.",
		fmt.Sprintf("Wind presses on every stick, q = 0.613·%.3g·(%.3g·V)² Pa with cf %.3g and no shelter of one stick by another%s, from four directions along and across the frame.",
			r.Exposure, r.PeriodFactor, r.ForceCoefficient, shelter(r.Shielding)),
		"Feet push on the deck and rub; nothing else holds them unless the frame says so.",
		"Every stick counts as a column over its whole length.",
	}
	if s.windyTrials == 0 {
		notes = append(notes, "No combination of the rules has wind, so no gust was looked at.")
	}
	if s.person != nil {
		notes = append(notes, fmt.Sprintf("The person stands on %s, where of the places compared it tells most.", c.frame.Timbers()[s.person.timber].Mark))
	}
	if len(s.OnHook) > 0 && len(s.grasps) > 0 && s.grasps[0].bothWays {
		notes = append(notes, "No joint is drawn together level with the neighbour on the hook, so its come-along and its bump were taken at the highest post tops.")
	}
	return append(append(notes, s.notes...), s.ends[0].st.Notes...)
}

func shelter(share float64) string {
	if share == 0 {
		return ""
	}
	return fmt.Sprintf(" beyond %.0f percent", 100*share)
}
