package standing

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// mostPlaces is at how many places the neighbour is let pull and bump: the highest.
const mostPlaces = 2

// plumbShare is how steep the way into a joint may be before a come-along has no part in closing it: 60 degrees.
const plumbShare = 0.866

// grasp is where the neighbour takes hold of what stands.
type grasp struct {
	timber int
	fromMM float64
	at     geom.Vec
	// towards is level, from what stands to the neighbour; bothWays says that it is not known to which side that is.
	towards  geom.Vec
	bothWays bool
}

// neighbourPulls are the forces of a neighbour that is being set, for the factors of a combination: the come-along
// towards it, its bump both ways.
func (c *Checker) neighbourPulls(s *state, combo *Combination) []*pull {
	if s.grasps == nil {
		s.grasps = c.grasps(s)
	}
	mass, _ := c.frame.Weigh(s.OnHook)
	come := combo.ComeAlong * c.rules.ComeAlongN
	bump := combo.Bump * c.rules.BumpShare * mass * statics.StandardGravity
	var list []*pull
	add := func(g grasp, newton float64, away bool) {
		d, words := g.towards, "towards the neighbour at "
		if away {
			d, words = geom.Scale(-1, d), "away from the neighbour at "
		}
		mark := c.frame.Timbers()[g.timber].Mark
		if g.bothWays {
			words = "square to the bent at the top of "
			if away {
				words = "square to the bent the other way at the top of "
			}
		}
		list = append(list, &pull{timber: g.timber, fromMM: g.fromMM, force: geom.Scale(newton, d), words: words + mark})
	}
	for _, g := range s.grasps {
		add(g, come+bump, false)
		if combo.Bump > 0 || g.bothWays {
			back := bump
			if g.bothWays {
				back += come
			}
			add(g, back, true)
		}
	}
	return list
}

// grasps are the joints that the neighbour closes, where they are drawn together level; the highest first, one of each
// stick. Where there is none it is the highest post tops, square to the posts' line.
func (c *Checker) grasps(s *state) []grasp {
	var found []grasp
	for j := range c.frame.Joints() {
		entering, receiving := c.frame.Ends(j)
		if receiving < 0 || s.stands[entering] == s.stands[receiving] || s.hooked[entering] == s.hooked[receiving] {
			continue
		}
		joint := c.frame.Joinery(j)
		n := joinery.EnteredFace(joint)
		g := grasp{timber: receiving, towards: n}
		if s.stands[entering] {
			g = grasp{timber: entering, towards: geom.Scale(-1, n)}
		}
		if math.Abs(n.Z) > plumbShare {
			continue
		}
		g.towards = geom.Unit(geom.V(g.towards.X, g.towards.Y, 0))
		g.at = joint.Place()
		found = append(found, c.on(g))
	}
	if len(found) == 0 {
		found = c.postTops(s)
	}
	slices.SortStableFunc(found, func(a, b grasp) int {
		return cmp.Or(cmp.Compare(math.Round(b.at.Z), math.Round(a.at.Z)), cmp.Compare(a.timber, b.timber))
	})
	seen := map[int]bool{}
	found = slices.DeleteFunc(found, func(g grasp) bool {
		before := seen[g.timber]
		seen[g.timber] = true
		return before
	})
	return found[:min(len(found), mostPlaces)]
}

// on puts a grasp on the centre line of its timber.
func (c *Checker) on(g grasp) grasp {
	t := c.frame.Timbers()[g.timber]
	length := geom.Dist(t.Start, t.End)
	g.fromMM = min(max(geom.Dot(geom.Sub(g.at, t.Start), c.frame.Axes(g.timber).Axis), 0), length)
	return g
}

// postTops are the tops of the posts that stand, with the level direction square to the line of their feet.
func (c *Checker) postTops(s *state) []grasp {
	var tops []grasp
	var feet []geom.Vec
	for _, i := range s.Standing {
		axis := c.frame.Axes(i).Axis
		if math.Abs(axis.Z) < plumbShare {
			continue
		}
		t := c.frame.Timbers()[i]
		top, foot := t.End, t.Start
		if foot.Z > top.Z {
			top, foot = foot, top
		}
		if foot.Z > footMM {
			continue
		}
		feet = append(feet, foot)
		tops = append(tops, c.on(grasp{timber: i, at: top, bothWays: true}))
	}
	square := c.ways[0].dir
	if len(feet) > 1 {
		far := feet[0]
		for _, p := range feet {
			if geom.Dist(p, feet[0]) > geom.Dist(far, feet[0]) {
				far = p
			}
		}
		if d := geom.Sub(far, feet[0]); math.Hypot(d.X, d.Y) > apartMM {
			square = geom.Unit(geom.V(d.Y, -d.X, 0))
		}
	}
	for i := range tops {
		tops[i].towards = square
	}
	return tops
}

// footMM is the height below which a stick stands on the deck, or on a sill on it.
const footMM = 400.0
