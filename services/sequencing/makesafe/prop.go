package makesafe

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// under adds props and braces from the ends of a level stick aloft to the deck: plumb, and leaning to all four sides.
func (c *catalogue) under(i int) {
	const inMM, asideMM = 250, 280
	t, axes := c.f.Timbers()[i], c.f.Axes(i)
	if math.Abs(axes.Axis.Z) > levelSine || min(t.Start.Z, t.End.Z) < aloftMM || max(t.Start.Z, t.End.Z) > reachMM {
		return
	}
	along := geom.Unit(geom.V(axes.Axis.X, axes.Axis.Y, 0))
	across := geom.Cross(geom.Up(), along)
	held := c.holders(i)
	for end, at := range []geom.Vec{geom.Along(t.Start, inMM, axes.Axis), geom.Along(t.End, -inMM, axes.Axis)} {
		for f, n := range []geom.Vec{across, geom.Scale(-1, across)} {
			top := geom.Along(at, axes.Extent(t.WidthMM, t.DepthMM, n)/2, n)
			for w, d := range []geom.Vec{{}, along, geom.Scale(-1, along), n, n} {
				for r, slope := range []float64{60, 52.5, 70} {
					foot := top
					foot.Z = 0
					if d == (geom.Vec{}) {
						if r > 0 {
							continue
						}
					} else {
						foot = geom.Along(foot, top.Z/math.Tan(geom.Radians(slope)), d)
					}
					b := brace.Brace{Timber: i, Mark: t.Mark, FootTimber: -1, Top: top, Foot: foot}
					face, thick := n, n
					if d == n { // butted against the side, clear of those along the stick
						face, thick = geom.Vec{}, axes.Axis
						shift := geom.Scale(asideMM*float64(w-2)*(1-2*float64(end)), axes.Axis)
						b.Top, b.Foot = geom.Add(b.Top, shift), geom.Add(b.Foot, shift)
					}
					key := slotKey{timber: i, foot: -1, kind: underStick, x: end, y: w}
					if d == n {
						key.y += 2 * f
					}
					cost := 1.1 + 0.004*float64(r+10*f) + 0.5*max(0, top.Z-easyMM)/1000
					c.propTo(b, model.OnDeck, face, thick, key, d, cost, held[end])
					if d == n && len(c.site.Deck) > 2 { // outward there may be no deck
						b.Foot = geom.Along(b.Foot, c.site.DeckMM/math.Tan(geom.Radians(slope)), d)
						b.Foot.Z = -c.site.DeckMM
						c.propTo(b, model.OnGround, face, thick, key, d, cost+0.3, held[end])
					}
				}
			}
		}
	}
}

// propTo adds a prop that is of use while none of some sticks holds the end that it props.
func (c *catalogue) propTo(b brace.Brace, g model.Ground, n, thick geom.Vec, key slotKey, d geom.Vec, cost float64, held []int) {
	if p := c.add(b, g, n, thick, key, d, cost); p != nil {
		p.loose, p.held = true, held
	}
}

// holders are the sticks that are joined to a stick near its start and near its end.
func (c *catalogue) holders(i int) (held [2][]int) {
	const nearMM = 450
	t := c.f.Timbers()[i]
	for _, j := range c.f.JointsOf(i) {
		e, r := c.f.Ends(j)
		other := e + r - i
		for end, at := range [2]geom.Vec{t.Start, t.End} {
			if other >= 0 && geom.Dist(c.f.Joints()[j].At, at) < nearMM {
				held[end] = append(held[end], other)
			}
		}
	}
	return held
}

// aloft adds braces from a plumb stick that stands on others, such as a king post, down to the deck: to the sides to which no
// stick that is joined to it leans.
func (c *catalogue) aloft(i int) {
	t, axes := c.f.Timbers()[i], c.f.Axes(i)
	if math.Abs(axes.Axis.Z) < plumbSine || c.isUpright(i) {
		return
	}
	const overMM, stepMM = 300, 250
	faces := c.faces(i)
	for k, d := range faces {
		if c.leansOn(i, d) {
			continue
		}
		beside := [2]geom.Vec{faces[(k/2*2+2)%4], faces[(k/2*2+3)%4]}
		rank := 0.0
		for h := min(max(t.Start.Z, t.End.Z)-overMM, reachMM); h > min(t.Start.Z, t.End.Z)+overMM; h -= stepMM {
			for side, n := range beside {
				for _, slope := range []float64{60, 52.5, 68} {
					rank++
					at := low(c.f, i)
					at.Z = h
					b := brace.Brace{Timber: i, Mark: t.Mark, FootTimber: -1}
					b.Top = geom.Along(at, axes.Extent(t.WidthMM, t.DepthMM, n)/2, n)
					b.Foot = geom.Along(b.Top, h/math.Tan(geom.Radians(slope)), d)
					b.Foot.Z = 0
					key := slotKey{timber: i, foot: -1 - side, kind: fromTruss, x: int(math.Round(d.X * 10)), y: int(math.Round(d.Y * 10))}
					cost := 1 + 0.004*rank + 1.5*max(0, h-easyMM)/1000
					c.add(b, model.OnDeck, n, n, key, d, cost)
					if len(c.site.Deck) > 2 {
						b.Foot = geom.Along(b.Foot, c.site.DeckMM/math.Tan(geom.Radians(slope)), d)
						b.Foot.Z = -c.site.DeckMM
						c.add(b, model.OnGround, n, n, key, d, cost+0.3)
					}
				}
			}
		}
	}
}

// leansOn says whether a sloping stick that is joined to another leads off in a direction, or against it.
func (c *catalogue) leansOn(i int, d geom.Vec) bool {
	for _, j := range c.f.JointsOf(i) {
		e, r := c.f.Ends(j)
		if r < 0 {
			continue
		}
		if a := c.f.Axes(e + r - i).Axis; math.Abs(a.Z) > 0.2 && math.Abs(geom.Dot(a, d)) > 0.5 {
			return true
		}
	}
	return false
}

// over adds short boards over a joint, from one stick to the other, that keep it from drawing.
func (c *catalogue) over(j int) {
	e, r := c.f.Ends(j)
	at := c.f.Joints()[j].At
	if at.Z > reachMM {
		return
	}
	te, tr, ae, ar := c.f.Timbers()[e], c.f.Timbers()[r], c.f.Axes(e), c.f.Axes(r)
	n := geom.Cross(ae.Axis, ar.Axis)
	if geom.Norm(n) < 0.3 {
		return
	}
	n = geom.Unit(n)
	away := ae.Axis
	if geom.Dist(at, te.End) < geom.Dist(at, te.Start) {
		away = geom.Scale(-1, away)
	}
	length := geom.Dist(te.Start, te.End)
	// The point of the receiving stick's axis that is nearest to the joint.
	foot := geom.Along(tr.Start, geom.Dot(geom.Sub(at, tr.Start), ar.Axis), ar.Axis)
	for k, face := range []geom.Vec{n, geom.Scale(-1, n)} {
		outE := geom.Dot(at, face) + ae.Extent(te.WidthMM, te.DepthMM, face)/2
		outR := geom.Dot(foot, face) + ar.Extent(tr.WidthMM, tr.DepthMM, face)/2
		if math.Abs(outE-outR) > 60 {
			continue
		}
		out := max(outE, outR)
		for s, side := range []float64{1, -1} {
			for q, leg := range []float64{700, 450} {
				a := geom.Along(at, min(leg, 0.6*length), away)
				b := geom.Along(foot, side*leg, ar.Axis)
				if geom.Dist(b, geom.NearestOnSegment(b, tr.Start, tr.End)) > 1 {
					continue
				}
				br := brace.Brace{
					Timber: e, Mark: te.Mark, FootTimber: r, FootMark: tr.Mark,
					Top: geom.Along(a, out-geom.Dot(a, face), face), Foot: geom.Along(b, out-geom.Dot(b, face), face),
				}
				p := c.add(br, model.OnTimber, face, face, slotKey{timber: j, foot: -2, kind: overJoint, x: k, y: s}, geom.Vec{},
					1.2+0.004*float64(q)+0.5*max(0, at.Z-easyMM)/1000)
				if p != nil {
					p.joint = j
				}
			}
		}
	}
}

// dangles says whether a stick is joined to what stands by one joint alone.
func (c *catalogue) dangles(i int, stands func(int) bool) bool {
	n := 0
	for _, j := range c.f.JointsOf(i) {
		e, r := c.f.Ends(j)
		if r < 0 || stands(e+r-i) {
			n++
		}
	}
	return n == 1
}
