package framedraw

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/drawing"
)

// cellMM is the width of the squares by which the placer finds what is near.
const cellMM = 12

// placer finds free room for texts, so that no text of a sheet stands on another.
type placer struct {
	cells map[[2]int32][]int32
	taken [][]drawing.Point
}

func newPlacer() *placer { return &placer{cells: map[[2]int32][]int32{}} }

// box gives the corners of the room that a text needs, with a little air.
func box(text string, at drawing.Point, height, turnDeg float64, anchor drawing.Anchor) []drawing.Point {
	w, h := drawing.TextWidth(text, height), height*1.25
	left := -w / 2
	switch anchor {
	case drawing.Start:
		left = 0
	case drawing.End:
		left = -w
	}
	s, c := math.Sincos(-turnDeg * math.Pi / 180)
	corner := func(x, y float64) drawing.Point {
		return drawing.P(at.X+x*c-y*s, at.Y+x*s+y*c)
	}
	return []drawing.Point{corner(left, -h/2), corner(left+w, -h/2), corner(left+w, h/2), corner(left, h/2)}
}

// each calls visit for the squares that a convex outline touches, until visit says to stop.
func each(room []drawing.Point, visit func([2]int32) bool) {
	lo, hi := bounds(room)
	for x := int32(math.Floor(lo.X / cellMM)); x <= int32(math.Floor(hi.X/cellMM)); x++ {
		for y := int32(math.Floor(lo.Y / cellMM)); y <= int32(math.Floor(hi.Y/cellMM)); y++ {
			if !visit([2]int32{x, y}) {
				return
			}
		}
	}
}

// free says whether nothing stands yet where a text wants to stand.
func (p *placer) free(room []drawing.Point) bool {
	ok := true
	each(room, func(c [2]int32) bool {
		for _, i := range p.cells[c] {
			if overlap(room, p.taken[i], 0) {
				ok = false
				return false
			}
		}
		return true
	})
	return ok
}

// take keeps the room for good.
func (p *placer) take(room []drawing.Point) {
	i := int32(len(p.taken))
	p.taken = append(p.taken, room)
	each(room, func(c [2]int32) bool {
		p.cells[c] = append(p.cells[c], i)
		return true
	})
}

// bounds gives the least and the greatest coordinates of some points.
func bounds(ps []drawing.Point) (lo, hi drawing.Point) {
	lo, hi = drawing.P(math.Inf(1), math.Inf(1)), drawing.P(math.Inf(-1), math.Inf(-1))
	for _, q := range ps {
		lo.X, lo.Y = min(lo.X, q.X), min(lo.Y, q.Y)
		hi.X, hi.Y = max(hi.X, q.X), max(hi.Y, q.Y)
	}
	return lo, hi
}

// overlap says whether two convex outlines share more than a strip as wide as slack, by looking for an
// edge of either that has them on its two sides.
func overlap(a, b []drawing.Point, slack float64) bool {
	return !apart(a, b, slack) && !apart(b, a, slack)
}

// apart says whether an edge of a separates a from b.
func apart(a, b []drawing.Point, slack float64) bool {
	for i, p := range a {
		q := a[(i+1)%len(a)]
		nx, ny := p.Y-q.Y, q.X-p.X
		n := math.Hypot(nx, ny)
		if n == 0 {
			continue
		}
		loA, hiA := along(a, nx/n, ny/n)
		loB, hiB := along(b, nx/n, ny/n)
		if hiA <= loB+slack || hiB <= loA+slack {
			return true
		}
	}
	return false
}

// along gives how far points reach in a direction.
func along(ps []drawing.Point, nx, ny float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range ps {
		v := p.X*nx + p.Y*ny
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

// inside says whether a point lies inside a convex outline.
func inside(p drawing.Point, outline []drawing.Point) bool {
	sign := 0.0
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		side := (b.X-a.X)*(p.Y-a.Y) - (b.Y-a.Y)*(p.X-a.X)
		if side*sign < 0 {
			return false
		}
		if side != 0 {
			sign = side
		}
	}
	return sign != 0
}

// coveredAfter says whether an outline taken later than the one with the given number lies over the
// middle of a text or over the middle of either half of it.
func (p *placer) coveredAfter(number int32, room []drawing.Point) bool {
	head, tail := between(room[0], room[3], 0.5), between(room[1], room[2], 0.5)
	for _, part := range [...]float64{0.5, 0.15, 0.85} {
		at := between(head, tail, part)
		for _, i := range p.cells[[2]int32{int32(math.Floor(at.X / cellMM)), int32(math.Floor(at.Y / cellMM))}] {
			if i > number && inside(at, p.taken[i]) {
				return true
			}
		}
	}
	return false
}
