package framedraw

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// Picture is a frame made ready for axonometric drawings: its solids, and the order in which they are
// painted. A set of moves of one frame is drawn from one picture.
type Picture struct {
	frame  *frame.Frame
	eye    plane
	shapes []shape
	order  []int
}

// axonEye looks at the frame from outside the first wall and the first bent, and from above.
func axonEye() plane {
	toward := geom.Unit(geom.V(-0.52, -0.74, 0.46))
	right := geom.Unit(geom.Cross(geom.V(0, 0, 1), toward))
	return plane{right: right, up: geom.Cross(toward, right), toward: toward}
}

// NewPicture makes a frame ready to be drawn.
func NewPicture(f *frame.Frame) *Picture {
	p := &Picture{frame: f, eye: axonEye()}
	all := make([]int, len(f.Timbers()))
	for i := range all {
		all[i] = i
	}
	p.shapes = shapesOf(f, all)
	p.order = order(p.shapes, p.eye)
	return p
}

// Axon draws the whole frame from outside and above: every stick as its solid, with its mark where
// the stick can be seen.
func Axon(f *frame.Frame, b Block) *drawing.Sheet { return NewPicture(f).Axon(b) }

// Axon is the function of the same name on a picture.
func (p *Picture) Axon(b Block) *drawing.Sheet {
	page := p.page(nil)
	p.floor(page, p.lines(p.shapes))
	done := p.paint(page, func(int) (drawing.Class, bool) { return drawing.Outline, true })
	p.inscribe(page, done, markMM, func(int) bool { return true })
	desc := fmt.Sprintf("The whole frame of %d sticks, seen from outside the first wall and the first bent and from above.", len(p.shapes))
	return page.finish(p.frame, b, "axonometric view", desc)
}

// Move draws one move of raising a frame: the sticks that move filled, with their marks; those that
// stand outlined; those to come dashed; sticks in none of the lists are left out. Each brace is drawn
// as a thin line with a tick at its lower end. The lists hold indices of the frame's timbers; the name is the title's.
func (p *Picture) Move(standing, moving, coming []int, braces [][2]geom.Vec, name string, b Block) *drawing.Sheet {
	class := make(map[int]drawing.Class, len(standing)+len(moving)+len(coming))
	for _, i := range coming {
		class[i] = drawing.Coming
	}
	for _, i := range standing {
		class[i] = drawing.Standing
	}
	for _, i := range moving {
		class[i] = drawing.Moving
	}
	page := p.page(braces)
	p.floor(page, p.lines(p.shapes))
	for _, i := range p.order {
		if c, ok := class[i]; ok && c == drawing.Coming {
			page.Frame(c, p.shapes[i].mark, page.paper(p.shapes[i].outline(p.eye)))
		}
	}
	done := p.paint(page, func(i int) (drawing.Class, bool) {
		c, ok := class[i]
		return c, ok && c != drawing.Coming
	})
	for _, brace := range braces {
		p.brace(page, brace[0], brace[1])
	}
	p.inscribe(page, done, markMM, func(i int) bool { return class[i] == drawing.Moving })
	desc := fmt.Sprintf("%d sticks move, filled; %d stand, outlined; %d are still to come, dashed; %d temporary braces.",
		len(moving), len(standing), len(coming), len(braces))
	return page.finish(p.frame, b, name, desc)
}

// page lays the whole frame and the ends of its grid lines on paper, so that all moves of a frame are
// drawn in the same place, but for one whose braces reach out farther.
func (p *Picture) page(braces [][2]geom.Vec) *page {
	room := extent(p.shapes, p.eye)
	for _, line := range p.lines(p.shapes) {
		room.include(p.eye.flat(line.from))
		room.include(p.eye.flat(line.to))
	}
	for _, brace := range braces {
		room.include(p.eye.flat(brace[0]))
		room.include(p.eye.flat(brace[1]))
	}
	return newPage(room, margin{left: 6, right: 6, top: 6, bottom: 6}, false)
}

// chalk is a grid line as it runs over the deck, its bubble before from.
type chalk struct {
	label    string
	from, to geom.Vec
}

// lines gives the grid lines over the floor of some of the frame's sticks: bents run out beyond the first
// wall, walls beyond the first bent.
func (p *Picture) lines(over []shape) []chalk {
	floor := extent(over, fromAbove)
	if floor.width() < 0 {
		return nil
	}
	out := 0.04*max(floor.width(), floor.height()) + 600
	floor.lo.X, floor.lo.Y = floor.lo.X-out, floor.lo.Y-out
	grid := p.frame.Grid()
	return append(chalks(grid.BentLines, floor), chalks(grid.WallLines, floor)...)
}

// chalks clips grid lines to the floor; the end nearer to the lower left corner carries the bubble.
func chalks(lines []frame.GridLine, floor span) []chalk {
	var out []chalk
	for _, l := range lines {
		dir := l.Along()
		if dir.X+dir.Y < 0 {
			dir = geom.Scale(-1, dir)
		}
		if from, to, ok := clip(l.Point, dir, floor); ok {
			out = append(out, chalk{label: l.Label, from: from, to: to})
		}
	}
	return out
}

// clip gives the part of a level line that lies inside an upright rectangle, at height nought.
func clip(point, dir geom.Vec, in span) (from, to geom.Vec, ok bool) {
	lo, hi := math.Inf(-1), math.Inf(1)
	for _, side := range [2][4]float64{{point.X, dir.X, in.lo.X, in.hi.X}, {point.Y, dir.Y, in.lo.Y, in.hi.Y}} {
		at, d, least, most := side[0], side[1], side[2], side[3]
		if math.Abs(d) < 1e-9 {
			if at < least-sameMM || at > most+sameMM {
				return from, to, false
			}
			continue
		}
		a, b := (least-at)/d, (most-at)/d
		lo, hi = max(lo, min(a, b)), min(hi, max(a, b))
	}
	if hi-lo < sameMM || math.IsInf(hi-lo, 0) {
		return from, to, false
	}
	base := geom.V(point.X, point.Y, 0)
	return geom.Along(base, lo, dir), geom.Along(base, hi, dir), true
}

// floor draws the grid lines on the deck.
func (p *Picture) floor(page *page, lines []chalk) {
	for _, l := range lines {
		a, b := page.spot(p.eye, l.from), page.spot(p.eye, l.to)
		page.Line(drawing.Grid, a, b)
		n := math.Hypot(b.X-a.X, b.Y-a.Y)
		back := func(mm float64) drawing.Point {
			return drawing.P(a.X-(b.X-a.X)*mm/n, a.Y-(b.Y-a.Y)*mm/n)
		}
		page.bubble(l.label, back(0), back(2.1*bubbleMM), back(4.2*bubbleMM), back(6.3*bubbleMM))
	}
}

// painted is what lies on the page already, for finding what of a stick is still seen.
type painted struct {
	sticks []int
	rank   map[int]int
	rings  *placer
}

// paint draws the sticks that class admits, from back to front.
func (p *Picture) paint(page *page, class func(int) (drawing.Class, bool)) painted {
	done := painted{rank: map[int]int{}, rings: newPlacer()}
	for _, i := range p.order {
		c, ok := class(i)
		if !ok {
			continue
		}
		s := &p.shapes[i]
		for _, face := range s.visible(p.eye) {
			ring := make([]drawing.Point, len(face))
			for k, corner := range face {
				ring[k] = page.spot(p.eye, corner)
			}
			page.Fill(c, s.mark, ring)
		}
		done.rank[i] = len(done.sticks)
		done.sticks = append(done.sticks, i)
		done.rings.take(page.paper(s.outline(p.eye)))
	}
	return done
}

// inscribe writes the marks of the sticks that wanted admits where they can be seen, in letters of a height at most.
func (p *Picture) inscribe(page *page, done painted, height float64, wanted func(int) bool) {
	for _, i := range done.sticks {
		if !wanted(i) {
			continue
		}
		mine, stick := int32(done.rank[i]), &p.shapes[i]
		a, b, width := page.midline(stick, p.eye)
		if width == 0 {
			continue
		}
		item := drawing.Item{Class: drawing.CenterMark, Text: stick.mark, Link: stick.mark}
		page.letter(item, a, b, min(height, max(smallMM, 0.8*width)), func(room []drawing.Point) bool {
			return done.rings.coveredAfter(mine, room)
		})
	}
}

// brace draws a temporary brace from one end to the other, with a tick at its foot.
func (p *Picture) brace(page *page, one, other geom.Vec) {
	foot, head := one, other
	if head.Z < foot.Z {
		foot, head = head, foot
	}
	a, b := page.spot(p.eye, foot), page.spot(p.eye, head)
	page.Line(drawing.Brace, a, b)
	page.tick(a, b)
}
