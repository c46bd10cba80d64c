package picking

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// Shares of a length within which slings are looked for, and the steps in between.
const (
	leastReach  = 0.15
	mostReach   = 0.42
	reachSteps  = 54
	nominReach  = 0.5 - OverhangShare
	narrowShare = 0.20
	// evenMM is how unequal the distances of two points from the center of gravity may be before they
	// are not a pair, and how unequal the heights of two level sticks.
	evenMM = 150
)

// stickPlaces gives pairs of points on a loose stick, symmetric about its center of gravity and, where
// that can be, clear of its joints, nearest first to the pair that bends it least: an overhang of 0.2071 of its length.
func (p *planner) stickPlaces(b bar, center geom.Vec) []place {
	solid := p.frame.Solid(b.index)
	at := geom.Dot(geom.Sub(center, b.start), b.axes.Axis)
	up, half := b.top()
	side := geom.Cross(up, b.axes.Axis)
	off := geom.Sub(b.start, center)
	candidates := reaches(solid.OverallMM)
	out := make([]place, 0, len(candidates))
	for _, reach := range candidates {
		one, oneClear := b.free(at-reach.mm, p.settings.JointClearanceMM)
		two, twoClear := b.free(at+reach.mm, p.settings.JointClearanceMM)
		if !one || !two {
			continue
		}
		pl := place{timbers: [2]int{b.index, b.index}, nearness: reach.off}
		if !oneClear || !twoClear {
			pl.tier = overOpen
		}
		for k, sign := range []float64{-1, 1} {
			pl.at[k] = geom.Along(geom.Along(b.start, at+sign*reach.mm, b.axes.Axis), half, up)
			pl.hung[k] = geom.V(sign*reach.mm, geom.Dot(off, side), geom.Dot(off, up)+half)
		}
		out = append(out, pl)
	}
	return out
}

type reach struct{ mm, off float64 }

// reaches gives distances from the center of gravity for a length, the best first.
func reaches(length float64) []reach {
	out := make([]reach, 0, reachSteps+2)
	out = append(out, reach{nominReach * length, 0})
	for k := 0; k <= reachSteps; k++ {
		share := leastReach + (mostReach-leastReach)*float64(k)/reachSteps
		out = append(out, reach{share * length, math.Abs(share - nominReach)})
	}
	slices.SortStableFunc(out, func(a, b reach) int { return cmp.Compare(a.off, b.off) })
	return out
}

// assemblyPlaces gives pairs of points on an assembly, the best first: wide ones before narrow ones,
// those clear of empty joints first, high ones before low ones. On a level stick a choker stays where it is drawn; on a sloping or plumb
// one the pull slides it uphill, so it holds only below a joint that stops it.
func (p *planner) assemblyPlaces(a frame.Assembly, members []int, center geom.Vec) []place {
	u := p.heading(a, members)
	flat := func(v geom.Vec) float64 { return geom.Dot(geom.Sub(v, center), u) }
	bars := make([]bar, 0, len(members))
	least, most := math.Inf(1), math.Inf(-1)
	for _, m := range members {
		b := p.stickOf(m)
		bars = append(bars, b)
		least = min(least, flat(b.start), flat(b.end))
		most = max(most, flat(b.start), flat(b.end))
	}
	extent := most - least
	var out []place
	out = append(out, p.levelPlaces(bars, flat, u)...)
	out = append(out, p.heldPlaces(bars, flat, u)...)
	for i := range out {
		out[i].hung, out[i].center = out[i].at, center
		if math.Abs(flat(out[i].at[1])-flat(out[i].at[0])) < narrowShare*extent {
			out[i].tier = narrow
		}
	}
	timbers := p.frame.Timbers()
	slices.SortStableFunc(out, func(a, b place) int {
		high := func(pl place) float64 { return math.Round(pl.at[0].Z + pl.at[1].Z) }
		return cmp.Or(cmp.Compare(a.tier, b.tier), cmp.Compare(high(b), high(a)), cmp.Compare(a.nearness, b.nearness),
			cmp.Compare(timbers[a.timbers[0]].Mark, timbers[b.timbers[0]].Mark))
	})
	return out
}

// levelPlaces pairs points on level sticks of one height, one on each side of the center of gravity.
func (p *planner) levelPlaces(bars []bar, flat func(geom.Vec) float64, u geom.Vec) []place {
	var out []place
	for i, left := range bars {
		if !left.level() || math.Abs(geom.Dot(left.axes.Axis, u)) < 0.5 {
			continue
		}
		for j, right := range bars {
			if !right.level() || math.Abs(geom.Dot(right.axes.Axis, u)) < 0.5 ||
				(i != j && math.Abs(left.on(0).Z-right.on(0).Z) > evenMM) {
				continue
			}
			length := max(flat(right.start), flat(right.end)) - min(flat(left.start), flat(left.end))
			if length <= 0 {
				continue
			}
			for _, r := range reaches(length) {
				if pl, ok := p.pair(left, right, flat, u, r.mm); ok {
					pl.nearness = r.off
					out = append(out, pl)
				}
			}
		}
	}
	return out
}

// pair puts one point at -reach on the left stick and one at +reach on the right one.
func (p *planner) pair(left, right bar, flat func(geom.Vec) float64, u geom.Vec, reach float64) (place, bool) {
	pl := place{timbers: [2]int{left.index, right.index}}
	for k, b := range []bar{left, right} {
		want := float64(2*k-1) * reach
		at := (want - flat(b.on(0))) / geom.Dot(b.axes.Axis, u)
		free, ofOpen := b.free(at, p.settings.JointClearanceMM)
		if !free {
			return place{}, false
		}
		if !ofOpen {
			pl.tier = overOpen
		}
		pl.at[k] = b.on(at)
	}
	return pl, true
}

// held is a place on a steep stick just below a joint that keeps a sling from sliding uphill.
type held struct {
	bar bar
	// at is along the stick, off is level from the center of gravity.
	at, off float64
}

// heldPlaces pairs points on steep sticks, each just below a joint of the assembly.
func (p *planner) heldPlaces(bars []bar, flat func(geom.Vec) float64, u geom.Vec) []place {
	var lefts, rights []held
	for _, b := range bars {
		if b.level() {
			continue
		}
		for _, s := range b.made {
			if !s.stops {
				continue
			}
			// A hair below the stretch, so that it does not count as in it.
			at := s.from - 1
			if b.axes.Axis.Z < 0 {
				at = s.to + 1
			}
			if free, _ := b.free(at, p.settings.JointClearanceMM); !free {
				continue
			}
			h := held{b, at, flat(b.on(at))}
			if h.off < 0 {
				lefts = append(lefts, h)
			} else {
				rights = append(rights, h)
			}
		}
	}
	var out []place
	for _, l := range lefts {
		for _, r := range rights {
			if pl, ok := p.heldPair(l, r, u); ok {
				out = append(out, pl)
			}
		}
	}
	return out
}

// heldPair makes two held places symmetric about the center of gravity: the nearer one moves down its
// stick until both are equally far, and then stays a little below its stop. Where that is farther than the
// clearance of joints it stays at its stop, since from farther down it would slide up to it under load;
// what is missing then shows as tilt.
func (p *planner) heldPair(l, r held, u geom.Vec) (place, bool) {
	far := max(-l.off, r.off)
	if far+l.off > evenMM || far-r.off > evenMM {
		return place{}, false
	}
	pl := place{timbers: [2]int{l.bar.index, r.bar.index}}
	for k, h := range []held{l, r} {
		along := geom.Dot(h.bar.axes.Axis, u)
		at := h.at
		if miss := float64(2*k-1)*far - h.off; miss != 0 {
			if math.Abs(along) < 0.2 {
				// A plumb stick cannot move its point level; what is missing shows as tilt.
				miss = 0
			}
			move := 0.0
			if miss != 0 {
				move = miss / along
			}
			// Only downhill: uphill is the stop.
			if move*h.bar.axes.Axis.Z > 0 {
				return place{}, false
			}
			if math.Abs(move) <= p.settings.JointClearanceMM {
				at += move
			}
		}
		free, ofOpen := h.bar.free(at, p.settings.JointClearanceMM)
		if !free {
			return place{}, false
		}
		if !ofOpen {
			pl.tier = overOpen
		}
		pl.at[k] = h.bar.on(at)
	}
	return pl, true
}

// heading gives the level direction of an assembly's plane: that of its line, else that of its longest
// level extent.
func (p *planner) heading(a frame.Assembly, members []int) geom.Vec {
	grid := p.frame.Grid()
	lines := grid.BentLines
	if a.Kind == frame.AssemblyWallPanel {
		lines = grid.WallLines
	}
	for _, line := range lines {
		if line.Label == a.Line {
			sin, cos := math.Sincos(line.HeadingDeg * math.Pi / 180)
			return geom.V(cos, sin, 0)
		}
	}
	best, longest := geom.V(0, 1, 0), 0.0
	timbers := p.frame.Timbers()
	for _, m := range members {
		level := geom.Sub(timbers[m].End, timbers[m].Start)
		level.Z = 0
		if n := geom.Norm(level); n > longest {
			best, longest = geom.Unit(level), n
		}
	}
	return best
}
