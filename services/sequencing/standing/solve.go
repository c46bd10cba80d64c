package standing

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// mostResidual is the largest imbalance of an answer that is believed.
const mostResidual = 1e-6

// trustSecond is the share from which a run is done again with its own axial forces in the displaced shape, instead of
// those of the weight.
const trustSecond = 0.8

// solve solves trials of one end together and notes what they use up.
//
// The displaced shape counts always. The axial forces in it are first those of the weight alone, so that all trials of
// the same weight share their factors: what a frame carries comes from its weight, and wind on bare sticks changes it little.
// A run that uses up more than trustSecond, but not all, is done again with its own.
func (c *Checker) solve(s *state, t *tally, list []place, gustMPS float64, keep *keeper) error {
	e := s.ends[list[0].end]
	if err := c.findPerson(s, list); err != nil {
		return err
	}
	for len(list) > 0 {
		n := 1
		for n < len(list) && baseOf(s, list[n]) == baseOf(s, list[0]) {
			n++
		}
		if err := c.solveAlike(s, t, e, list[:n], gustMPS, keep); err != nil {
			return err
		}
		list = list[n:]
	}
	return nil
}

// solveAlike solves trials of one end that have the same weight.
func (c *Checker) solveAlike(s *state, t *tally, e *end, list []place, gustMPS float64, keep *keeper) error {
	base, err := c.base(s, e, list[0])
	if err != nil {
		return err
	}
	cases := make([]statics.Case, len(list))
	o := statics.Options{Axial: base.axial, SecondOrder: base.axial == nil}
	for i, p := range list {
		cases[i] = c.caseOf(s, e, &s.trials[p.trial], gustMPS)
	}
	if base.result != nil {
		// Always from the weight alone: where friction leaves a choice, the answer must not depend on what was run before.
		o.Start = []*statics.Result{base.result}
	}
	results, err := e.sv.Solve(cases, o)
	if err != nil {
		return err
	}
	for i, p := range list {
		before := t.fails()
		r, err := c.settle(s, t, e, &cases[i], &results[i], p, keep)
		if err != nil {
			return err
		}
		if keep.on {
			keep.runs = append(keep.runs, Run{Name: runName(s, p), Stiffness: model.Stiffness(p.end), Case: cases[i], Result: r})
		}
		if !before && t.fails() {
			c.suspect = s.trials[p.trial].name
		}
	}
	return nil
}

// settle judges one run, once more with its own axial forces when it comes near to failing; it gives the last result.
func (c *Checker) settle(s *state, t *tally, e *end, k *statics.Case, r *statics.Result, p place, keep *keeper) (*statics.Result, error) {
	t.run = 0
	if err := c.insist(e, k, r); err != nil {
		return nil, err
	}
	c.judgeOutcome(t, s, e, k, r, p)
	s.shares[p] = t.run
	if r.Outcome != statics.Solved {
		s.shares[p] = math.Inf(1)
		return r, nil
	}
	if err := c.checkBuckling(s, e, k, r, p, keep.on); err != nil {
		return nil, err
	}
	if r.Buckling > 0 {
		c.judgeBuckling(t, r, p)
	}
	if t.run <= trustSecond || t.run > 1 {
		return r, nil
	}
	again, err := e.sv.Solve([]statics.Case{*k}, statics.Options{SecondOrder: true, Start: []*statics.Result{r}})
	if err != nil {
		return nil, err
	}
	if again[0].Outcome != statics.Unsettled { // what settled before has been judged
		c.judgeOutcome(t, s, e, k, &again[0], p)
	}
	return &again[0], nil
}

// nudges are factors on the weight with which a run that did not settle is tried again: what opens and closes without end
// hangs on forces of nothing, and a hair more or less of weight decides them.
func nudges() [4]float64 { return [4]float64{1, 1.0005, 0.9995, 1.002} }

// insist does a run that did not settle again, with its own axial forces.
func (c *Checker) insist(e *end, k *statics.Case, r *statics.Result) error {
	for _, f := range nudges() {
		if r.Outcome != statics.Unsettled {
			return nil
		}
		nudged := *k
		nudged.Gravity = geom.Scale(f, k.Gravity)
		again, err := e.sv.Solve([]statics.Case{nudged}, statics.Options{SecondOrder: true})
		if err != nil {
			return err
		}
		*r = again[0]
	}
	return nil
}

// checkBuckling fills in the buckling factor of a run that it is asked of when it may be below the least, or when the runs
// are kept. Whether it is, one factor tells: at the least factor times the axial forces the frame must still find rest.
func (c *Checker) checkBuckling(s *state, e *end, k *statics.Case, r *statics.Result, p place, always bool) error {
	if !c.asksBuckling(s, p) {
		return nil
	}
	start := []*statics.Result{r}
	if !always {
		axial := e.sv.Axial(r)
		for i := range axial {
			axial[i] *= c.rules.LeastBuckling
		}
		results, err := e.sv.Solve([]statics.Case{*k}, statics.Options{Axial: axial, Start: start})
		if err != nil || results[0].Outcome == statics.Solved {
			return err
		}
	}
	results, err := e.sv.Solve([]statics.Case{*k}, statics.Options{Buckling: true, Axial: e.sv.Axial(r), Start: start})
	if err != nil {
		return err
	}
	r.Buckling = results[0].Buckling
	return nil
}

// judgeOutcome notes what one result uses up, or how it falls.
func (c *Checker) judgeOutcome(t *tally, s *state, e *end, k *statics.Case, r *statics.Result, p place) {
	if r.Outcome == statics.Solved && !(r.Residual <= mostResidual) {
		r.Outcome = statics.Unsettled
	}
	if r.Outcome == statics.Solved {
		c.judge(t, s, e, k, r, p)
	} else {
		c.fall(t, s, e, k, r, p)
	}
}

// weight is what a trial weighs: the factors on the weight and on the person.
type weight struct{ own, person float64 }

func baseOf(s *state, p place) weight {
	k := s.trials[p.trial].combo
	return weight{k.Weight, k.Person}
}

// base is the answer of an end to a weight alone, from which all trials with that weight begin; axial is nil when it does not
// stand even so.
type base struct {
	weight weight
	result *statics.Result
	axial  []float64
}

func (c *Checker) base(s *state, e *end, p place) (*base, error) {
	w := baseOf(s, p)
	for i := range e.bases {
		if e.bases[i].weight == w {
			return &e.bases[i], nil
		}
	}
	still := trial{combo: &Combination{Weight: w.own, Person: w.person}, way: -1}
	var o statics.Options
	if len(e.bases) > 0 {
		o.Start = []*statics.Result{e.bases[0].result}
	}
	results, err := e.sv.Solve([]statics.Case{c.caseOf(s, e, &still, 0)}, o)
	if err != nil {
		return nil, err
	}
	b := base{weight: w}
	if results[0].Outcome == statics.Solved {
		b.result, b.axial = &results[0], e.sv.Axial(&results[0])
	}
	e.bases = append(e.bases, b)
	return &e.bases[len(e.bases)-1], nil
}
