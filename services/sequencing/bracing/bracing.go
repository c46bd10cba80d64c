// Package bracing lists temporary braces by a simple rule: how many at which post, to which side, at what
// slope. It weighs nothing and knows no wind. What it gives is a list of material and of places to begin
// from; it says nothing about whether anything stands.
package bracing

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The rule, common practice in its parts: braces to both sides of the first bent, at least one at each
// post of a later one, between 45 and 60 degrees from the deck, fixed high on the post.
const (
	// HighShare is the share of a post's height at which its braces are fixed; where another timber is joined to
	// that face they are fixed lower, down to LowShare.
	HighShare, LowShare = 0.7, 0.5
	// JointMM is kept, up and down the post, between the top of a brace and a joint on the same face: half of a
	// beam's depth and half of the brace's cut.
	JointMM = 300.0
	// LeastDeg and MostDeg bound the slope of a brace from the deck.
	LeastDeg, MostDeg = 45.0, 60.0
	// ClearMM is kept between a brace and the foot of another timber, and the edge of the deck.
	ClearMM = 100.0
	// FeetApartMM is kept between the feet of two braces.
	FeetApartMM = 300.0
)

// Footprint is where a timber touches, or nearly touches, the deck: a rectangle in plan.
type Footprint struct {
	At geom.Vec
	// HalfLength and HalfWidth reach from the middle to the middles of the sides.
	HalfLength, HalfWidth geom.Vec
}

// radius is that of the circle around the footprint.
func (f Footprint) radius() float64 {
	return math.Hypot(flat(f.HalfLength), flat(f.HalfWidth))
}

func flat(v geom.Vec) float64 { return math.Hypot(v.X, v.Y) }

// Post is an upright that stands on the deck.
type Post struct {
	// Mark of the stick.
	Mark string
	// Foot is its footprint, and HeightMM its height above it.
	Foot     Footprint
	HeightMM float64
	// Inward is the level direction along the line of feet towards the other posts, or zero: braces are fixed to
	// the face that looks there, out of the way of what is joined to the faces along the walls.
	Inward geom.Vec
	// Taken are the places where other timbers are joined to it.
	Taken []Taken
}

// Taken is where another timber is joined to a post.
type Taken struct {
	// Face is the outward normal of the post's face, and HeightMM the height above its foot.
	Face     geom.Vec
	HeightMM float64
}

// top is the height at which a brace is fixed to the face towards a direction; false when joints leave no room.
func (p Post) top(face geom.Vec) (float64, bool) {
	const step = 0.05
	for share := HighShare; share > LowShare-step/2; share -= step {
		clear := true
		for _, t := range p.Taken {
			clear = clear && (geom.Dot(t.Face, face) < 0.5 || math.Abs(t.HeightMM-share*p.HeightMM) >= JointMM)
		}
		if clear {
			return share * p.HeightMM, true
		}
	}
	return HighShare * p.HeightMM, false
}

// Way is where something that is raised later comes home over the deck.
type Way struct {
	// Move is the number of the move.
	Move int
	// Over is what it needs of the deck: the line of its feet, and before it as much as it slides.
	Over Footprint
}

// Unit is what has just been stood.
type Unit struct {
	Posts []Post
	// Move is the number of the move that stands it.
	Move int
	// Square is the level direction square to the line of its feet, for what is joined towards what stands; for a
	// single post one of its faces.
	Square geom.Vec
	// Joined says that joints with what stood before hold it square to the line of its feet.
	Joined bool
}

// Brace is a temporary brace.
type Brace struct {
	// Mark of the post that it holds.
	Mark string
	// Top is on a face of the post, Foot on the deck.
	Top, Foot geom.Vec
	// Rule is why it is there, as a sentence.
	Rule string
}

// Deck is the deck with what stands or will stand on it, and the braces that were set.
type Deck struct {
	// Outline is counter-clockwise; empty when it is not known.
	Outline []geom.Vec
	// Prints are the feet of all timbers of the frame.
	Prints []Footprint
	// Ways are those of everything that is raised with its feet in a line.
	Ways   []Way
	braces []Brace
	centre *geom.Vec // kept once it is found
}

// Set gives the braces of a unit and keeps them, so that later ones do not cross them.
//
// The rule: a single post gets two braces at right angles towards the middle of the frame, joined or not, since
// the joints with what stands hold it in their own line at most. More posts that nothing holds square to the line
// of their feet get two each, one to either side. Those that are joined to what stands get one each, square to that
// line and towards what stands, which leaves the other side free for what comes next. Where a foot would lie off
// the deck, on the foot of another timber or on another brace, or the brace would reach over the place of what is
// raised later, the brace is swung inwards or made steeper, or set to the other side.
func (d *Deck) Set(u Unit) []Brace {
	var set []Brace
	for _, p := range u.Posts {
		sides := []geom.Vec{u.Square}
		var rule string
		switch {
		case len(u.Posts) == 1:
			rule = "Two braces at right angles at a single post, towards the middle of the frame"
			sides = append(sides, geom.Cross(geom.Up(), u.Square))
			for i, s := range sides {
				if geom.Dot(geom.Sub(d.middle(), p.Foot.At), s) < -FeetApartMM {
					sides[i] = geom.Scale(-1, s)
				}
			}
		case u.Joined:
			rule = "One brace at each post of what is joined to what stands, towards what stands"
		default:
			rule = "Two braces at each post of what nothing that stands holds square to its feet, one to either side"
			sides = append(sides, geom.Scale(-1, u.Square))
		}
		near := d.near(p, u.Move)
		for _, side := range sides {
			b := d.place(p, side, near, rule)
			d.braces = append(d.braces, b)
			near.braces = append(near.braces, b)
			set = append(set, b)
		}
	}
	return set
}

// middle is that of the feet of the frame.
func (d *Deck) middle() geom.Vec {
	if d.centre == nil {
		box := geom.EmptyBox()
		for _, f := range d.Prints {
			box = box.With(f.At)
		}
		d.centre = &geom.Vec{}
		if !box.Empty() {
			*d.centre = box.Center()
		}
	}
	return *d.centre
}

// near are the footprints and braces that a brace of the post could meet.
type near struct {
	prints []Footprint
	// under are footprints on which the post stands, such as that of its sill: the foot of a brace must miss them.
	under  []Footprint
	ways   []Footprint
	braces []Brace
}

func (d *Deck) near(p Post, move int) near {
	reach := p.HeightMM + ClearMM + FeetApartMM + p.Foot.radius()
	var n near
	here := Brace{Top: p.Foot.At, Foot: p.Foot.At}
	for _, f := range d.Prints {
		gap := planDist(f.At, p.Foot.At)
		switch {
		case gap >= reach+f.radius():
		case f.within(here, 0):
			n.under = append(n.under, f)
		case gap > 1:
			n.prints = append(n.prints, f)
		}
	}
	for _, w := range d.Ways {
		// What comes down over the post itself has to pass its braces whatever side they are on.
		if w.Move > move && !w.Over.within(here, 0) && planDist(w.Over.At, p.Foot.At) < reach+w.Over.radius() {
			n.ways = append(n.ways, w.Over)
		}
	}
	for _, b := range d.braces {
		if planDist(b.Foot, p.Foot.At) < 2*reach {
			n.braces = append(n.braces, b)
		}
	}
	return n
}

// Faults of a place, by weight.
const (
	onBrace = 1
	inWay   = 2
	onJoint = 4
	onPrint = 8
	offDeck = 16
)

// trouble says what is wrong with a place that has faults, the worst of them.
func trouble(faults int) string {
	switch {
	case faults >= offDeck:
		return "its foot comes off the deck"
	case faults >= onPrint:
		return "the foot of another timber is in its way"
	case faults >= onJoint:
		return "other timbers are joined to that face of the post"
	case faults >= inWay:
		return "it is in the way of what is raised later"
	}
	return "another brace is in its way"
}

// place finds the place of one brace: the first without a fault, or the one with the least.
func (d *Deck) place(p Post, side geom.Vec, n near, rule string) Brace {
	const middle = (LeastDeg + MostDeg) / 2
	var best Brace
	least := math.MaxInt
	for i, s := range []geom.Vec{side, geom.Scale(-1, side)} {
		if i > 0 {
			rule += "; this one to the other side, since there is no clear place on its own"
		}
		for _, face := range p.faces(s) {
			in := 1.0
			if geom.Dot(geom.Cross(geom.Up(), s), face) < 0 {
				in = -1
			}
			for _, swing := range []float64{0, 20, 40} { // away from its own face: to the other side is the post
				for _, slope := range []float64{middle, MostDeg, LeastDeg} {
					b, f := lay(p, face, turn(s, in*swing), slope)
					if f |= d.faults(b, n); f < least {
						least, best = f, b
					}
					if least == 0 {
						best.Rule = fmt.Sprintf("%s, %.1f° from the deck; not checked for standing.", rule, slopeOf(best))
						return best
					}
				}
			}
		}
	}
	best.Rule = fmt.Sprintf("%s, %.1f° from the deck; no clear place was found (%s), choose one on site; not checked for standing.",
		rule, slopeOf(best), trouble(least))
	return best
}

// faces are the directions of the faces to which a brace to one side may be fixed: the inward one, or both
// beside that way where there is none.
func (p Post) faces(side geom.Vec) []geom.Vec {
	if p.Inward != (geom.Vec{}) {
		return []geom.Vec{p.Inward}
	}
	beside := geom.Cross(geom.Up(), side)
	return []geom.Vec{beside, geom.Scale(-1, beside)}
}

// lay puts a brace from high on a face of the post to the deck at the foot's level, with what is wrong with its
// place on the post.
func lay(p Post, face, d geom.Vec, slopeDeg float64) (b Brace, faults int) {
	reach := math.Abs(geom.Dot(p.Foot.HalfLength, face)) + math.Abs(geom.Dot(p.Foot.HalfWidth, face))
	h, clear := p.top(face)
	if !clear {
		faults = onJoint
	}
	at := geom.Along(p.Foot.At, reach, face)
	return Brace{
		Mark: p.Mark,
		Top:  rounded(geom.Add(at, geom.V(0, 0, h))),
		Foot: rounded(geom.Along(at, h/math.Tan(geom.Radians(slopeDeg)), d)),
	}, faults
}

// rounded is a point in whole tenths of a millimetre; no one sets a brace closer.
func rounded(v geom.Vec) geom.Vec {
	f := func(x float64) float64 { return math.Round(x*10)/10 + 0 }
	return geom.V(f(v.X), f(v.Y), f(v.Z))
}

func slopeOf(b Brace) float64 {
	return geom.Degrees(math.Atan2(b.Top.Z-b.Foot.Z, planDist(b.Top, b.Foot)))
}

// turn turns a level direction counter-clockwise.
func turn(d geom.Vec, deg float64) geom.Vec {
	s, c := math.Sincos(geom.Radians(deg))
	return geom.V(d.X*c-d.Y*s, d.X*s+d.Y*c, 0)
}

// faults weighs what is wrong with a place on the deck.
func (d *Deck) faults(b Brace, n near) int {
	f := 0
	foot := Brace{Top: b.Foot, Foot: b.Foot}
	if !d.holds(b.Foot) {
		f |= offDeck
	}
	if slices.ContainsFunc(n.prints, func(p Footprint) bool { return p.within(b, ClearMM) }) ||
		slices.ContainsFunc(n.under, func(p Footprint) bool { return p.within(foot, ClearMM) }) {
		f |= onPrint
	}
	if slices.ContainsFunc(n.ways, func(p Footprint) bool { return p.within(b, 0) }) {
		f |= inWay
	}
	if slices.ContainsFunc(n.braces, func(o Brace) bool {
		return planDist(o.Foot, b.Foot) < FeetApartMM || o.Mark != b.Mark && (crosses(o, b) || gapMM(o, b) < ClearMM)
	}) {
		f |= onBrace
	}
	return f
}

// holds says whether a point lies on the deck, clear of its edge.
func (d *Deck) holds(p geom.Vec) bool {
	n := len(d.Outline)
	if n < 3 {
		return true
	}
	inside := false
	for i, a := range d.Outline {
		b := d.Outline[(i+1)%n]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < (b.X-a.X)*(p.Y-a.Y)/(b.Y-a.Y)+a.X {
			inside = !inside
		}
		if planDist(p, nearest(p, a, b)) < ClearMM {
			return false
		}
	}
	return inside
}

// within says whether the plan of a brace comes nearer than a distance to the footprint, which is widened by it.
func (f Footprint) within(b Brace, mm float64) bool {
	l, w := flat(f.HalfLength), flat(f.HalfWidth)
	if l == 0 || w == 0 {
		return planDist(f.At, nearest(f.At, b.Top, b.Foot)) < mm+l+w
	}
	// In the axes of the rectangle, cut the segment by its four sides.
	local := func(p geom.Vec) (x, y float64) {
		q := geom.Sub(p, f.At)
		return (q.X*f.HalfLength.X + q.Y*f.HalfLength.Y) / l, (q.X*f.HalfWidth.X + q.Y*f.HalfWidth.Y) / w
	}
	x0, y0 := local(b.Top)
	x1, y1 := local(b.Foot)
	from, to := 0.0, 1.0
	for _, s := range [2][3]float64{{x0, x1, l + mm}, {y0, y1, w + mm}} {
		a, dv, half := s[0], s[1]-s[0], s[2]
		if dv == 0 {
			if math.Abs(a) > half {
				return false
			}
			continue
		}
		t0, t1 := (-half-a)/dv, (half-a)/dv
		from, to = max(from, min(t0, t1)), min(to, max(t0, t1))
	}
	return from < to
}

// crosses says whether two braces cross in plan.
func crosses(a, b Brace) bool {
	side := func(p, q, r geom.Vec) float64 { return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X) }
	return side(a.Top, a.Foot, b.Top)*side(a.Top, a.Foot, b.Foot) < 0 &&
		side(b.Top, b.Foot, a.Top)*side(b.Top, b.Foot, a.Foot) < 0
}

// gapMM is how near two braces come to one another. Braces of neighbouring posts lie in one upright plane, where
// those that cross do not cross in plan.
func gapMM(a, b Brace) float64 {
	at := func(t float64) float64 {
		return geom.DistanceToSegment(geom.Along(a.Top, t, geom.Sub(a.Foot, a.Top)), b.Top, b.Foot)
	}
	from, to := 0.0, 1.0
	for range 30 { // the distance is convex along a
		third := (to - from) / 3
		if at(from+third) < at(to-third) {
			to -= third
		} else {
			from += third
		}
	}
	return at((from + to) / 2)
}

func planDist(a, b geom.Vec) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// nearest is the point of a segment nearest to p, in plan.
func nearest(p, a, b geom.Vec) geom.Vec {
	dx, dy := b.X-a.X, b.Y-a.Y
	n := dx*dx + dy*dy
	if n == 0 {
		return a
	}
	t := min(1, max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/n))
	return geom.V(a.X+t*dx, a.Y+t*dy, p.Z)
}
