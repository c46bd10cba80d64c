package picking

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// clear limits how near the legs come to the sticks of the assembly that they do not hold: a sling cannot
// go through one, and bent round it it would pull at another angle than was reckoned with.
func (p *planner) clear(l load, pl *place, hook geom.Vec) []Limit {
	timbers := p.frame.Timbers()
	limits := make([]Limit, 0, len(pl.timbers))
	for k, on := range pl.timbers {
		worst := Limit{Share: -1}
		for _, m := range l.timbers {
			t := &timbers[m]
			if m == on {
				continue
			}
			near := between(pl.at[k], hook, t.Start, t.End)
			if c := atLeast(fmt.Sprintf("sling %d clear of %s", k+1, t.Mark), math.Min(t.WidthMM, t.DepthMM)/2, near, "mm",
				"use longer slings, or hold it elsewhere"); c.Share > worst.Share {
				worst = c
			}
		}
		if worst.Share >= 0 {
			limits = append(limits, worst)
		}
	}
	return limits
}

// between is the least distance between the straight lines from a to b and from c to d.
func between(a, b, c, d geom.Vec) float64 {
	u, v := geom.Sub(b, a), geom.Sub(d, c)
	least := math.Inf(1)
	for _, at := range [4][3]geom.Vec{{a, c, d}, {b, c, d}, {c, a, b}, {d, a, b}} {
		least = math.Min(least, geom.Dist(at[0], geom.NearestOnSegment(at[0], at[1], at[2])))
	}
	// Without an end they are nearest where the way across is square to both.
	across := geom.Cross(u, v)
	size := geom.Dot(across, across)
	if size == 0 {
		return least
	}
	w := geom.Sub(c, a)
	s, t := geom.Dot(geom.Cross(w, v), across)/size, geom.Dot(geom.Cross(w, u), across)/size
	if s >= 0 && s <= 1 && t >= 0 && t <= 1 {
		least = math.Min(least, math.Abs(geom.Dot(w, across))/math.Sqrt(size))
	}
	return least
}
