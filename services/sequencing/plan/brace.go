package plan

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/bracing"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// nearDeckMM is the height below which a timber is in the way of a brace's foot.
const nearDeckMM = 300

// deckOf is the deck with the feet of all timbers of the frame.
func deckOf(f *frame.Frame, at Site) *bracing.Deck {
	d := &bracing.Deck{Outline: at.Deck}
	for i, t := range f.Timbers() {
		low, high := t.Start, t.End
		if low.Z > high.Z {
			low, high = high, low
		}
		if low.Z > nearDeckMM {
			continue
		}
		axes := f.Axes(i)
		if high.Z <= nearDeckMM {
			along := geom.Scale(0.5, geom.Sub(high, low))
			side := geom.Unit(geom.V(-along.Y, along.X, 0))
			half := axes.Extent(t.WidthMM, t.DepthMM, side) / 2
			d.Prints = append(d.Prints, bracing.Footprint{
				At: geom.Mid(low, high), HalfLength: along, HalfWidth: geom.Scale(half, side),
			})
			continue
		}
		d.Prints = append(d.Prints, bracing.Footprint{
			At: low, HalfLength: geom.Scale(t.WidthMM/2, axes.Width), HalfWidth: geom.Scale(t.DepthMM/2, axes.Depth),
		})
	}
	return d
}

// braces are the temporary braces of what a move stands on the deck; loose pieces that others carry get none.
func (m *maker) braces(mv *Move, from *raising.Move) []bracing.Brace {
	u := bracing.Unit{}
	for _, l := range from.Links {
		if m.order.Links[l].Receiving != raising.Deck {
			u.Joined = true
			continue
		}
		e, _ := m.f.Ends(m.order.Joint[l])
		t, axes := m.f.Timbers()[e], m.f.Axes(e)
		height := math.Abs(t.End.Z - t.Start.Z)
		if height < nearDeckMM {
			continue // a sill lies on the deck
		}
		u.Posts = append(u.Posts, bracing.Post{
			Mark: t.Mark, HeightMM: height,
			Foot: bracing.Footprint{
				At:         m.order.Links[l].At,
				HalfLength: geom.Scale(t.WidthMM/2, axes.Width), HalfWidth: geom.Scale(t.DepthMM/2, axes.Depth),
			},
		})
	}
	if len(u.Posts) == 0 {
		return nil
	}
	u.Square = squareTo(u.Posts)
	middle := geom.Vec{}
	for _, p := range u.Posts {
		middle = geom.Along(middle, 1/float64(len(u.Posts)), p.Foot.At)
	}
	for i := range u.Posts {
		p := &u.Posts[i]
		// A post in the middle has braces on its face towards the first post.
		to := geom.Sub(middle, p.Foot.At)
		if geom.Norm(to) < nearDeckMM {
			to = geom.Sub(u.Posts[0].Foot.At, p.Foot.At)
		}
		p.Inward = geom.Unit(geom.V(to.X, to.Y, 0))
	}
	return m.deck.Set(u)
}

// squareTo is the level direction square to the line of the posts' feet, towards plus X where it may be;
// for a single post that of its width.
func squareTo(posts []bracing.Post) geom.Vec {
	first, far := posts[0].Foot.At, posts[0].Foot.At
	for _, p := range posts {
		if geom.Dist(p.Foot.At, first) > geom.Dist(far, first) {
			far = p.Foot.At
		}
	}
	d := geom.Sub(far, first)
	square := geom.Unit(geom.V(d.Y, -d.X, 0))
	if square == (geom.Vec{}) {
		w := posts[0].Foot.HalfLength
		square = geom.Unit(geom.V(w.X, w.Y, 0))
	}
	if square.X < -1e-9 || math.Abs(square.X) <= 1e-9 && square.Y < 0 {
		square = geom.Scale(-1, square)
	}
	return square
}
