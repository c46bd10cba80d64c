package picking

import (
	"errors"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/rigging/chart"
)

// lift checks the crane: what hangs on the hook, how far out on its whole way, and how high.
func (p *planner) lift(l load, rigged *option, out *Pick) {
	if !p.site.known(l, out) {
		out.HookLoadKG = out.MassKG + out.AllowanceKG + out.RiggingKG
		return
	}
	crane, setUp := p.site.Crane, p.site.SetUp
	out.DeductionKG = crane.DeductionKG
	out.HookLoadKG = out.MassKG + out.AllowanceKG + out.RiggingKG + out.DeductionKG
	out.SetRadiusMM = radius(setUp.Center, l.center)
	if l.zone == nil {
		out.refuse("The site has no staging zone for %s: add one with the center of gravity of what is picked from it.", l.zoneUse)
		return
	}
	out.PickRadiusMM = radius(setUp.Center, l.zone.Center)
	reach := 0.0
	if rigged != nil && l.assembly {
		reach = standUpReach(rigged.hang.DepthMM, l.lowMM)
	}
	// Between pick and set the hook goes round at the larger of the two radii, and comes in or out over
	// the end that is nearer; so nowhere on its way is it farther out than the largest of these.
	out.LargestRadiusMM = max(out.PickRadiusMM+reach, out.SetRadiusMM)
	p.readChart(out)
	if reach > 0 {
		p.readNearest(out.PickRadiusMM-reach, out)
	}
	if rigged != nil {
		p.headroom(l, *rigged, reach, out)
	}
}

// known refuses what lacks a crane or a place for it.
func (s Site) known(l load, out *Pick) bool {
	before := len(out.Refusals)
	switch {
	case s.CraneID == "":
		out.refuse("No crane is chosen for this job: choose one of the company book.")
	case s.Crane == nil:
		out.refuse("The job's crane %s is not in the company book: put it in with its chart, or choose another for the job.", s.CraneID)
	case s.Crane.Chart == nil:
		out.refuse("The crane %s has no chart: put its chart into the company book.", s.CraneID)
	}
	switch {
	case s.SetUp == nil:
		out.refuse("The site has no crane set-up: add the place of the crane and its planned boom length.")
	case !(s.SetUp.BoomLengthMM > 0):
		out.refuse("The crane set-up %s has no boom length: add the one that is planned.", s.SetUp.ID)
	}
	return len(out.Refusals) == before
}

// radius is the level distance from the center of rotation.
func radius(center, at geom.Vec) float64 {
	return math.Hypot(at.X-center.X, at.Y-center.Y)
}

// standUpReach is how much farther from the crane than the center of gravity of the flat stack the hook
// may come while an assembly is stood up on its feet. Flat, the hook is over the pick line, which is
// farther from the feet than the center of gravity by the depth of that below the line; plumb, it is
// over the feet, which are the height of the center of gravity away. How the stack lies is not known, so
// the larger of both counts, straight away from the crane.
func standUpReach(depthMM, centerOverFeetMM float64) float64 {
	return max(depthMM, centerOverFeetMM)
}

// readChart reads the ratings at pick, set and the largest radius.
func (p *planner) readChart(out *Pick) {
	for _, at := range []struct {
		name   string
		radius float64
		row    **chart.Row
	}{
		{"pick radius", out.PickRadiusMM, nil},
		{"set radius", out.SetRadiusMM, nil},
		{"largest radius", out.LargestRadiusMM, &out.Row},
	} {
		row, err := p.site.Crane.Chart.Read(p.site.SetUp.BoomLengthMM, at.radius)
		var outside *chart.Outside
		if errors.As(err, &outside) {
			if outside.Side == chart.BoomTooShort || outside.Side == chart.BoomTooLong {
				out.refuse("Outside the chart: %s. Plan a boom length that the chart has at the set-up %s.", outside, p.site.SetUp.ID)
				return
			}
			out.refuse("Outside the chart at the %s: %s. Move the crane set-up or the staging zone, or plan another boom length.", at.name, outside)
			continue
		}
		l := limit("crane at the "+at.name, out.HookLoadKG, row.RatedKG, "kg",
			"move the crane nearer, plan another boom length, or take a larger crane")
		out.Limits = append(out.Limits, l)
		if at.row != nil {
			*at.row = &row
			out.ShareOfRated = l.Share
		}
	}
}

// readNearest refuses an assembly whose hook may come nearer to the crane than its chart begins while it is
// stood up: it may be as much nearer as it may be farther out, by the way the stack lies.
func (p *planner) readNearest(radiusMM float64, out *Pick) {
	_, err := p.site.Crane.Chart.Read(p.site.SetUp.BoomLengthMM, max(0, radiusMM))
	var outside *chart.Outside
	if errors.As(err, &outside) && outside.Side == chart.BelowLeastRadius {
		out.refuse("Outside the chart at the nearest radius, while it is stood up: %s. Move the crane set-up and the staging zone farther apart.", outside)
	}
}

// headroom checks the height of the boom tip: over the staging zone with the load hanging clear of where
// it lay, and over its place in the frame with the load clear of where it comes to rest.
func (p *planner) headroom(l load, rigged option, reach float64, out *Pick) {
	crane, setUp := p.site.Crane, p.site.SetUp
	boom := chart.Boom{LengthMM: setUp.BoomLengthMM, PivotBackMM: crane.PivotBackMM, PivotHeightMM: crane.PivotHeightMM}
	for _, at := range []struct {
		name   string
		radius float64
		hook   float64
	}{
		{"headroom at the pick", out.PickRadiusMM + reach, l.zone.Center.Z + l.lowMM + rigged.hang.HookOverCenterMM},
		{"headroom at the set", out.SetRadiusMM, l.center.Z + rigged.hang.HookOverCenterMM},
	} {
		tip, err := boom.TipHeightMM(at.radius)
		if err != nil {
			out.refuse("No %s: %s. Move the crane set-up or the staging zone, or plan a longer boom.", at.name, err)
			continue
		}
		need := at.hook + p.settings.LiftClearanceMM + crane.TwoBlockMM - setUp.Center.Z
		out.Limits = append(out.Limits, limit(at.name, need, tip, "mm",
			"plan a longer boom, shorter slings, or a set-up nearer to it"))
	}
}
