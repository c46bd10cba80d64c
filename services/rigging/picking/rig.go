package picking

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/rigging/sling"
)

// Choker is the one hitch that is planned: drawn snug it keeps its place on a level stick, which a
// basket does not.
const Choker = "choker"

// rack is the gear in the order in which it is tried: the lightest first.
type rack struct {
	slings, shackles []Gear
	// unusable says of each sling that cannot be used in a pair of chokers why.
	unusable []string
	// any says that there is a sling at all.
	any bool
}

func newRack(gear []Gear) rack {
	var r rack
	sorted := slices.Clone(gear)
	slices.SortFunc(sorted, func(a, b Gear) int {
		return cmp.Or(cmp.Compare(a.MassKG, b.MassKG), cmp.Compare(a.ID, b.ID))
	})
	for _, g := range sorted {
		switch g.Kind {
		case Sling:
			r.any = true
			if why := unusable(g); why != "" {
				r.unusable = append(r.unusable, g.ID+" ("+why+")")
				continue
			}
			r.slings = append(r.slings, g)
		case Shackle:
			if g.Count >= 2 && g.VerticalKG > 0 && g.MassKG > 0 {
				r.shackles = append(r.shackles, g)
			}
		}
	}
	return r
}

func unusable(g Gear) string {
	switch {
	case !(g.MassKG > 0):
		return "its own mass is not known"
	case !(g.ChokerKG > 0):
		return "its tag gives no choker rating"
	case !(g.LengthMM > 0):
		return "its length is not known"
	case g.Count < 2:
		return "there are no two of it"
	}
	return ""
}

// option is one way of rigging a load.
type option struct {
	points    []Point
	limits    []Limit
	riggingKG float64
	hang      sling.Hanging
}

func (o option) allowed() bool { return !slices.ContainsFunc(o.limits, Limit.exceeded) }

// flattest is the least leg angle.
func (o option) flattest() float64 { return min(o.points[0].AngleDeg, o.points[1].AngleDeg) }

// worst is the largest share.
func (o option) worst() float64 {
	worst := 0.0
	for _, l := range o.limits {
		worst = max(worst, l.Share)
	}
	return worst
}

// rig finds the points and the gear, writes them into the pick, and gives the way of rigging, or nil
// after a refusal that leaves nothing to lift by.
func (p *planner) rig(l load, out *Pick) *option {
	stable := p.wholePlaces(l, p.stablePlaces(l, out), out)
	if len(stable) == 0 {
		return nil
	}
	var best *option
	for t := wide; t < tiers; t++ {
		chosen, over := p.best(l, stable, t)
		if chosen != nil {
			best = chosen
			break
		}
		if over != nil && (best == nil || over.worst() < best.worst()) {
			best = over
		}
	}
	if best == nil {
		out.Points = bare(stable[0])
		p.refuseRack(l, stable[0], out)
		return nil
	}
	out.Points, out.Limits, out.RiggingKG = best.points, best.limits, best.riggingKG
	out.HookHeightMM = max(best.hang.One.RiseMM, best.hang.Two.RiseMM)
	return best
}

// best tries the places of one tier with each pair of slings, and gives the first way that keeps every
// limit with legs as steep as preferred, else the first that keeps every limit; over is the one that
// exceeds them least, for want of any.
func (p *planner) best(l load, places []place, t tier) (chosen, over *option) {
	for i := range places {
		if places[i].tier != t {
			continue
		}
		for _, s := range p.rack.slings {
			o, err := p.option(l, &places[i], s)
			switch {
			case err != nil:
			case !o.allowed():
				if over == nil || o.worst() < over.worst() {
					over = &o
				}
			case o.flattest() >= p.settings.PreferredAngleDeg:
				return &o, nil
			case chosen == nil:
				chosen = &o
			}
		}
	}
	return chosen, over
}

// bare are the points of a place without gear.
func bare(pl place) []Point {
	return []Point{{Timber: pl.timbers[0], At: pl.at[0]}, {Timber: pl.timbers[1], At: pl.at[1]}}
}

// stablePlaces keeps the places with the center of gravity far enough below the pick line; without any
// the pick is refused, since the load could roll over.
func (p *planner) stablePlaces(l load, out *Pick) []place {
	if len(l.places) == 0 {
		switch {
		case len(l.timbers) > mostSticks:
			out.refuse("%s has %d sticks; a lift of more than %d is not planned here. Split it into assemblies that are lifted one by one.", l.id, len(l.timbers), mostSticks)
		case l.assembly:
			out.refuse("No two places for slings were found on %s: a level stick clear of joints on both sides of the center of gravity, or rafters or posts with a joint that keeps a sling from sliding up. Let a qualified rigger choose the pick.", l.id)
		default:
			out.refuse("No two places for slings clear of the ends of %s were found on both sides of its center of gravity. Let a qualified rigger choose the pick.", l.id)
		}
		return nil
	}
	highest, deepest := l.places[0], math.Inf(-1)
	stable := slices.DeleteFunc(l.places, func(pl place) bool {
		depth := pickDepth(&pl)
		deepest = max(deepest, depth)
		return !(depth > 0 && depth >= l.leastDepthMM)
	})
	if len(stable) > 0 {
		return stable
	}
	out.Points = bare(highest)
	if deepest <= 0 {
		out.refuse("%s could roll over: its center of gravity lies %.0f mm above the highest pair of places where slings hold. Put slings higher, above the center of gravity, or lift it another way.", l.id, -deepest)
	} else {
		out.refuse("%s could roll over: its center of gravity lies only %.0f mm below the highest pair of places where slings hold; %.0f mm are asked for. Put slings higher, or lift it another way.", l.id, deepest, l.leastDepthMM)
	}
	return nil
}

// pickDepth is how far the center of gravity lies below the line through the two points, measured
// plumb at the place of the center of gravity along the line; negative when it lies above.
func pickDepth(pl *place) float64 {
	one, two := pl.hung[0], pl.hung[1]
	level := geom.Sub(two, one)
	level.Z = 0
	run := geom.Norm(level)
	if run == 0 {
		return math.Inf(-1)
	}
	along := geom.Dot(geom.Sub(pl.center, one), level) / run
	return one.Z + (two.Z-one.Z)*along/run - pl.center.Z
}

// option rigs a load at a place with two of one sling, each choked round the stick, and a shackle in
// each choke when the rack has one that is strong enough. A leg is the sling less once round the stick.
// It is an error when the geometry does not work out.
func (p *planner) option(l load, pl *place, s Gear) (option, error) {
	timbers := p.frame.Timbers()
	var legs [2]float64
	for k, i := range pl.timbers {
		legs[k] = s.LengthMM - girth(timbers[i].WidthMM, timbers[i].DepthMM)
		if legs[k] <= 0 {
			return option{}, sling.ErrShort
		}
	}
	hang, err := sling.Hang(pl.hung[0], pl.hung[1], pl.center, legs[0], legs[1])
	if err != nil {
		return option{}, err
	}
	o := option{hang: hang}
	shackle, bridle, err := p.shackle(l, hang, 2*s.MassKG)
	if err != nil {
		return option{}, err
	}
	o.riggingKG = 2 * (s.MassKG + shackle.MassKG)
	for k, leg := range []sling.Leg{hang.One, hang.Two} {
		tension := bridle.TensionN[k]
		pull := limit(fmt.Sprintf("sling %d tension", k+1), tension, s.ChokerKG*sling.StandardGravity, "N",
			"use slings with a higher choker rating on their tag, or longer ones")
		o.points = append(o.points, Point{
			Timber: pl.timbers[k], At: pl.at[k], Sling: s.ID, Shackle: shackle.ID, Hitch: Choker,
			LegMM: leg.LengthMM(), AngleDeg: leg.AngleDeg(), TensionN: tension, Share: pull.Share,
		})
		o.limits = append(o.limits, pull, p.angleLimit(k, leg.AngleDeg()))
		if shackle.ID != "" {
			o.limits = append(o.limits, limit(fmt.Sprintf("shackle %d tension", k+1), tension,
				shackle.VerticalKG*sling.StandardGravity, "N", "use a stronger shackle"))
		}
	}
	o.limits = append(o.limits,
		limit("hanging out of level", hang.AlongDeg, p.settings.MostTiltDeg, "deg", "move the points so that the center of gravity lies midway between them"),
		limit("leaning out of its plane", hang.AcrossDeg, p.settings.MostLeanDeg, "deg", "hold it with another sling, or choose points in the plane of its center of gravity"),
	)
	if l.leastDepthMM > 0 {
		o.limits = append(o.limits, atLeast("center of gravity below the pick line", l.leastDepthMM, hang.DepthMM, "mm", "put the slings higher"))
	}
	if l.assembly {
		o.limits = append(o.limits, atLeast("hook over the center of gravity", l.highMM+p.settings.HookClearanceMM, hang.HookOverCenterMM, "mm",
			"use longer slings, so that the hook stays above the load"))
		if o.allowed() {
			o.limits = append(o.limits, p.clear(l, pl, hang.Hook)...)
		}
	}
	return o, nil
}

// angleLimit holds a leg to the least angle from level.
func (p *planner) angleLimit(k int, angleDeg float64) Limit {
	least := max(p.settings.LeastAngleDeg, PublishedLeastAngleDeg)
	advice := "use longer slings"
	if angleDeg < PublishedLeastAngleDeg {
		advice = fmt.Sprintf("use longer slings: below %d degrees the sheets of sling makers forbid a leg", PublishedLeastAngleDeg)
	}
	return atLeast(fmt.Sprintf("sling %d angle from level", k+1), least, angleDeg, "deg", advice)
}

// shackle chooses the lightest shackle that bears the legs' pull, and gives what the legs carry with it:
// the load with its allowance and all rigging under the hook.
func (p *planner) shackle(l load, hang sling.Hanging, slingsKG float64) (Gear, sling.Bridle, error) {
	carry := func(shackleKG float64) (sling.Bridle, error) {
		mass := l.massKG*(1+p.settings.AllowanceShare) + slingsKG + 2*shackleKG
		return sling.Share(mass*sling.StandardGravity, hang.One, hang.Two)
	}
	for _, g := range p.rack.shackles {
		b, err := carry(g.MassKG)
		if err != nil {
			return Gear{}, b, err
		}
		if max(b.TensionN[0], b.TensionN[1]) <= g.VerticalKG*sling.StandardGravity {
			return g, b, nil
		}
	}
	b, err := carry(0)
	return Gear{}, b, err
}

// girth is once round a section.
func girth(width, depth float64) float64 { return 2 * (width + depth) }

// refuseRack says why no sling of the rack can be used at a place.
func (p *planner) refuseRack(l load, pl place, out *Pick) {
	switch {
	case !p.rack.any:
		out.refuse("The company book holds no sling for %s: put in slings with length, own mass and the ratings of their tags.", l.id)
		return
	case len(p.rack.slings) == 0:
		out.refuse("No sling of the company book can be used as a pair of chokers for %s: %s. Put in what is missing, or other slings.", l.id, strings.Join(p.rack.unusable, ", "))
		return
	}
	need, err := p.shortest(pl)
	if err != nil {
		out.refuse("No pair of slings holds %s: %s. Let a qualified rigger choose the pick.", l.id, err)
		return
	}
	longest := 0.0
	for _, s := range p.rack.slings {
		longest = max(longest, s.LengthMM)
	}
	if longest >= need {
		out.refuse("No pair of slings holds %s level: its center of gravity does not lie below and between the places found. Let a qualified rigger choose the pick.", l.id)
		return
	}
	out.refuse("No pair of slings in the company book is long enough for %s: slings of at least %.0f mm reach it at %.0f degrees from level, the longest pair has %.0f mm. Put in longer slings.",
		l.id, math.Ceil(need), p.settings.LeastAngleDeg, longest)
}

// shortest is the length of two slings that reach a place at the least angle from level.
func (p *planner) shortest(pl place) (float64, error) {
	span := geom.Dist(pl.hung[0], pl.hung[1])
	if span == 0 {
		return 0, errors.New("both points are one")
	}
	timbers := p.frame.Timbers()
	around := 0.0
	for _, i := range pl.timbers {
		around = max(around, girth(timbers[i].WidthMM, timbers[i].DepthMM))
	}
	return span/2/math.Cos(p.settings.LeastAngleDeg*math.Pi/180) + around, nil
}
