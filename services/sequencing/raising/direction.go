package raising

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// Directions closer than this are one: a tenth of a degree, far within the play of a tenon.
const sameDirection = 1.0 / 600

// downSine is the sine of the slope below level beyond which leaving counts as leaving downwards, so
// that the piece would come home from below. Such ways are tried only when there is no other.
const downSine = 0.25

// maxBisected is the most ways of a unit whose bisectors are tried.
const maxBisected = 24

// compass numbers directions.
type compass struct {
	ways []geom.Vec
	cell map[[3]int32][]int32
}

func newCompass() *compass { return &compass{cell: map[[3]int32][]int32{}} }

// number gives the number of a direction, the same for directions that are nearly equal.
func (c *compass) number(d geom.Vec) int32 {
	d = geom.Unit(d)
	home := cellOf(d)
	for dx := int32(-1); dx <= 1; dx++ {
		for dy := int32(-1); dy <= 1; dy++ {
			for dz := int32(-1); dz <= 1; dz++ {
				for _, i := range c.cell[[3]int32{home[0] + dx, home[1] + dy, home[2] + dz}] {
					if geom.Dist(c.ways[i], d) < sameDirection {
						return i
					}
				}
			}
		}
	}
	i := int32(len(c.ways))
	c.ways = append(c.ways, d)
	c.cell[home] = append(c.cell[home], i)
	return i
}

func cellOf(d geom.Vec) [3]int32 {
	f := func(v float64) int32 { return int32(math.Floor(v / sameDirection)) }
	return [3]int32{f(d.X), f(d.Y), f(d.Z)}
}

// preferred orders directions of leaving: straight up first, since a piece that comes down from above
// is the easiest to set, then level, then down; of level ones, +X first.
func (c *compass) preferred(a, b int32) int {
	key := func(i int32) [3]float64 {
		d := c.ways[i]
		return [3]float64{math.Round(d.Z * 1000), math.Round(d.X * 1000), math.Round(d.Y * 1000)}
	}
	x, y := key(a), key(b)
	return cmp.Or(cmp.Compare(y[0], x[0]), cmp.Compare(y[1], x[1]), cmp.Compare(y[2], x[2]))
}

// down says whether leaving along the direction is leaving downwards.
func (c *compass) down(i int32) bool { return c.ways[i].Z < -downSine }

// triable gives the directions that are worth trying for each unit: the ways of its own joints, the
// vertical, and the bisectors of two of its ways where both their joints open along it.
func (s *search) triable() {
	up, dn := s.compass.number(geom.Up()), s.compass.number(geom.V(0, 0, -1))
	s.tries = make([][]int32, len(s.Units))
	type way struct {
		dir  int32
		link int32
	}
	var ways []way
	for u := range s.Units {
		ways = ways[:0]
		dirs := []int32{up, dn}
		for _, l := range s.at[u] {
			link := &s.Links[l]
			for _, d := range link.Ways {
				if link.Entering != u {
					d = geom.Scale(-1, d)
				}
				n := s.compass.number(d)
				if !slices.ContainsFunc(ways, func(w way) bool { return w.dir == n }) {
					ways = append(ways, way{n, l})
				}
				if !slices.Contains(dirs, n) {
					dirs = append(dirs, n)
				}
			}
		}
		if len(ways) > maxBisected {
			ways = ways[:maxBisected]
		}
		for i, a := range ways {
			for _, b := range ways[i+1:] {
				sum := geom.Add(s.compass.ways[a.dir], s.compass.ways[b.dir])
				if geom.Norm(sum) < 0.2 {
					continue
				}
				mid := geom.Unit(sum)
				if !s.leavesAlong(a.link, u, mid) || !s.leavesAlong(b.link, u, mid) {
					continue
				}
				if n := s.compass.number(mid); !slices.Contains(dirs, n) {
					dirs = append(dirs, n)
				}
			}
		}
		slices.SortStableFunc(dirs, s.compass.preferred)
		s.tries[u] = dirs
	}
}

// leavesAlong asks the joint itself whether unit u may leave along a direction.
func (s *search) leavesAlong(l int32, u int, d geom.Vec) bool {
	link := &s.Links[l]
	if link.Entering != u {
		d = geom.Scale(-1, d)
	}
	return link.Opens(d)
}

func abs(v float64) float64 { return math.Abs(v) }
