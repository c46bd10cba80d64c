// Package bracing lists temporary braces by a simple rule: how many at which post, to which side, at what
// slope. It weighs nothing and knows no wind. What it gives is a list of material and of places to begin
// from; it says nothing about whether anything stands.
package bracing

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// The rule, common practice in its parts: braces to both sides of the first bent, at least one at each
// post of a later one, between 45 and 60 degrees from the deck, fixed high on the post.
const (
	// HighShare is the share of a post's height at which its braces are fixed: high, and below most knee braces.
	HighShare = 0.7
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
}

// Unit is what has just been stood.
type Unit struct {
	Posts []Post
	// Square is the level direction square to the line of its feet; for a single post one of its faces.
	Square geom.Vec
	// Joined says that it has joints with what stood before.
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
	braces []Brace
}

// Set gives the braces of a unit and keeps them, so that later ones do not cross them.
//
// The rule: what is joined to nothing gets two braces at each post, one to either side square to the line of
// its feet, or at right angles for a single post; what is joined to something that stands gets one at each
// post, square to that line. Where a foot would lie off the deck, on the foot of another timber or on
// another brace, the brace is swung or made steeper, or set to the other side.
func (d *Deck) Set(u Unit) []Brace {
	var set []Brace
	for _, p := range u.Posts {
		sides := []geom.Vec{u.Square}
		rule := "One brace at each post of what is joined to what stands"
		if !u.Joined {
			other := geom.Scale(-1, u.Square)
			rule = "Two braces at each post of what is joined to nothing, one to either side"
			if len(u.Posts) == 1 {
				other = geom.Cross(geom.Up(), u.Square)
				rule = "Two braces at right angles at a post that is joined to nothing"
			}
			sides = append(sides, other)
		}
		near := d.near(p)
		for _, side := range sides {
			b := d.place(p, side, near, rule)
			d.braces = append(d.braces, b)
			near.braces = append(near.braces, b)
			set = append(set, b)
		}
	}
	return set
}

// near are the footprints and braces that a brace of the post could meet.
type near struct {
	prints []Footprint
	braces []Brace
}

func (d *Deck) near(p Post) near {
	reach := p.HeightMM + ClearMM + FeetApartMM + p.Foot.radius()
	var n near
	for _, f := range d.Prints {
		gap := planDist(f.At, p.Foot.At)
		if gap > 1 && gap < reach+f.radius() {
			n.prints = append(n.prints, f)
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
	onPrint = 4
	offDeck = 16
)

// place finds the place of one brace: the first without a fault, or the one with the least.
func (d *Deck) place(p Post, side geom.Vec, n near, rule string) Brace {
	const middle = (LeastDeg + MostDeg) / 2
	var best Brace
	least := math.MaxInt
	if p.Inward == (geom.Vec{}) {
		p.Inward = geom.Cross(geom.Up(), side)
	}
	for i, s := range []geom.Vec{side, geom.Scale(-1, side)} {
		if i > 0 {
			rule += "; this one to the other side, since there is no clear place on its own"
		}
		in := 1.0
		if geom.Dot(geom.Cross(geom.Up(), s), p.Inward) < 0 {
			in = -1
		}
		for _, swing := range []float64{0, 20, 40, -20, -40} {
			for _, slope := range []float64{middle, MostDeg, LeastDeg} {
				b := lay(p, turn(s, in*swing), slope)
				if f := d.faults(b, n); f < least {
					least, best = f, b
				}
				if least == 0 {
					best.Rule = fmt.Sprintf("%s, %.1f° from the deck; not checked for standing.", rule, slopeOf(best))
					return best
				}
			}
		}
	}
	trouble := "another brace is in its way"
	switch {
	case least >= offDeck:
		trouble = "its foot comes off the deck"
	case least >= onPrint:
		trouble = "the foot of another timber is in its way"
	}
	best.Rule = fmt.Sprintf("%s, %.1f° from the deck; no clear place was found (%s), choose one on site; not checked for standing.",
		rule, slopeOf(best), trouble)
	return best
}

// lay puts a brace from high on the inward face of the post to the deck at the foot's level.
func lay(p Post, d geom.Vec, slopeDeg float64) Brace {
	reach := math.Abs(geom.Dot(p.Foot.HalfLength, p.Inward)) + math.Abs(geom.Dot(p.Foot.HalfWidth, p.Inward))
	h := HighShare * p.HeightMM
	face := geom.Along(p.Foot.At, reach, p.Inward)
	return Brace{
		Mark: p.Mark,
		Top:  rounded(geom.Add(face, geom.V(0, 0, h))),
		Foot: rounded(geom.Along(face, h/math.Tan(geom.Radians(slopeDeg)), d)),
	}
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

// faults weighs what is wrong with a place.
func (d *Deck) faults(b Brace, n near) int {
	f := 0
	if !d.holds(b.Foot) {
		f += offDeck
	}
	for _, p := range n.prints {
		if p.within(b, ClearMM) {
			f += onPrint
			break
		}
	}
	for _, o := range n.braces {
		if planDist(o.Foot, b.Foot) < FeetApartMM || o.Mark != b.Mark && crosses(o, b) {
			f += onBrace
			break
		}
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
