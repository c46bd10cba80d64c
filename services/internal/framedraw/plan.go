package framedraw

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// layer says how a stick is shown in the plan.
type layer int

const (
	leftOut layer = iota
	// overhead is roof framing, thin and dashed.
	overhead
	// floorBeam is a beam below the roof.
	floorBeam
	// standing is a post, shown by its foot.
	standing
)

// layerOf sorts roles into the layers of the plan. Rafters, braces and the inner sticks of trusses lie
// over the tie beams and are shown in the bents.
func layerOf(r frame.Role) layer {
	switch r {
	case frame.RolePost:
		return standing
	case frame.RoleTieBeam, frame.RoleGirt, frame.RolePlate, frame.RoleJoist, frame.RoleSummerBeam, frame.RoleSill, frame.RoleHammerBeam:
		return floorBeam
	case frame.RolePurlin, frame.RoleRidgeBeam, frame.RoleCommonRafter:
		return overhead
	}
	return leftOut
}

// Plan draws the frame from above: the feet of its posts, its beams outlined, roof framing along the
// ridge dashed, grid lines with their labels, and along two sides the distances between grid lines,
// the running dimensions from the first of them, and the whole.
func Plan(f *frame.Frame, b Block) *drawing.Sheet {
	layers := make(map[layer][]int)
	for i, t := range f.Timbers() {
		layers[layerOf(t.Role)] = append(layers[layerOf(t.Role)], i)
	}
	beams, posts, roof := shapesOf(f, layers[floorBeam]), shapesOf(f, layers[standing]), shapesOf(f, layers[overhead])
	all := slices.Concat(beams, posts, roof)
	if len(all) == 0 {
		all = shapesOf(f, layers[leftOut])
		beams = all
	}
	page := newFloor(f, extent(all, fromAbove))
	slices.SortStableFunc(beams, func(a, b shape) int { return cmp.Compare(a.middle().Z, b.middle().Z) })
	for i := range beams {
		page.Fill(drawing.Outline, beams[i].mark, page.paper(beams[i].outline(fromAbove)))
	}
	for i := range roof {
		page.Frame(drawing.Hidden, roof[i].mark, page.paper(roof[i].outline(fromAbove)))
	}
	page.posts(posts)
	for _, set := range [][]shape{beams, roof} {
		for i := range set {
			page.inscribe(&set[i], fromAbove, markMM)
		}
	}
	desc := fmt.Sprintf("%d posts by their feet, %d beams outlined and %d sticks of the roof dashed, seen from above, between the grid lines.", len(posts), len(beams), len(roof))
	return page.finish(f, b, "plan", desc)
}

// posts draws the feet of posts, each with its mark beside it.
func (p *page) posts(posts []shape) {
	for i := range posts {
		p.section(posts[i].mark, p.paper(foot(&posts[i])))
	}
	for i := range posts {
		s := &posts[i]
		lo, hi := bounds(p.paper(foot(s)))
		p.besides(drawing.Item{Class: drawing.CenterMark, Size: markMM, Text: s.mark, Link: s.mark}, lo, hi)
	}
}

// section draws the cut through an upright stick, with the cross that says that it is cut.
func (p *page) section(mark string, ring []drawing.Point) {
	p.Fill(drawing.Outline, mark, ring)
	if len(ring) == 4 {
		p.Line(drawing.Dimension, ring[0], ring[2])
		p.Line(drawing.Dimension, ring[1], ring[3])
	}
}

// foot gives the corners of a stick's lower end.
func foot(s *shape) []drawing.Point {
	end := s.corners[:4]
	if s.end.Z < s.start.Z {
		end = s.corners[4:]
	}
	flat := slices.Clone(end)
	for i := range flat {
		flat[i].Z = 0
	}
	out := make([]drawing.Point, 0, 4)
	for _, c := range geom.HullXY(flat) {
		out = append(out, drawing.P(c.X, c.Y))
	}
	return out
}

// besides writes a text outside one of the corners of a small rectangle, at the first that is free.
func (p *page) besides(item drawing.Item, lo, hi drawing.Point) {
	const gap = 1.1
	h := item.Size * 0.65
	type spot struct {
		at     drawing.Point
		anchor drawing.Anchor
	}
	spots := []spot{
		{drawing.P(hi.X+gap, hi.Y+gap+h), drawing.Start},
		{drawing.P(lo.X-gap, hi.Y+gap+h), drawing.End},
		{drawing.P(hi.X+gap, lo.Y-gap-h), drawing.Start},
		{drawing.P(lo.X-gap, lo.Y-gap-h), drawing.End},
		{drawing.P(hi.X+gap, hi.Y+gap+3.4*h), drawing.Start},
		{drawing.P(lo.X-gap, hi.Y+gap+3.4*h), drawing.End},
	}
	best := spots[0]
	for _, s := range spots {
		if p.placer.free(box(item.Text, s.at, item.Size, 0, s.anchor)) {
			best = s
			break
		}
	}
	p.placer.take(box(item.Text, best.at, item.Size, 0, best.anchor))
	item.Anchor = best.anchor
	p.Text(item, best.at)
}
