package framedraw

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/platform/units"
)

// Bent draws the elevation of the bent on the line with this label, walls running to the right. It
// gives false when the frame has no such line, or nothing stands on it.
func Bent(f *frame.Frame, label string, b Block) (*drawing.Sheet, bool) {
	return elevation(f, "bent", label, f.Grid().BentLines, f.Grid().WallLines, b)
}

// Wall draws the elevation of the wall on the line with this label, bents running to the right. It
// gives false when the frame has no such line, or nothing stands on it.
func Wall(f *frame.Frame, label string, b Block) (*drawing.Sheet, bool) {
	return elevation(f, "wall", label, f.Grid().WallLines, f.Grid().BentLines, b)
}

// Views lists the names of the drawings that a frame has, the plan and the whole first.
func Views(f *frame.Frame) []string {
	views := []string{"plan", "axon"}
	for _, l := range f.Grid().BentLines {
		views = append(views, "bent:"+l.Label)
	}
	for _, l := range f.Grid().WallLines {
		views = append(views, "wall:"+l.Label)
	}
	return views
}

func elevation(f *frame.Frame, kind, label string, lines, crossing []frame.GridLine, b Block) (*drawing.Sheet, bool) {
	at := slices.IndexFunc(lines, func(l frame.GridLine) bool { return l.Label == label })
	if at < 0 {
		return nil, false
	}
	line := lines[at]
	eye := facing(rightOf(line.Along(), kind == "bent"))
	in, across := standOn(f, kind, line, eye)
	if len(in) == 0 {
		return nil, false
	}
	shapes := shapesOf(f, in)
	model := extent(shapes, eye)
	model.include(model.lo.X, 0)
	levels := notes(f, shapes, eye)
	page := newPage(model, margin{left: 14, right: beyond(levels), top: 8, bottom: 36}, true)
	slices.SortStableFunc(shapes, func(a, b shape) int {
		return cmp.Compare(geom.Dot(a.middle(), eye.toward), geom.Dot(b.middle(), eye.toward))
	})
	for i := range shapes {
		page.Fill(drawing.Outline, shapes[i].mark, page.paper(shapes[i].outline(eye)))
	}
	page.cuts(f, across, eye, line)
	page.footing()
	page.spans(crossings(line, crossing, eye), feet(f, shapes, eye))
	page.heights(levels)
	for i := range shapes {
		page.inscribe(&shapes[i], eye, markMM)
	}
	desc := fmt.Sprintf("The %d sticks of %s %s, seen square to its plane, with spans between grid lines and heights above the deck.", len(shapes), kind, label)
	return page.finish(f, b, kind+" "+label+" elevation", desc), true
}

// rightOf gives the direction that runs to the right in an elevation: along the line, towards growing
// Y for bents and growing X for walls, as far as the line does.
func rightOf(dir geom.Vec, bent bool) geom.Vec {
	first, second := dir.X, dir.Y
	if bent {
		first, second = second, first
	}
	if first < -1e-9 || math.Abs(first) <= 1e-9 && second < 0 {
		return geom.Scale(-1, dir)
	}
	return dir
}

// beside is how far outside the depth of a line's posts the middle of a stick may lie and still stand
// on the line, in millimetres.
const beside = 30

// standOn finds the sticks that stand on a line, and those that pass square through its plane. A stick
// stands on the line when its assembly does, or when both ends of it lie within the depth of the posts
// on the line.
func standOn(f *frame.Frame, kind string, line frame.GridLine, eye plane) (in, across []int) {
	lo, hi := band(f, line, eye)
	member := map[string]bool{}
	for _, a := range f.Assemblies() {
		if a.Line == line.Label && (a.Kind == frame.AssemblyWallPanel) == (kind == "wall") {
			member[a.ID] = true
		}
	}
	for i, t := range f.Timbers() {
		a, b := geom.Dot(geom.Sub(t.Start, line.Point), eye.toward), geom.Dot(geom.Sub(t.End, line.Point), eye.toward)
		least, most := min(a, b), max(a, b)
		switch {
		case member[t.Assembly] || least >= lo-beside && most <= hi+beside:
			in = append(in, i)
		case least <= hi+beside && most >= lo-beside && math.Abs(geom.Dot(f.Axes(i).Axis, eye.toward)) > 0.9:
			across = append(across, i)
		}
	}
	return in, across
}

// band gives the depth of the posts that stand on a line, as distances from it towards the reader.
func band(f *frame.Frame, line frame.GridLine, eye plane) (lo, hi float64) {
	lo, hi = -1, 1
	for i, t := range f.Timbers() {
		if t.Role != frame.RolePost {
			continue
		}
		half := f.Axes(i).Extent(t.WidthMM, t.DepthMM, eye.toward) / 2
		d := geom.Dot(geom.Sub(t.Start, line.Point), eye.toward)
		if d-half <= beside && d+half >= -beside {
			lo, hi = min(lo, d-half), max(hi, d+half)
		}
	}
	return lo, hi
}

// cuts draws the sections of the sticks that pass through the plane, each place once.
func (p *page) cuts(f *frame.Frame, across []int, eye plane, line frame.GridLine) {
	seen := map[[2]int]bool{}
	for _, i := range across {
		s := shapeOf(f, i)
		part := geom.Dot(geom.Sub(line.Point, s.start), eye.toward) / geom.Dot(s.axes.Axis, eye.toward)
		part = max(0, min(part, geom.Dist(s.start, s.end)))
		x, y := eye.flat(geom.Along(s.start, part, s.axes.Axis))
		if key := [2]int{int(math.Round(x)), int(math.Round(y))}; !seen[key] {
			seen[key] = true
			ring := p.paper(s.outline(eye))
			p.Frame(drawing.Hidden, s.mark, ring)
			p.placer.take(ring)
		}
	}
}

// footing draws the top of the deck under the whole elevation.
func (p *page) footing() {
	a, b := p.view.At(p.model.lo.X, 0), p.view.At(p.model.hi.X, 0)
	p.Line(drawing.Ground, drawing.P(a.X-6, a.Y), drawing.P(b.X+6, b.Y))
}

// place is a place along an elevation with its grid label.
type place struct {
	label string
	at    float64
}

// crossings gives where other grid lines cross the plane of one.
func crossings(line frame.GridLine, others []frame.GridLine, eye plane) []place {
	var out []place
	dir := line.Along()
	for _, o := range others {
		d := o.Along()
		cross := dir.X*d.Y - dir.Y*d.X
		if math.Abs(cross) < 1e-6 {
			continue
		}
		r := geom.Sub(o.Point, line.Point)
		x, _ := eye.flat(geom.Along(line.Point, (r.X*d.Y-r.Y*d.X)/cross, dir))
		out = append(out, place{label: o.Label, at: x})
	}
	return out
}

// feet gives how far the posts reach along the deck.
func feet(f *frame.Frame, shapes []shape, eye plane) []float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range shapes {
		if f.Timbers()[shapes[i].index].Role == frame.RolePost {
			a, b := shapes[i].reach(eye.right)
			lo, hi = min(lo, a), max(hi, b)
		}
	}
	if lo >= hi {
		return nil
	}
	return []float64{lo, hi}
}

// spans dimensions an elevation along the deck: between grid lines, over all posts, with the bubbles.
func (p *page) spans(lines []place, outer []float64) {
	var at []float64
	for _, l := range lines {
		if l.at >= p.model.lo.X-1000 && l.at <= p.model.hi.X+1000 {
			at = append(at, l.at)
		}
	}
	deck := p.view.At(0, 0).Y
	bays := rail{page: p, across: true, v: deck + 10}
	bays.reach(at, 8)
	bays.chain(at)
	low := deck + 16
	if all := distinct(append(slices.Clone(at), outer...)); len(outer) == 2 && len(all) > 1 && !near(distinct(at), outer) {
		over := rail{page: p, across: true, v: low + 2}
		over.reach(outer, 16)
		over.chain(outer)
		low += 8
	}
	for _, l := range lines {
		if l.at < p.model.lo.X-1000 || l.at > p.model.hi.X+1000 {
			continue
		}
		x := p.view.At(l.at, 0).X
		row := func(n float64) drawing.Point { return drawing.P(x, low+1+bubbleMM+n*(2*bubbleMM+0.6)) }
		c := p.bubble(l.label, row(0), row(1), row(2))
		p.Line(drawing.Grid, drawing.P(x, deck+12), drawing.P(x, c.Y-bubbleMM))
	}
}

// near says whether places are the two outer ones alone.
func near(at, outer []float64) bool {
	return len(at) == 2 && math.Abs(at[0]-outer[0]) < sameMM && math.Abs(at[1]-outer[1]) < sameMM
}

// notes gives the heights worth knowing in an elevation: named levels, the tops of level beams and of
// posts, and the highest point, each height once, from below.
func notes(f *frame.Frame, shapes []shape, eye plane) []place {
	var out []place
	add := func(label string, z float64) {
		if !slices.ContainsFunc(out, func(o place) bool { return math.Abs(o.at-z) < 1 }) {
			out = append(out, place{label: label, at: z})
		}
	}
	room := extent(shapes, eye)
	add("deck", 0)
	for _, l := range f.Grid().Levels {
		if l.ZMM >= room.lo.Y-1 && l.ZMM <= room.hi.Y+1 {
			add(l.Label, l.ZMM)
		}
	}
	for i := range shapes {
		s := &shapes[i]
		_, top := s.reach(eye.up)
		switch role := f.Timbers()[s.index].Role; {
		case math.Abs(s.axes.Axis.Z) < 0.02:
			add("top of "+role.String(), top)
		case role == frame.RolePost:
			add("post shoulder", max(s.start.Z, s.end.Z))
		}
	}
	add("highest point", room.hi.Y)
	slices.SortStableFunc(out, func(a, b place) int { return cmp.Compare(a.at, b.at) })
	return out[:min(len(out), mostNotes)]
}

// mostNotes bounds the heights beside one elevation.
const mostNotes = 30

// height writes a height with its name.
func (n place) height() string { return units.FeetInches(n.at) + "  " + n.label }

// noteMM is how far beyond the model heights are written.
const noteMM = 12

// beyond is the room on paper that heights need beside the model.
func beyond(notes []place) float64 {
	most := 0.0
	for _, n := range notes {
		most = max(most, drawing.TextWidth(n.height(), dimensionMM))
	}
	return noteMM + most
}

// heights writes heights at the right of an elevation, pushed up where they would stand on one
// another, and the whole height at its left.
func (p *page) heights(notes []place) {
	x, last := p.view.At(p.model.hi.X, 0).X+noteMM-3, math.Inf(1)
	for _, n := range notes {
		y := p.view.At(0, n.at).Y
		text := min(y, last-1.6*dimensionMM)
		last = text
		p.Line(drawing.Dimension, drawing.P(x-6, y), drawing.P(x-2, y), drawing.P(x, text), drawing.P(x+2, text))
		p.Text(drawing.Item{
			Class: drawing.Dimension, Size: dimensionMM, Anchor: drawing.Start,
			Text: n.height(),
		}, drawing.P(x+3, text))
	}
	whole := []float64{0, p.model.hi.Y}
	side := rail{page: p, v: p.view.At(p.model.lo.X, 0).X - 9}
	side.reach(whole, -6)
	side.chain(whole)
}
