package framedraw

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/platform/units"
)

// Distances on paper outwards from the edge of the model, along which a floor is dimensioned.
const (
	edgeMM    = 7.0  // where grid lines leave the floor
	baysMM    = 11.5 // from line to line
	wholeMM   = 18.5 // over everything
	runningMM = 27.5 // from the first line
	bubblesMM = 39.0 // grid labels
)

// newFloor lays the deck on paper with its grid lines, their labels and dimensions.
func newFloor(f *frame.Frame, model span) *page {
	if model.width() < 0 {
		model.include(0, 0)
	}
	outer := bubblesMM + 1.2*bubbleMM
	p := newPage(model, margin{left: outer, right: 10, top: outer, bottom: 12}, true)
	reach := edgeMM / p.view.Scale
	floor := span{lo: drawing.P(model.lo.X-reach, model.lo.Y-reach), hi: drawing.P(model.hi.X+reach, model.hi.Y+reach)}
	grid := f.Grid()
	top := p.view.At(0, model.hi.Y).Y
	left := p.view.At(model.lo.X, 0).X
	p.edge(rail{page: p, across: true, v: top}, grid.BentLines, floor, []float64{model.lo.X, model.hi.X})
	p.edge(rail{page: p, v: left}, grid.WallLines, floor, []float64{model.lo.Y, model.hi.Y})
	return p
}

// edge draws grid lines over the floor and dimensions them along one edge of it, outwards: from line
// to line, over everything, from the first line, labels. Lines that are not square to the edge are
// drawn and labelled, but carry no dimension there, because a distance along the edge is not theirs.
func (p *page) edge(r rail, lines []frame.GridLine, floor span, outer []float64) {
	base := r.v
	out := func(mm float64) rail { return rail{page: p, across: r.across, v: base - mm} }
	var square []float64
	for _, l := range lines {
		dir := l.Along()
		from, to, ok := clip(l.Point, dir, floor)
		if !ok {
			continue
		}
		if r.across && from.Y > to.Y || !r.across && from.X < to.X {
			from, to = to, from
		}
		end := p.spot(fromAbove, to)
		p.Line(drawing.Grid, p.spot(fromAbove, from), end)
		at, slope := to.X, math.Abs(dir.X)
		if !r.across {
			at, slope = to.Y, math.Abs(dir.Y)
		}
		row := func(n float64) drawing.Point { return out(bubblesMM+n*2.1*bubbleMM).on(at, 0) }
		c := p.bubble(l.Label, row(0), row(1), row(-1))
		p.Line(drawing.Grid, end, between(end, c, 1-bubbleMM/max(math.Hypot(c.X-end.X, c.Y-end.Y), bubbleMM)))
		if slope < 1e-3 {
			square = append(square, at)
		}
	}
	out(baysMM).chain(square)
	if ends := distinct(square); len(ends) > 0 {
		out(runningMM).running(square, square[0])
		if !near(ends, outer) {
			out(wholeMM).chain(outer)
			out(wholeMM).reach(outer, edgeMM-wholeMM)
		}
	}
}

// Foot is where a post stands, for the layout sheet.
type Foot struct {
	// Mark of the post.
	Mark string
	// Corners of its foot, counter-clockwise.
	Corners []geom.Vec
	// RunningXMM and RunningYMM are its distances from the two control lines.
	RunningXMM, RunningYMM float64
}

// Tape is a distance to tape on the deck.
type Tape struct {
	// From and To are its ends.
	From, To geom.Vec
	// LengthMM is what the tape must read.
	LengthMM float64
}

// Floor draws the layout sheet: the feet of the posts with their running dimensions from the two
// control lines, the grid with its dimensions, and the diagonals that prove the layout square.
func Floor(f *frame.Frame, feet []Foot, tapes []Tape, b Block) *drawing.Sheet {
	room := emptySpan()
	for _, t := range feet {
		for _, c := range t.Corners {
			room.include(c.X, c.Y)
		}
	}
	p := newFloor(f, room)
	for _, t := range tapes {
		p.Line(drawing.Diagonal, p.spot(fromAbove, t.From), p.spot(fromAbove, t.To))
	}
	rings := make([][]drawing.Point, len(feet))
	for i, t := range feet {
		for _, c := range t.Corners {
			rings[i] = append(rings[i], p.spot(fromAbove, c))
		}
		p.section(t.Mark, rings[i])
	}
	for i, t := range feet {
		lo, hi := bounds(rings[i])
		p.besides(drawing.Item{Class: drawing.CenterMark, Size: markMM, Text: t.Mark, Link: t.Mark}, lo, hi)
		text := "x " + units.FeetInches(t.RunningXMM) + "  y " + units.FeetInches(t.RunningYMM)
		p.besides(drawing.Item{Class: drawing.Dimension, Size: 0.85 * markMM, Text: text, Link: t.Mark}, lo, hi)
	}
	for _, t := range tapes {
		p.tape(t)
	}
	desc := fmt.Sprintf("The feet of %d posts with their distances from the two control lines, and %d diagonals.", len(feet), len(tapes))
	p.caution("x and y run from the two control lines to the nearest face of the post. Tape both diagonals of every four posts to the lengths drawn before a post is set.")
	return p.finish(f, b, "layout", desc)
}

// tape writes the length of a diagonal along it, off its middle, where its partner crosses.
func (p *page) tape(t Tape) {
	a, b := p.spot(fromAbove, t.From), p.spot(fromAbove, t.To)
	item := drawing.Item{Class: drawing.Dimension, Text: units.FeetInches(t.LengthMM), TurnDeg: upright(a, b), Size: dimensionMM}
	for _, part := range []float64{0.3, 0.7, 0.25, 0.75, 0.36, 0.64, 0.2, 0.8, 0.42, 0.58, 0.15, 0.85} {
		at := between(a, b, part)
		if room := box(item.Text, at, item.Size, item.TurnDeg, drawing.Middle); p.placer.free(room) {
			p.placer.take(room)
			p.Text(item, at)
			return
		}
	}
	p.Text(item, between(a, b, 0.3))
}

// caution writes a sentence over the sheet's last line.
func (p *page) caution(text string) {
	at := drawing.P(borderMM, p.HeightMM-borderMM-blockMM-2)
	p.Text(drawing.Item{Class: drawing.TitleBlock, Size: markMM, Anchor: drawing.Start, Text: text}, at)
}
