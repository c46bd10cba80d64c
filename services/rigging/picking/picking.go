// Package picking works out how each assembly and each loose stick of a frame is lifted: its mass and
// center of gravity, two points above it for slings, slings and shackles from a rack, what they pull,
// what hangs on the hook, and whether a crane's chart allows it. It refuses what it cannot show to be
// within its limits and says what to do; it never only warns.
//
// It looks at the lift alone. Whether the timbers and joints bear the pull of the slings, the wind, the
// ground under the outriggers, and what stands in the way of the hook are not in it.
package picking

import (
	"context"
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/rigging/chart"
)

// Kind is what a piece of gear is.
type Kind int

// The kinds of gear.
const (
	Sling Kind = iota + 1
	Shackle
	Spreader
)

// Gear is some pieces of gear that are alike, with the ratings of their tag. Ratings come from the tag
// and from nowhere else; 0 means that the tag gives none.
type Gear struct {
	ID         string
	Kind       Kind
	Count      int
	LengthMM   float64
	VerticalKG float64
	ChokerKG   float64
	BasketKG   float64
	MassKG     float64
}

// Crane is what lifts.
type Crane struct {
	// Chart holds the gross ratings.
	Chart *chart.Chart
	// DeductionKG is the mass of hook block and everything on the crane that counts as load.
	DeductionKG float64
	// TwoBlockMM must stay free between hook and boom tip.
	TwoBlockMM float64
	// PivotBackMM and PivotHeightMM place the pivot of the boom as chart.Boom says.
	PivotBackMM, PivotHeightMM float64
}

// SetUp is a place of the crane.
type SetUp struct {
	ID string
	// Center is the center of rotation on the ground, in frame axes.
	Center geom.Vec
	// BoomLengthMM is the boom length that is planned.
	BoomLengthMM float64
}

// Zone is where pieces lie before they are lifted.
type Zone struct {
	ID string
	// Center is the center of gravity of what is picked from it, in frame axes.
	Center geom.Vec
}

// Site is what a lift needs to know of the job's place; what is absent refuses picks.
type Site struct {
	// CraneID is the crane that the job names; empty for none.
	CraneID string
	// Crane is that crane; nil when the company book does not hold it.
	Crane *Crane
	// SetUp is the crane's place; nil for none.
	SetUp *SetUp
	// Stack is where assemblies lie, Loose where loose pieces lie; nil for none.
	Stack, Loose *Zone
}

// Point is where a sling holds.
type Point struct {
	// Timber is the index of the stick in the frame.
	Timber int
	// At is the place on its upper face as it stands in the frame.
	At geom.Vec
	// Sling and Shackle are ids of gear; empty for none.
	Sling, Shackle string
	// Hitch is how the sling holds.
	Hitch string
	// LegMM is from the hook to the point.
	LegMM float64
	// AngleDeg is the angle of the leg from level.
	AngleDeg float64
	// TensionN is the pull along the leg.
	TensionN float64
	// Share is the tension over what the tag allows.
	Share float64
}

// FromTipMM is how far along its stick a point is, as a tape reads it: from the lower tip, tenon included, or
// of a level stick from the tip nearer to the origin.
func FromTipMM(f *frame.Frame, p Point) float64 {
	const levelMM = 1 // rise over the whole stick
	t, solid, axis := f.Timbers()[p.Timber], f.Solid(p.Timber), f.Axes(p.Timber).Axis
	fromStart := geom.Dot(geom.Sub(p.At, t.Start), axis) + solid.StartMM
	rise := t.End.Z - t.Start.Z
	startFirst := rise > 0
	if math.Abs(rise) <= levelMM {
		startFirst = geom.Norm(t.Start) <= geom.Norm(t.End)
	}
	if startFirst {
		return fromStart
	}
	return solid.OverallMM - fromStart
}

// Pick is one lift.
type Pick struct {
	// ID is the assembly's id or the stick's mark.
	ID       string
	Assembly bool
	// Timbers are the sticks that are lifted, by mark.
	Timbers []int
	// MassKG is of wood, pegs and hardware; Center their center of gravity as it stands in the frame.
	MassKG float64
	Center geom.Vec
	Points []Point
	// What hangs on the hook besides, and all together.
	RiggingKG, DeductionKG, AllowanceKG, HookLoadKG float64
	// Radii from the center of rotation.
	PickRadiusMM, SetRadiusMM, LargestRadiusMM float64
	// Row is the rating that was read at the largest radius; nil outside the chart.
	Row *chart.Row
	// ShareOfRated is hook load over rated capacity, both gross; 0 without a rating.
	ShareOfRated float64
	// Limits are all that were checked, the governing one first.
	Limits []Limit
	// Refusals say why it is refused and what to do; empty when it is accepted.
	Refusals []string
	// HookHeightMM is the height of the hook over the lower point.
	HookHeightMM float64
}

// Plan gives every pick of a frame: assemblies in the frame's order, then loose sticks by mark. It ends
// with the context's error when that is done before it is.
func Plan(ctx context.Context, f *frame.Frame, site Site, gear []Gear, s Settings) ([]Pick, error) {
	rack := newRack(gear)
	p := planner{frame: f, site: site, rack: rack, settings: s}
	p.hardware = p.carried()
	picks := make([]Pick, 0, len(f.Assemblies())+len(f.Loose()))
	for _, a := range f.Assemblies() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		picks = append(picks, p.pick(p.assembly(a)))
	}
	for _, i := range f.InOrder() {
		if f.Timbers()[i].Assembly != "" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		picks = append(picks, p.pick(p.stick(i)))
	}
	return picks, nil
}

// planner holds what is common to all picks.
type planner struct {
	frame    *frame.Frame
	site     Site
	rack     rack
	settings Settings
	// hardware is what each timber carries.
	hardware map[int][]int
}

// load is what one pick lifts, with the places where slings may hold.
type load struct {
	id       string
	assembly bool
	timbers  []int
	massKG   float64
	center   geom.Vec
	// lowMM is how far its lowest point hangs below the center of gravity, highMM how far its highest
	// point stands above it.
	lowMM, highMM float64
	// leastDepthMM is how far below the pick line the center of gravity has to be.
	leastDepthMM float64
	// zone is where it lies, and zoneUse the words for it.
	zone    *Zone
	zoneUse string
	// places are pairs of points, the best first.
	places []place
}

// pick plans one lift.
func (p *planner) pick(l load) Pick {
	out := Pick{ID: l.id, Assembly: l.assembly, Timbers: l.timbers, MassKG: l.massKG, Center: l.center}
	if !p.weighed(l, &out) {
		out.MassKG, out.Center = 0, geom.Vec{}
		return out
	}
	out.AllowanceKG = p.settings.AllowanceShare * l.massKG
	rigged := p.rig(l, &out)
	p.lift(l, rigged, &out)
	out.finish()
	return out
}
