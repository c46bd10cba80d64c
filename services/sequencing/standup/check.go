package standup

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// Defaults and bounds of a problem. All are common practice.
const (
	// defaultSlingDeg is the angle of the legs that riggers look for first.
	defaultSlingDeg = 60.0
	leastSlingDeg   = 30.0
	// DefaultDynamicFactor is on the weight for the motion of the hook: the upper end of what small timber work takes.
	DefaultDynamicFactor = 1.25
	mostDynamicFactor    = 3.0
	defaultSteps         = 7
	leastSteps           = 2
	mostSteps            = 91
	// leanDeg is how far out of plumb the hook line may come while the bent is stood up: that pulls on the feet.
	leanDeg = 3.0
	// mostThickMM is how far apart the centre lines of a bent may lie across its plane.
	mostThickMM = 400.0
)

// Check stands a bent up, from flat to plumb and then hanging free, and says how it bears it. When it does not, it tries
// remedies and checks each again. Its error is a *statics.InputError for a problem that makes no sense, or the context's.
func Check(ctx context.Context, p Problem) (*Answer, error) {
	c, s, err := newChecker(p)
	if err != nil {
		return nil, err
	}
	t, err := c.check(ctx, s)
	if err != nil {
		return nil, err
	}
	a := &Answer{Holds: t.holds(), Governing: t.governing, Steps: t.steps, Points: s.points, Notes: c.notes(s, t)}
	if a.Holds {
		return a, nil
	}
	if a.Remedies, err = c.remedies(ctx, s, t); err != nil {
		return nil, err
	}
	return a, nil
}

// checker is what all set-ups of one bent have in common.
type checker struct {
	f        *frame.Frame
	pieces   []int
	rules    standing.Rules
	builders [2]*model.Builder
	judge    *standing.Checker
	plane    plane
	massKG   float64
	center   geom.Vec
	factor   float64
	steps    int
}

// plane is the upright plane of a bent: its level direction and the one out of it.
type plane struct{ along, normal geom.Vec }

// setup is one way of lifting it.
type setup struct {
	pegged   []bool
	points   []Point
	slingDeg float64
	// tied are the posts whose feet are tied, in order along the bent.
	tied []int
	// across is lashed across the upright sticks, along to the stick alongTimber, up from each outer foot to its sling.
	across, along, up *brace.Lumber
	alongTimber       int
	// strapped are joints that straps draw together, by index.
	strapped []int
	// blocked says that kick blocks keep the feet from sliding.
	blocked bool
}

// tried is how one set-up fared.
type tried struct {
	steps     []Step
	governing standing.Usage
	// torn are the joints that are pulled apart or nearly so at some step, by index.
	torn []int
	// waiting are the joints on which a stick hangs alone, tied up, by index.
	waiting []int
	// leans is how far out of plumb it hangs, in degrees.
	leans float64
}

func (t *tried) holds() bool { return t.governing.Share <= 1 }

func fault(piece, format string, args ...any) error {
	return &statics.InputError{Piece: piece, Problem: fmt.Sprintf(format, args...)}
}

// newChecker looks at a problem once, and fills in what it leaves open.
func newChecker(p Problem) (*checker, setup, error) {
	if p.Frame == nil {
		return nil, setup{}, fault("frame", "there is no frame; give one")
	}
	c := &checker{f: p.Frame, rules: p.Rules, factor: p.DynamicFactor, steps: p.Steps}
	s := setup{pegged: slices.Clone(p.Pegged), points: p.Points, slingDeg: p.SlingDeg, across: p.Strongback, alongTimber: -1}
	if err := c.numbers(&s); err != nil {
		return nil, s, err
	}
	if err := c.takePieces(p.Pieces); err != nil {
		return nil, s, err
	}
	if err := c.findPlane(); err != nil {
		return nil, s, err
	}
	if err := c.takeStrongback(s.across); err != nil {
		return nil, s, err
	}
	c.massKG, c.center = c.f.Weigh(c.pieces)
	var err error
	if s.tied, err = c.takeFeet(p.FeetTied); err != nil {
		return nil, s, err
	}
	if s.points, err = c.takePoints(p.Points); err != nil {
		return nil, s, err
	}
	c.judge = standing.NewChecker(c.f, p.Rules)
	for i := range c.builders {
		o := p.Rules.Joints
		o.Stiffness = model.Stiffness(i)
		if o.BeddingSoftNPerM3 == 0 {
			d := model.Defaults()
			o.BeddingSoftNPerM3, o.BeddingStiffNPerM3 = d.BeddingSoftNPerM3, d.BeddingStiffNPerM3
		}
		if c.builders[i], err = model.NewBuilder(c.f, o); err != nil {
			return nil, s, err
		}
	}
	return c, s, nil
}

func (c *checker) numbers(s *setup) error {
	if s.slingDeg == 0 {
		s.slingDeg = defaultSlingDeg
	}
	if c.factor == 0 {
		c.factor = DefaultDynamicFactor
	}
	if c.steps == 0 {
		c.steps = defaultSteps
	}
	switch {
	case !(s.slingDeg >= leastSlingDeg && s.slingDeg <= 90):
		return fault("slings", "the angle of the slings from level, %g, is not from %.0f to 90 degrees; use longer slings, or 90 for a spreader", s.slingDeg, leastSlingDeg)
	case !(c.factor >= 1 && c.factor <= mostDynamicFactor):
		return fault("dynamic factor", "the factor on the weight, %g, is not from 1 to %.0f; put it right", c.factor, mostDynamicFactor)
	case c.steps < leastSteps || c.steps > mostSteps:
		return fault("steps", "%d steps are asked for; take from %d to %d", c.steps, leastSteps, mostSteps)
	case len(s.pegged) != len(c.f.Joints()):
		return fault("pegs", "there are %d joints in the frame, but %d are said to be pegged or not; say it of each", len(c.f.Joints()), len(s.pegged))
	}
	return nil
}

func (c *checker) takePieces(pieces []int) error {
	seen := make(map[int]bool, len(pieces))
	for _, i := range pieces {
		switch {
		case i < 0 || i >= len(c.f.Timbers()):
			return fault("pieces", "there is no timber with index %d; name timbers of the frame", i)
		case seen[i]:
			return fault(c.f.Timbers()[i].Mark, "it is named twice among the pieces; name it once")
		}
		seen[i] = true
		c.pieces = append(c.pieces, i)
	}
	if len(c.pieces) < 2 {
		return fault("pieces", "a bent has at least two sticks; name those that are stood up together")
	}
	slices.Sort(c.pieces)
	return nil
}

func (c *checker) takeStrongback(l *brace.Lumber) error {
	if l == nil {
		return nil
	}
	if _, err := l.Design(); err != nil {
		return fault("strongback", "its lumber is not known: %v", err)
	}
	if up, _ := c.uprights(); len(up) < 2 {
		return fault("strongback", "there are not two upright sticks to lash it across; leave it out")
	}
	return nil
}

// takeFeet orders the posts whose feet are to be tied along the bent.
func (c *checker) takeFeet(tied []int) ([]int, error) {
	tied = slices.Clone(tied)
	for k, i := range tied {
		switch {
		case !c.has(i):
			return nil, fault("feet", "a post whose foot is to be tied is not among the pieces; name posts of the bent")
		case math.Abs(c.f.Axes(i).Axis.Z) <= uprightSine:
			return nil, fault(c.f.Timbers()[i].Mark, "its foot is to be tied, but it is no post; name posts of the bent")
		case slices.Contains(tied[:k], i):
			return nil, fault(c.f.Timbers()[i].Mark, "its foot is to be tied twice; name it once")
		}
	}
	if len(tied) == 1 {
		return nil, fault(c.f.Timbers()[tied[0]].Mark, "its foot is to be tied to no other; name at least two posts")
	}
	slices.SortFunc(tied, c.byAlong)
	return tied, nil
}

// byAlong orders timbers along the bent.
func (c *checker) byAlong(a, b int) int {
	at := func(i int) float64 {
		t := c.f.Timbers()[i]
		return geom.Dot(geom.Mid(t.Start, t.End), c.plane.along)
	}
	switch d := at(a) - at(b); {
	case d < -1e-6:
		return -1
	case d > 1e-6:
		return 1
	}
	return a - b
}

func (c *checker) has(i int) bool { return slices.Contains(c.pieces, i) }

// findPlane finds the bent's plane: through the level direction in which its sticks lie farthest apart.
func (c *checker) findPlane() error {
	var ends []geom.Vec
	for _, i := range c.pieces {
		t := c.f.Timbers()[i]
		ends = append(ends, t.Start, t.End)
	}
	var sum geom.Vec
	for _, p := range ends {
		sum = geom.Add(sum, p)
	}
	middle := geom.Scale(1/float64(len(ends)), sum)
	var xx, xy, yy float64
	for _, p := range ends {
		d := geom.Sub(p, middle)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	along := towardsFarthest(ends, geom.V(cos, sin, 0))
	c.plane = plane{along: along, normal: geom.Cross(geom.Up(), along)}
	least, most, far := math.Inf(1), math.Inf(-1), 0.0
	for _, p := range ends {
		d := geom.Sub(p, middle)
		least, most = math.Min(least, geom.Dot(d, c.plane.normal)), math.Max(most, geom.Dot(d, c.plane.normal))
		far = math.Max(far, math.Abs(geom.Dot(d, along)))
	}
	if far < 100 {
		return fault("pieces", "they stand in one line, so there is no bent to stand up; name the sticks of a bent")
	}
	if most-least > mostThickMM {
		return fault("pieces", "their centre lines lie %.0f mm apart across their plane; a bent lies in one plane, so leave out what does not", most-least)
	}
	return nil
}

// towardsFarthest turns a level direction so that it runs from the first of some points to the one farthest from it: the same
// way however the frame is turned in plan.
func towardsFarthest(points []geom.Vec, along geom.Vec) geom.Vec {
	const tie = 1e-6
	far := 0.0
	for _, p := range points {
		if d := geom.Dot(geom.Sub(p, points[0]), along); math.Abs(d) > math.Abs(far)+tie {
			far = d
		}
	}
	if far < 0 {
		return geom.Scale(-1, along)
	}
	return along
}
