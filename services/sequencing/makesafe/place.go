package makesafe

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// What a rigger would set. Settings of ours; slopes and heights are those of package bracing, common practice.
const (
	// reachMM is how high above the deck a brace is fixed at most: what is reached from a ladder.
	reachMM = 5000
	// easyMM is how high it is reached from a trestle.
	easyMM = 2400
	// plumbSine and levelSine are the sines of the slope from which a stick is an upright, and up to which it is level.
	plumbSine, levelSine = 0.985, 0.35
	// standMM is the height of the foot up to which an upright stands on the deck or on a sill.
	standMM = 320
	// aloftMM is the height from which a level stick can be propped.
	aloftMM = 900
	// steepDeg is the slope from which a brace is a prop, which holds up and not sideways.
	steepDeg = 75
)

// place is where a brace can go.
type place struct {
	// brace has no id yet and is made of the first of its kits.
	brace brace.Brace
	kits  []kit
	// kind is that of its slot.
	kind int
	// slot is shared by the places that do the same work; at most one of them is used.
	slot int
	// pulls says that it only pulls.
	pulls bool
	// side is the level unit direction from its top to its foot, zero for a prop.
	side geom.Vec
	// both says that it holds both ways in its line although it stands to one side: it is fixed to another stick.
	both bool
	// cost grows with how awkward it is to set and how much lumber it takes.
	cost float64
	// body is its room, and cleat that of its foot, nil on a timber.
	body  box
	cleat *box
	// joint is the joint that it ties over, −1 for none; held are the sticks that hold the end that it props, and loose says
	// that it is of use only while none of them stands.
	joint int
	loose bool
	held  []int
	// hits are the sticks that would stand in it, and blocks the numbers of the moves in whose way it is.
	hits, blocks []int
}

// catalogue are all places for braces of a frame on a site.
type catalogue struct {
	f      *frame.Frame
	site   Site
	yard   *yard
	pushes float64
	bodies []box
	centre geom.Vec
	moves  []Move
	// ways are the room that moves need on their way home, wayOf the number of each one's move.
	ways     []box
	wayOf    []int
	places   []place
	slots    map[slotKey]int
	uprights []int
}

// slotKey tells slots apart: by stick or joint, kind and side.
type slotKey struct {
	timber, foot int
	kind         int
	x, y         int
}

// The kinds of slot.
const (
	fromPost = iota
	toStake
	toPost
	fromTruss
	atFoot
	underStick
	overJoint
)

// newCatalogue lists the places for braces on some sticks of a frame, none of which is in the way of moves to come
// unless its blocks say so.
func newCatalogue(f *frame.Frame, site Site, y *yard, pushes float64, moves []Move, sticks []int) *catalogue {
	c := &catalogue{f: f, site: site, yard: y, pushes: pushes, moves: moves, slots: map[slotKey]int{}}
	for i := range f.Timbers() {
		c.bodies = append(c.bodies, stickBox(f, i))
	}
	c.sweep()
	sticks = slices.Clone(sticks)
	slices.Sort(sticks)
	feet := 0
	for _, i := range sticks {
		if c.isUpright(i) {
			c.uprights = append(c.uprights, i)
			c.centre = geom.Add(c.centre, low(f, i))
			feet++
		}
	}
	if feet > 0 {
		c.centre = geom.Scale(1/float64(feet), c.centre)
	}
	for _, i := range c.uprights {
		c.fromUpright(i)
	}
	var plumb []int
	for _, i := range sticks {
		if math.Abs(f.Axes(i).Axis.Z) >= plumbSine {
			plumb = append(plumb, i)
		}
		c.under(i)
		c.aloft(i)
	}
	for k, a := range plumb {
		for _, b := range plumb[k+1:] {
			c.between(a, b)
			c.between(b, a)
		}
	}
	for j := range f.Joints() {
		e, r := f.Ends(j)
		_, okE := slices.BinarySearch(sticks, e)
		_, okR := slices.BinarySearch(sticks, r)
		if okE && okR {
			c.over(j)
		}
	}
	return c
}

// low is the lower end of a stick.
func low(f *frame.Frame, i int) geom.Vec {
	if t := f.Timbers()[i]; t.End.Z < t.Start.Z {
		return t.End
	}
	return f.Timbers()[i].Start
}

func (c *catalogue) isUpright(i int) bool {
	return math.Abs(c.f.Axes(i).Axis.Z) >= plumbSine && low(c.f, i).Z <= standMM
}

// sweep gathers the room that moves need on their way home: a slide has its tenons to start, what comes down comes from
// above. Distances are settings of ours.
func (c *catalogue) sweep() {
	const slideMM, dropMM = 400, 1500
	for _, m := range c.moves {
		back := slideMM * 1.0
		home := m.Home
		if home == (geom.Vec{}) {
			home = geom.V(0, 0, -1)
		}
		if home.Z < -0.4 {
			back = dropMM
		}
		for _, p := range m.Pieces {
			c.ways = append(c.ways, c.bodies[p].swept(home, back))
			c.wayOf = append(c.wayOf, m.Number)
		}
	}
}

// faces are the four level directions of an upright's faces, that towards the middle of the frame first.
func (c *catalogue) faces(i int) []geom.Vec {
	axes := c.f.Axes(i)
	to := geom.Sub(c.centre, low(c.f, i))
	var d []geom.Vec
	for _, v := range []geom.Vec{axes.Width, axes.Depth} {
		v = geom.Unit(geom.V(v.X, v.Y, 0))
		if geom.Dot(v, to) < 0 {
			v = geom.Scale(-1, v)
		}
		d = append(d, v, geom.Scale(-1, v))
	}
	return d
}

// fromUpright lists the braces from a post to the deck and to stakes, to all four sides.
func (c *catalogue) fromUpright(i int) {
	t := c.f.Timbers()[i]
	heightMM := max(t.Start.Z, t.End.Z)
	faces := c.faces(i)
	for k, d := range faces {
		beside := [2]geom.Vec{faces[(k/2*2+2)%4], faces[(k/2*2+3)%4]}
		c.kick(i, beside, d)
		rank := 0.0
		for _, share := range []float64{0.7, 0.65, 0.6, 0.55, 0.5} {
			h := min(share*heightMM, reachMM)
			for _, n := range beside {
				for _, slope := range []float64{52.5, 60, 45} {
					rank++
					c.lean(i, n, d, h, slope, model.OnDeck, rank)
					if len(c.site.Deck) > 2 {
						c.lean(i, n, d, h, slope, model.OnGround, rank)
					}
				}
			}
		}
	}
}

// kick adds a short brace from low on a post to the deck, which keeps its foot from sliding.
func (c *catalogue) kick(i int, beside [2]geom.Vec, d geom.Vec) {
	const highMM = 600
	for r, n := range beside {
		at := geom.Along(low(c.f, i), highMM-low(c.f, i).Z, geom.Up())
		b := brace.Brace{Timber: i, Mark: c.f.Timbers()[i].Mark, FootTimber: -1}
		b.Top = geom.Along(at, c.f.Axes(i).Extent(c.f.Timbers()[i].WidthMM, c.f.Timbers()[i].DepthMM, n)/2, n)
		b.Foot = geom.Along(b.Top, highMM, d)
		b.Foot.Z = 0
		c.add(b, model.OnDeck, n, n, slotKey{timber: i, foot: -1, kind: atFoot, x: int(math.Round(d.X * 10)), y: int(math.Round(d.Y * 10))}, d,
			1.6+0.004*float64(r))
	}
}

// lean adds a brace that lies against the face n of an upright and leans to the side d.
func (c *catalogue) lean(i int, n, d geom.Vec, h, slopeDeg float64, g model.Ground, rank float64) {
	footZ, kind := 0.0, fromPost
	if g == model.OnGround {
		footZ, kind = -c.site.DeckMM, toStake
	}
	at := geom.Along(low(c.f, i), h-low(c.f, i).Z, geom.Up())
	out := c.f.Axes(i).Extent(c.f.Timbers()[i].WidthMM, c.f.Timbers()[i].DepthMM, n) / 2
	b := brace.Brace{
		Timber: i, Mark: c.f.Timbers()[i].Mark, FootTimber: -1,
		Top: geom.Along(at, out, n),
	}
	b.Foot = geom.Along(b.Top, (h-footZ)/math.Tan(geom.Radians(slopeDeg)), d)
	b.Foot.Z = footZ
	cost := 1 + 0.004*rank + 1.5*max(0, h-easyMM)/1000
	if g == model.OnGround {
		cost += 0.3
	}
	c.add(b, g, n, n, slotKey{timber: i, foot: -1, kind: kind, x: int(math.Round(d.X * 10)), y: int(math.Round(d.Y * 10))}, d, cost)
}

// between adds braces from high on one upright to low on another, face by face.
func (c *catalogue) between(a, b int) {
	const leastMM, mostMM, offDeg, flushMM = 1200, 6500, 4, 60
	from, to := low(c.f, a), low(c.f, b)
	lowMM := max(from.Z, to.Z)
	d := geom.Sub(to, from)
	d.Z = 0
	if l := geom.Norm(d); l < leastMM || l > mostMM {
		return
	}
	d = geom.Unit(d)
	rank := 0.0
	for _, n := range c.faces(a) {
		if math.Abs(90-geom.AngleDeg(n, d)) > offDeg {
			continue
		}
		ta, tb := c.f.Timbers()[a], c.f.Timbers()[b]
		outA := geom.Dot(from, n) + c.f.Axes(a).Extent(ta.WidthMM, ta.DepthMM, n)/2
		outB := geom.Dot(to, n) + c.f.Axes(b).Extent(tb.WidthMM, tb.DepthMM, n)/2
		if math.Abs(outA-outB) > flushMM {
			continue
		}
		out := max(outA, outB)
		for _, share := range []float64{0.7, 0.6, 0.5} {
			for _, footMM := range []float64{300, 500, 800} {
				rank++
				top, foot := from, to
				top.Z, foot.Z = min(lowMM+share*(max(ta.Start.Z, ta.End.Z)-lowMM), reachMM), lowMM+footMM
				const inMM = 100
				if top.Z-foot.Z < 600 || top.Z < from.Z+inMM || foot.Z > max(tb.Start.Z, tb.End.Z)-inMM {
					continue
				}
				br := brace.Brace{
					Timber: a, Mark: ta.Mark, FootTimber: b, FootMark: tb.Mark,
					Top: geom.Along(top, out-geom.Dot(from, n), n), Foot: geom.Along(foot, out-geom.Dot(to, n), n),
				}
				c.add(br, model.OnTimber, n, n, slotKey{timber: a, foot: b, kind: toPost}, d,
					2+0.004*rank+1.5*max(0, top.Z-easyMM)/1000)
			}
		}
	}
}

// add fits lumber to a brace and keeps it, unless it goes through the stick that it holds, has no length of board or no
// room on the deck. Top and foot are given on the face n of the stick; they come to lie on the middle of the board, whose
// thickness is along thick; n is zero where it is butted against its stick.
func (c *catalogue) add(b brace.Brace, g model.Ground, n, thick geom.Vec, key slotKey, d geom.Vec, cost float64) *place {
	kits := c.yard.kits(b, g, c.pushes)
	if len(kits) == 0 {
		return nil
	}
	if key.kind == fromTruss {
		// There is room for one or two at a truss, and the nights to come ask for more than the day: the strongest anchor at once.
		slices.SortStableFunc(kits, func(a, b kit) int { return compare(b.anchorN(), a.anchorN()) })
	}
	p := place{brace: c.made(b, n, kits[0]), kits: kits, side: d, both: g == model.OnTimber, joint: -1, kind: key.kind}
	if p.brace.FootTimber < 0 && !c.site.stands(p.brace.Top, p.brace.Foot, g) {
		return nil
	}
	p.pulls = p.brace.PushN(c.pushes) <= 0
	butted := n == (geom.Vec{})
	p.body = braceBox(&p.brace, thick, butted)
	if g == model.OnDeck {
		cleat := newBox(geom.Along(p.brace.Foot, lowMM/2, geom.Up()), geom.V(cleatMM, 0, 0), geom.V(0, cleatMM, 0), geom.V(0, 0, lowMM/2))
		p.cleat = &cleat
	}
	for i := range c.bodies {
		if c.bodies[i].meets(p.body, -touchMM) || p.cleat != nil && c.bodies[i].meets(*p.cleat, 0) {
			if butted && i == b.Timber {
				continue
			}
			if i == b.Timber || i == b.FootTimber {
				return nil
			}
			p.hits = append(p.hits, i)
		}
	}
	for k := range c.ways {
		if c.ways[k].meets(p.body, -touchMM) || p.cleat != nil && c.ways[k].meets(*p.cleat, 0) {
			if m := c.wayOf[k]; !slices.Contains(p.blocks, m) {
				p.blocks = append(p.blocks, m)
			}
		}
	}
	slot, ok := c.slots[key]
	if !ok {
		slot = len(c.slots)
		c.slots[key] = slot
	}
	p.slot = slot
	p.cost = cost + p.brace.LengthMM()/200_000 + p.brace.Lumber.WidthMM*p.brace.Lumber.DepthMM/400000
	c.places = append(c.places, p)
	return &c.places[len(c.places)-1]
}

// made is a brace of a kit: moved off the face by half the thickness of its board.
func (c *catalogue) made(b brace.Brace, n geom.Vec, k kit) brace.Brace {
	b.Lumber, b.Head, b.Anchor = k.lumber, k.head, k.anchor
	b.Top = rounded(geom.Along(b.Top, k.lumber.WidthMM/2, n))
	b.Foot = rounded(geom.Along(b.Foot, k.lumber.WidthMM/2, n))
	return b
}

// rounded is a point in whole tenths of a millimetre; no one sets a brace closer.
func rounded(v geom.Vec) geom.Vec {
	f := func(x float64) float64 { return math.Round(x*10)/10 + 0 }
	return geom.V(f(v.X), f(v.Y), f(v.Z))
}
