package standup

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// What lashings are reckoned with, from memory: a ratchet strap or several turns of rope round both pieces, which gives.
const (
	lashNPerM    = 1e6
	lashTurnNM   = 1e3
	lashHoldsN   = 5000.0
	uprightSine  = 0.9 // of a stick that a strongback is lashed across
	strongbackAt = 0.6 // of the height up to which all of them reach
	nearEndMM    = 150.0
	leastCross   = 0.3 // sine between a strongback and a stick that it is lashed to on its way
)

// line is where a strongback lies: the places that it is lashed to, in order.
type line struct {
	lumber brace.Lumber
	at     []Point
	name   string
}

// back is a strongback in the structure: its members, and the links that lash it.
type back struct {
	name             string
	lumber           brace.Lumber
	members, lashing []int
}

// lines are where the strongbacks of a set-up lie.
func (c *checker) lines(s setup) []line {
	var list []line
	if s.across != nil {
		if up, z := c.uprights(); len(up) > 1 {
			l := line{lumber: *s.across, name: "strongback across the posts"}
			for _, i := range up {
				l.at = append(l.at, Point{Timber: i, FromStartMM: (z - c.f.Timbers()[i].Start.Z) / c.f.Axes(i).Axis.Z})
			}
			list = append(list, l)
		}
	}
	if s.along != nil {
		l := line{lumber: *s.along, name: "strongback along " + c.f.Timbers()[s.alongTimber].Mark}
		for _, share := range stations() {
			l.at = append(l.at, Point{Timber: s.alongTimber, FromStartMM: share * c.f.Stick(s.alongTimber).ShoulderMM()})
		}
		list = append(list, l)
	}
	if s.up != nil {
		list = append(list, c.upwards(s)...)
	}
	return list
}

// uprights are the sticks that a strongback is lashed across, in order along the bent, and the height at which.
func (c *checker) uprights() (list []int, z float64) {
	upright := func(i int) bool { return math.Abs(c.f.Axes(i).Axis.Z) > uprightSine }
	top, foot := math.Inf(1), math.Inf(1)
	for _, i := range c.pieces {
		if t := c.f.Timbers()[i]; upright(i) {
			foot = math.Min(foot, math.Min(t.Start.Z, t.End.Z))
		}
	}
	for _, i := range c.pieces {
		if t := c.f.Timbers()[i]; upright(i) && math.Min(t.Start.Z, t.End.Z) < foot+500 {
			list = append(list, i)
			top = math.Min(top, math.Max(t.Start.Z, t.End.Z))
		}
	}
	slices.SortFunc(list, c.byAlong)
	return list, foot + strongbackAt*(top-foot)
}

// upwards are straight lines from the outer posts, near their feet, to the slings, lashed to every stick that they cross:
// they bridge the joints at the tie beam, about which a bent folds while it lies flat.
func (c *checker) upwards(s setup) []line {
	posts := c.posts()
	if len(posts) < 2 {
		return nil
	}
	var list []line
	for k, post := range [2]int{posts[0], posts[len(posts)-1]} {
		t := c.f.Timbers()[post]
		foot := Point{Timber: post, FromStartMM: nearEndMM}
		if t.Start.Z > t.End.Z {
			foot.FromStartMM = c.f.Stick(post).ShoulderMM() - nearEndMM
		}
		l := line{lumber: *s.up, name: "strongback up from " + t.Mark, at: []Point{foot, s.points[k]}}
		l.at = slices.Insert(l.at, 1, c.crossed(foot, s.points[k])...)
		list = append(list, l)
	}
	return list
}

// crossed are the places where a straight line between two points crosses other sticks of the bent, in order.
func (c *checker) crossed(from, to Point) []Point {
	flat := func(v geom.Vec) (u, z float64) { return geom.Dot(v, c.plane.along), v.Z }
	a, b := c.on(from), c.on(to)
	au, az := flat(a)
	du, dz := flat(geom.Sub(b, a))
	long := math.Hypot(du, dz)
	type hit struct {
		p    Point
		when float64
	}
	var hits []hit
	for _, i := range c.pieces {
		if i == from.Timber || i == to.Timber {
			continue
		}
		t := c.f.Timbers()[i]
		su, sz := flat(t.Start)
		eu, ez := flat(geom.Sub(t.End, t.Start))
		det := du*ez - dz*eu
		if math.Abs(det) < leastCross*long*math.Hypot(eu, ez) {
			continue
		}
		when := ((su-au)*ez - (sz-az)*eu) / det
		where := ((su-au)*dz - (sz-az)*du) / det
		stick := c.f.Stick(i).ShoulderMM()
		if when*long < nearEndMM || (1-when)*long < nearEndMM || where < 0 || where > 1 {
			continue
		}
		hits = append(hits, hit{Point{Timber: i, FromStartMM: where * stick}, when})
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Compare(a.when, b.when) })
	var list []Point
	for _, h := range hits {
		list = append(list, h.p)
	}
	return list
}

// lash lays lumber on edge on the upper face of the bent and lashes it to each place of its line.
func (l *load) lash(c *checker, at line, nodes []int) {
	b := back{name: at.name, lumber: at.lumber}
	m := l.structure.Model
	// One straight stick lies on the thickest of those that it crosses; packing does the rest.
	face := 0.0
	for _, p := range at.at {
		face = math.Max(face, c.f.Stick(p.Timber).ExtentMM(c.plane.normal)/2000)
	}
	last := -1
	for k, p := range at.at {
		mark := c.f.Timbers()[p.Timber].Mark
		place := m.Nodes[nodes[k]].At
		node := len(m.Nodes)
		m.Nodes = append(m.Nodes, statics.Node{Name: at.name + " at " + mark, At: geom.Along(place, face+at.lumber.DepthMM/2000, c.plane.normal)})
		m.Links = append(m.Links, statics.Link{
			Name: "lashing at " + mark, I: nodes[k], J: node, At: geom.Along(place, face, c.plane.normal),
			K: [6]float64{lashNPerM, lashNPerM, lashNPerM, lashTurnNM, lashTurnNM, lashTurnNM},
		})
		b.lashing = append(b.lashing, len(m.Links)-1)
		if last >= 0 && geom.Dist(m.Nodes[last].At, m.Nodes[node].At) > 0 {
			b.members = append(b.members, l.extra(statics.Member{
				Name: at.name, I: last, J: node, Material: lumberMaterial(at.lumber),
				Section: statics.Rectangle(at.lumber.WidthMM/1000, at.lumber.DepthMM/1000), YRef: c.plane.normal,
			}))
		}
		last = node
	}
	l.backs = append(l.backs, b)
}

// uses are the shares of a strongback and of the lashing that carries most.
func (b *back) uses(c *checker, l *load, o *outcome, name string) []standing.Usage {
	d, err := b.lumber.Design()
	if err != nil {
		return nil
	}
	worst := standing.Usage{Kind: standing.Overstressed, Piece: b.name, Combination: name, Source: d.Source, Status: d.Status, Capacity: 1}
	for _, k := range b.members {
		length := l.length(k)
		for _, at := range stations() {
			f := o.solver.Forces(o.result, k, at*length)
			used, formula := d.MemberShare(wood.Demand{
				N: f[0], Vy: f[1], Vz: f[2], T: f[3], My: f[4], Mz: f[5], WidthM: b.lumber.WidthMM / 1000, DepthM: b.lumber.DepthMM / 1000,
				LengthYM: length, LengthZM: length, TurnM: length, Duration: c.rules.DurationFactor,
			})
			if used > worst.Share {
				worst.Share, worst.Demand, worst.Formula = used, used, formula
			}
		}
	}
	worst.Words = fmt.Sprintf("The %s, a %s, is stressed to %.0f %% of what it bears.", b.name, b.lumber.Name, 100*worst.Share)
	strap := standing.Usage{
		Kind: standing.BraceFastening, Piece: b.name, Combination: name, Capacity: lashHoldsN, Unit: "N", Formula: "F/holds",
		Source: "a ratchet strap or several turns of rope, from memory", Status: wood.FromMemory,
	}
	for _, k := range b.lashing {
		f := o.result.Links[k]
		strap.Demand = math.Max(strap.Demand, math.Sqrt(f[0]*f[0]+f[1]*f[1]+f[2]*f[2]))
	}
	strap.Share = strap.Demand / lashHoldsN
	strap.Words = fmt.Sprintf("A lashing of the %s carries %.0f lb; a strap is counted to hold %.0f lb.", b.name, units.PoundsForceFromN(strap.Demand), units.PoundsForceFromN(lashHoldsN))
	return []standing.Usage{worst, strap}
}
