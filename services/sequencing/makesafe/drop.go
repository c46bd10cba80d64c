package makesafe

import (
	"context"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// sideShare is the share of a brace's level direction from which it counts for that direction of the plan.
const sideShare = 0.7

// grid are the two directions of the plan: those of the faces of the first upright, else of the axes.
func (c *catalogue) grid() [2]geom.Vec {
	if len(c.uprights) == 0 {
		return [2]geom.Vec{geom.V(1, 0, 0), geom.V(0, 1, 0)}
	}
	axes := c.f.Axes(c.uprights[0])
	x := geom.Unit(geom.V(axes.Width.X, axes.Width.Y, 0))
	return [2]geom.Vec{x, geom.Cross(geom.Up(), x)}
}

// sides says to which of the four sides of the plan something braces: +x, −x, +y, −y. What is fixed to another stick, and
// what pushes as well as it pulls, does so both ways, a prop not at all.
func (s *search) sides(set []choice) [4]bool {
	var held [4]bool
	grid := s.c.grid()
	mark := func(side geom.Vec, both bool) {
		for k, x := range grid {
			d := geom.Dot(side, x)
			held[2*k] = held[2*k] || d >= sideShare || both && d <= -sideShare
			held[2*k+1] = held[2*k+1] || d <= -sideShare || both && d >= sideShare
		}
	}
	for i := range s.given {
		b := &s.given[i]
		if b.SlopeDeg() < steepDeg {
			mark(geom.Unit(geom.V(b.Foot.X-b.Top.X, b.Foot.Y-b.Top.Y, 0)), b.FootTimber >= 0 || b.PushN(s.c.pushes) > 0)
		}
	}
	for _, c := range set {
		p := &s.c.places[c.place]
		mark(p.side, p.both || !p.pulls)
	}
	return held
}

// bothSides says whether a set braces to both sides of each direction that it braces at all, as far as there are places.
func (s *search) bothSides(set []choice) bool {
	_, grown := s.otherSide(set)
	return !grown
}

// otherSide adds the brace that is missing on the other side of a direction that is braced to one side only; false when
// none is, or there is no place for it.
func (s *search) otherSide(set []choice) ([]choice, bool) {
	held, grid := s.sides(set), s.c.grid()
	for k := range held {
		if held[k] || !held[k^1] {
			continue
		}
		d := geom.Scale(1-2*float64(k%2), grid[k/2])
		best, least := -1, math.Inf(1)
		for _, i := range s.usable {
			p := &s.c.places[i]
			dot := geom.Dot(p.side, d)
			if dot < sideShare && (!p.both || dot > -sideShare) {
				continue
			}
			cost := p.cost
			if slices.ContainsFunc(set, func(o choice) bool { return s.c.places[o.place].brace.Timber == p.brace.Timber }) {
				cost -= 0.5 // opposite to its like, on the same post
			}
			if cost < least && s.fits(i, set) {
				best, least = i, cost
			}
		}
		if best >= 0 {
			return append(slices.Clone(set), choice{place: best}), true
		}
	}
	return set, false
}

// drop leaves out what is not needed, the most awkward first. What is left is checked in full at the end; should it fall, what
// was left out last comes back first.
func (s *search) drop(ctx context.Context, set []choice) ([]choice, error) {
	order := slices.Clone(set)
	slices.SortStableFunc(order, func(a, b choice) int {
		return compare(s.c.places[b.place].cost, s.c.places[a.place].cost)
	})
	sets := [][]choice{set}
	for _, o := range order {
		less := slices.DeleteFunc(slices.Clone(sets[len(sets)-1]), func(c choice) bool { return c == o })
		if !s.bothSides(less) {
			continue
		}
		f, err := s.quick(ctx, less)
		if err != nil {
			return set, err
		}
		if f == nil {
			sets = append(sets, less)
		}
	}
	return s.lastStanding(ctx, sets)
}

// lighten makes each brace of the least that will do.
func (s *search) lighten(ctx context.Context, set []choice) ([]choice, error) {
	sets := [][]choice{set}
	for i := range set {
		for k := range set[i].kit {
			less := slices.Clone(sets[len(sets)-1])
			less[i].kit = k
			if s.swells(less, i) {
				continue
			}
			f, err := s.quick(ctx, less)
			if err != nil {
				return set, err
			}
			if f == nil {
				sets = append(sets, less)
				break
			}
		}
	}
	return s.lastStanding(ctx, sets)
}

// lastStanding is the last of some sets that stands everything; the first is known to.
func (s *search) lastStanding(ctx context.Context, sets [][]choice) ([]choice, error) {
	for i := len(sets) - 1; i > 0; i-- {
		f, err := s.falls(ctx, sets[i])
		if err != nil {
			return sets[0], err
		}
		if f == nil {
			return sets[i], nil
		}
	}
	return sets[0], nil
}
