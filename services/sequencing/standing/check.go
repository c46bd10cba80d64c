package standing

import (
	"context"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/model"
)

// Ask says how much of an answer is wanted. The zero value asks for the verdict at the situation's gust.
type Ask struct {
	// HighestGust asks for the highest gust at which it still stands.
	HighestGust bool
	// Keep keeps the runs and the structures in the verdict, for pictures.
	Keep bool
	// Light ends at the first failure: only Stands and, when it falls, Governing are to be relied on.
	Light bool
}

// Check checks one state. Its error is a *statics.InputError for a bad situation or bad rules, naming the piece, or that
// of the context.
func Check(ctx context.Context, f *frame.Frame, s Situation, r Rules, o Ask) (*Verdict, error) {
	return NewChecker(f, r).Check(ctx, s, o)
}

// Checker checks states of one frame under the same rules and reuses what they share. It is not safe for
// concurrent use.
type Checker struct {
	frame    *frame.Frame
	rules    Rules
	ways     [4]way
	press    [][4]float64
	strength *strength
	builders [2]*model.Builder
	// bad is why nothing can be checked.
	bad error
	// suspect is the name of the trial that failed last: neighbouring states tend to fail alike, so it is tried first.
	suspect string
}

// NewChecker makes a checker. Bad rules are an error of its Check.
func NewChecker(f *frame.Frame, r Rules) *Checker {
	c := &Checker{frame: f, rules: r}
	if c.bad = r.Check(); c.bad != nil {
		return c
	}
	c.ways = waysOf(f)
	c.press = pressOf(f, r, c.ways)
	if c.strength, c.bad = strengthOf(f, r); c.bad != nil {
		return c
	}
	for i := range c.builders {
		o := r.Joints
		o.Stiffness = model.Stiffness(i)
		if d := model.Defaults(); o.BeddingSoftNPerM3 == 0 && o.BeddingStiffNPerM3 == 0 {
			o.BeddingSoftNPerM3, o.BeddingStiffNPerM3 = d.BeddingSoftNPerM3, d.BeddingStiffNPerM3
		}
		if c.builders[i], c.bad = model.NewBuilder(f, o); c.bad != nil {
			return c
		}
	}
	return c
}

// Check checks one state as the function Check does.
func (c *Checker) Check(ctx context.Context, sit Situation, o Ask) (*Verdict, error) {
	if c.bad != nil {
		return nil, c.bad
	}
	s, err := c.prepare(sit)
	if err != nil {
		return nil, err
	}
	s.trials = c.trials(s)
	t := c.tallyOf(s)
	keep := &keeper{on: o.Keep}
	if err := c.run(ctx, s, t, c.everything(s), s.GustMPS, o.Light, keep); err != nil {
		return nil, err
	}
	v := c.verdict(s, t)
	if o.Keep {
		v.Runs, v.Structures = keep.runs, [2]*model.Structure{s.ends[0].st, s.ends[1].st}
	}
	if o.HighestGust {
		if v.HighestGustMPS, err = c.highest(ctx, s, v); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// keeper keeps the runs of a verdict when they are asked for.
type keeper struct {
	on   bool
	runs []Run
}

// everything are all trials at both ends, in the order in which they are run: the soft end first.
func (c *Checker) everything(s *state) []place {
	var list []place
	for e := range s.ends {
		for i := range s.trials {
			list = append(list, place{i, e})
		}
	}
	return list
}

// batch is how many trials are solved together when the first failure ends it.
const batch = 4

// run runs trials and notes what they use up. With light it ends after the first failure.
func (c *Checker) run(ctx context.Context, s *state, t *tally, list []place, gustMPS float64, light bool, keep *keeper) error {
	if light {
		list = c.suspectFirst(s, list)
	}
	for len(list) > 0 {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := c.stretch(s, list, light)
		if err := c.solve(s, t, list[:n], gustMPS, keep); err != nil {
			return err
		}
		if light && t.fails() {
			return nil
		}
		list = list[n:]
	}
	return nil
}

// stretch is how many of the trials to come are solved together: those at one end, and a few only when the first
// failure may end it.
func (c *Checker) stretch(s *state, list []place, light bool) int {
	most := len(list)
	if light {
		most = min(most, batch)
		if s.trials[list[0].trial].name == c.suspect {
			most = 1
		}
	}
	n := 1
	for n < most && list[n].end == list[0].end {
		n++
	}
	return n
}

// suspectFirst puts the trial first that failed last.
func (c *Checker) suspectFirst(s *state, list []place) []place {
	for i, p := range list {
		if s.trials[p.trial].name == c.suspect {
			first := append([]place{p}, list[:i]...)
			return append(first, list[i+1:]...)
		}
	}
	return list
}

// asksBuckling says whether the buckling factor of a trial is looked for: at the soft end, which is the least, under the
// most weight with nothing of the wind, once along and once across.
func (c *Checker) asksBuckling(s *state, p place) bool {
	t := &s.trials[p.trial]
	if p.end != int(model.Soft) || t.windy() || t.pull != nil || t.way > 0 && t.way%2 == 1 {
		return false
	}
	for i := range c.rules.Combinations {
		o := &c.rules.Combinations[i]
		if o.Wind == 0 && (o.Weight > t.combo.Weight || o.Weight == t.combo.Weight && o.Person > t.combo.Person) {
			return false
		}
	}
	return true
}

// runName names a run: its combination with direction, and the end of the range.
func runName(s *state, p place) string {
	return s.trials[p.trial].name + ", " + model.Stiffness(p.end).String()
}

func (c *Checker) tallyOf(s *state) *tally {
	e := s.ends[0]
	return newTally(len(e.st.Joints), len(c.frame.Timbers()), len(s.Braces), len(e.feet))
}
