package framedraw

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/platform/units"
)

// sameMM is how near two places of a dimension may be to count as one.
const sameMM = 0.5

// distinct sorts places and leaves out those that are there already.
func distinct(at []float64) []float64 {
	out := slices.Clone(at)
	slices.Sort(out)
	return slices.CompactFunc(out, func(a, b float64) bool { return math.Abs(b-a) < sameMM })
}

// rail is a line on paper that carries dimensions: across runs along paper X at the height v, else up
// along paper Y at v.
type rail struct {
	page   *page
	across bool
	v      float64
}

// on gives the place on paper of a model coordinate along the rail, off paper millimetres beside it:
// above a level rail, left of an upright one.
func (r rail) on(model, off float64) drawing.Point {
	at := r.page.view.At(model, model)
	if r.across {
		return drawing.P(at.X, r.v-off)
	}
	return drawing.P(r.v-off, at.Y)
}

// turn is how texts on the rail are turned so that they read from below or from the right.
func (r rail) turn() float64 {
	if r.across {
		return 0
	}
	return 90
}

// chain draws the distances between neighbouring places. A distance too small for its text has the
// text set one line farther out; one too small even for that leaves it to the running dimensions.
func (r rail) chain(at []float64) {
	at = distinct(at)
	if len(at) < 2 {
		return
	}
	r.page.Line(drawing.Dimension, r.on(at[0], 0), r.on(at[len(at)-1], 0))
	for i, a := range at {
		r.tick(a)
		if i == 0 {
			continue
		}
		middle, text := (a+at[i-1])/2, units.FeetInches(a-at[i-1])
		for _, off := range []float64{dimensionMM, dimensionMM * 2.3} {
			item := drawing.Item{Class: drawing.Dimension, Size: dimensionMM, TurnDeg: r.turn(), Text: text}
			place := r.on(middle, off)
			if room := box(text, place, dimensionMM, r.turn(), drawing.Middle); r.page.placer.free(room) {
				r.page.placer.take(room)
				r.page.Text(item, place)
				break
			}
		}
	}
}

// tick draws the stroke that ends a dimension.
func (r rail) tick(at float64) {
	p := r.on(at, 0)
	r.page.Line(drawing.Outline, drawing.P(p.X-0.9, p.Y+0.9), drawing.P(p.X+0.9, p.Y-0.9))
}

// reach draws extension lines from the model, off paper millimetres away, over the rail.
func (r rail) reach(at []float64, off float64) {
	for _, a := range distinct(at) {
		r.page.Line(drawing.Dimension, r.on(a, off), r.on(a, math.Copysign(1.2, -off)))
	}
}

// running writes at each place its distance from zero, square to the rail, where there is room.
func (r rail) running(at []float64, zero float64) {
	for _, a := range distinct(at) {
		text, turn := units.FeetInches(a-zero), 90-r.turn()
		place := r.on(a, 0)
		room := box(text, place, dimensionMM, turn, drawing.Middle)
		if r.page.placer.free(room) {
			r.page.placer.take(room)
			r.page.Text(drawing.Item{Class: drawing.Dimension, Size: dimensionMM, TurnDeg: turn, Text: text}, place)
		}
	}
}

// bubble draws a grid label in a ring at the first of some places where no other ring stands.
func (p *page) bubble(label string, places ...drawing.Point) drawing.Point {
	at := places[len(places)-1]
	square := func(c drawing.Point) []drawing.Point {
		const r = bubbleMM + 0.2
		return []drawing.Point{{X: c.X - r, Y: c.Y - r}, {X: c.X + r, Y: c.Y - r}, {X: c.X + r, Y: c.Y + r}, {X: c.X - r, Y: c.Y + r}}
	}
	for _, place := range places {
		if p.placer.free(square(place)) {
			at = place
			break
		}
	}
	p.placer.take(square(at))
	size := min(gridMM, gridMM*1.7*bubbleMM/max(drawing.TextWidth(label, gridMM), 0.1))
	p.Ring(drawing.Grid, at, bubbleMM)
	p.Text(drawing.Item{Class: drawing.Grid, Size: size, Text: label}, at)
	return at
}

// upright turns the direction of a line on paper into the turn of a text that reads along it and never
// stands on its head.
func upright(a, b drawing.Point) float64 {
	deg := math.Atan2(a.Y-b.Y, b.X-a.X) * 180 / math.Pi
	for deg > 90+1e-6 {
		deg -= 180
	}
	for deg <= -90+1e-6 {
		deg += 180
	}
	return deg
}

// between gives the point at a part of the way from a to b.
func between(a, b drawing.Point, part float64) drawing.Point {
	return drawing.P(a.X+(b.X-a.X)*part, a.Y+(b.Y-a.Y)*part)
}

// letter writes a text along a line on paper, at its middle or, when something stands there, farther
// along; when there is no free place it is written small. covered may refuse a place for other reasons
// and, when it refuses all of them, the text is left out. size is the letters' height at most.
func (p *page) letter(item drawing.Item, a, b drawing.Point, size float64, covered func([]drawing.Point) bool) {
	item.TurnDeg = upright(a, b)
	parts := [...]float64{0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8}
	for _, item.Size = range []float64{size, max(smallMM, size*0.75), smallMM * 0.8} {
		for _, part := range parts {
			at := between(a, b, part)
			room := box(item.Text, at, item.Size, item.TurnDeg, drawing.Middle)
			if p.placer.free(room) && (covered == nil || !covered(room)) {
				p.placer.take(room)
				p.Text(item, at)
				return
			}
		}
	}
	if covered != nil {
		return
	}
	p.Text(item, between(a, b, 0.5))
}
