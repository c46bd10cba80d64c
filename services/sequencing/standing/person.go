package standing

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// Where a person may stand: on sticks no steeper than this, as a sine, and no lower than this.
const (
	nearLevelSine = 0.26
	leastStandMM  = 1500
)

// mostStands is how many places of a person are compared: the spans and the free ends that a load bends most for what they
// bear, and the highest sticks.
const mostStands = 9

// findPerson finds, before the first trial with a person, the place where one with tools uses up most, by the linear
// answer at the soft end to weight and person alone.
func (c *Checker) findPerson(s *state, list []place) error {
	asked := slices.IndexFunc(list, func(p place) bool { return s.trials[p.trial].combo.Person > 0 })
	if asked < 0 || s.person != nil || c.rules.PersonKG == 0 {
		return nil
	}
	stands := c.stands(s)
	if len(stands) == 0 {
		return nil
	}
	with := s.trials[list[asked].trial].combo
	e := s.ends[0]
	alone := trial{combo: &Combination{Weight: with.Weight, Person: with.Person}, way: -1}
	cases := make([]statics.Case, len(stands))
	for i := range stands {
		s.person = &stands[i]
		cases[i] = c.caseOf(s, e, &alone, 0)
	}
	s.person = &stands[0]
	if len(stands) == 1 {
		return nil
	}
	results, err := e.sv.Solve(cases, statics.Options{})
	if err != nil {
		return err
	}
	worst := -1.0
	for i := range results {
		share := math.Inf(1)
		if results[i].Outcome == statics.Solved {
			t := c.tallyOf(s)
			c.judge(t, s, e, &cases[i], &results[i], place{trial: list[asked].trial})
			share = t.most
		}
		// A hair's breadth does not decide, so that turning the frame does not.
		if share > worst*(1+1e-6) {
			worst, s.person = share, &stands[i]
		}
	}
	return nil
}

// stands are the places where a person may stand that can tell most.
func (c *Checker) stands(s *state) []grasp {
	var spans, ends, high []grasp
	top := math.Inf(-1)
	for _, i := range s.Standing {
		t := c.frame.Timbers()[i]
		top = math.Max(top, math.Max(t.Start.Z, t.End.Z))
	}
	for _, i := range s.Standing {
		t := c.frame.Timbers()[i]
		length, level := geom.Dist(t.Start, t.End), math.Abs(c.frame.Axes(i).Axis.Z) < nearLevelSine
		at := func(mm float64) grasp {
			return grasp{timber: i, fromMM: mm, at: geom.Along(t.Start, mm, c.frame.Axes(i).Axis)}
		}
		if level && at(length/2).at.Z >= leastStandMM {
			spans = append(spans, at(length/2))
			for side, mm := range [2]float64{0, length} {
				if c.free(s, i, side) {
					ends = append(ends, at(mm))
				}
			}
		}
		if z := math.Max(t.Start.Z, t.End.Z); z > top-1 && !level {
			mm := 0.0
			if t.End.Z > t.Start.Z {
				mm = length
			}
			high = append(high, at(mm), at(length/2))
		}
	}
	weakest := func(a, b grasp) int {
		return cmp.Or(cmp.Compare(math.Round(c.bends(b.timber)), math.Round(c.bends(a.timber))), cmp.Compare(a.timber, b.timber))
	}
	slices.SortStableFunc(spans, weakest)
	slices.SortStableFunc(ends, weakest)
	var list []grasp
	for _, some := range [3][]grasp{spans, ends, high} {
		list = append(list, some[:min(len(some), mostStands/3)]...)
	}
	return list
}

// bends is how much a load at a place bends a stick for what it bears, L/(Fb·S) on its own: in millionths of 1/N, so that
// rounded it tells sticks apart whatever way the frame is turned.
func (c *Checker) bends(timber int) float64 {
	t := c.frame.Timbers()[timber]
	w, d := t.WidthMM/1000, t.DepthMM/1000
	return 1e6 * geom.Dist(t.Start, t.End) / 1000 / (c.strength.designs[timber].Fb * w * d * d / 6)
}

// free says whether no joint that is closed holds an end of a stick: 0 its start, 1 its end.
func (c *Checker) free(s *state, timber, side int) bool {
	t := c.frame.Timbers()[timber]
	at := [2]geom.Vec{t.Start, t.End}[side]
	reach := math.Max(t.WidthMM, t.DepthMM)
	for _, j := range c.frame.JointsOf(timber) {
		entering, receiving := c.frame.Ends(j)
		if s.stands[entering] && (receiving < 0 || s.stands[receiving]) && geom.Dist(c.frame.Joints()[j].At, at) < reach {
			return false
		}
	}
	return true
}
