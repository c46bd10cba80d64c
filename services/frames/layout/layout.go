// Package layout computes where the posts of a frame stand on the deck: their feet, running dimensions
// from the two control lines, and the diagonals that prove the layout square.
package layout

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// Post is the foot of one post.
type Post struct {
	// Mark of the post.
	Mark string
	// Bent and Wall are the labels of the lines that it stands on; empty when it stands on none.
	Bent, Wall string
	// Corners of the foot on the deck, counter-clockwise seen from above, in millimetres.
	Corners []geom.Vec
	// Point is what a tape is held to: where the post's bent line and wall line cross, which is the corner
	// of its two reference faces; the middle of its foot when it does not stand on two lines.
	Point geom.Vec
	// RunningXMM and RunningYMM are the distances along X and Y from the origin of the control lines to
	// the post's nearest face, negative on the far side of the line, in millimetres.
	RunningXMM, RunningYMM float64
}

// Diagonal is a distance to tape on the deck between the points of two posts.
type Diagonal struct {
	// From and To are indices into the posts.
	From, To int
	// LengthMM is the level distance between their points, √(Δx² + Δy²), in millimetres.
	LengthMM float64
	// Partner is the index of the other diagonal of the same four posts.
	Partner int
}

// Layout is what is marked on the deck and proved with a tape.
type Layout struct {
	// Posts by bent, then by wall, in the order of the grid; those on no line come last.
	Posts []Post
	// Diagonals in pairs: those of every four neighbouring posts, then those over everything.
	Diagonals []Diagonal
}

// Of computes the layout of a frame.
func Of(f *frame.Frame) Layout {
	grid := f.Grid()
	bents, walls := ranks(grid.BentLines), ranks(grid.WallLines)
	var l Layout
	for _, i := range f.Posts() {
		l.Posts = append(l.Posts, post(f, i, bents, walls))
	}
	slices.SortStableFunc(l.Posts, func(a, b Post) int {
		return cmp.Or(cmp.Compare(rank(bents, a.Bent), rank(bents, b.Bent)),
			cmp.Compare(rank(walls, a.Wall), rank(walls, b.Wall)), cmp.Compare(a.Mark, b.Mark))
	})
	l.tape(len(bents), len(walls), bents, walls)
	return l
}

// ranks gives the lines of a grid by label, with their places in its order.
func ranks(lines []frame.GridLine) map[string]ranked {
	out := make(map[string]ranked, len(lines))
	for i, line := range lines {
		out[line.Label] = ranked{line: line, rank: i}
	}
	return out
}

type ranked struct {
	line frame.GridLine
	rank int
}

// rank gives the place of a label, after all lines for a post that stands on none.
func rank(lines map[string]ranked, label string) int {
	if r, ok := lines[label]; ok && label != "" {
		return r.rank
	}
	return len(lines)
}

// post measures the foot of timber i.
func post(f *frame.Frame, i int, bents, walls map[string]ranked) Post {
	p := Post{Mark: f.Timbers()[i].Mark, Corners: foot(f, i)}
	bent, onBent := f.BentLineOf(i)
	wall, onWall := f.WallLineOf(i)
	p.Bent, p.Wall = bent, wall
	p.Point = geom.Scale(0.25, geom.Add(geom.Add(p.Corners[0], p.Corners[1]), geom.Add(p.Corners[2], p.Corners[3])))
	if onBent && onWall {
		if at, ok := crossing(bents[bent].line, walls[wall].line); ok {
			p.Point = geom.V(at.X, at.Y, p.Point.Z)
		}
	}
	p.RunningXMM, p.RunningYMM = math.Inf(1), math.Inf(1)
	for _, c := range p.Corners {
		if math.Abs(c.X) < math.Abs(p.RunningXMM) {
			p.RunningXMM = c.X
		}
		if math.Abs(c.Y) < math.Abs(p.RunningYMM) {
			p.RunningYMM = c.Y
		}
	}
	return p
}

// foot gives the four corners of a post's lower end, where its edges meet the level of its shoulder.
func foot(f *frame.Frame, i int) []geom.Vec {
	t, x := f.Timbers()[i], f.Axes(i)
	at := t.Start
	if t.End.Z < at.Z {
		at = t.End
	}
	corners := make([]geom.Vec, 0, 4)
	for _, sign := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		c := geom.Add(at, geom.Add(geom.Scale(sign[0]*t.WidthMM/2, x.Width), geom.Scale(sign[1]*t.DepthMM/2, x.Depth)))
		// A leaning post is cut level; one that hardly rises is left square.
		if math.Abs(x.Axis.Z) > 0.1 {
			c = geom.Along(c, (at.Z-c.Z)/x.Axis.Z, x.Axis)
		}
		corners = append(corners, c)
	}
	if turn := geom.Cross(geom.Sub(corners[2], corners[0]), geom.Sub(corners[3], corners[1])); turn.Z < 0 {
		slices.Reverse(corners)
	}
	first := 0
	for k, c := range corners {
		if cmp.Or(nearly(c.Y, corners[first].Y), nearly(c.X, corners[first].X)) < 0 {
			first = k
		}
	}
	return append(corners[first:len(corners):len(corners)], corners[:first]...)
}

// nearly compares two coordinates as equal when rounding alone sets them apart.
func nearly(a, b float64) int {
	if math.Abs(a-b) < 1e-6 {
		return 0
	}
	return cmp.Compare(a, b)
}

// crossing gives the point where two grid lines cross; false when they do not within rounding.
func crossing(a, b frame.GridLine) (geom.Vec, bool) {
	d, e := a.Along(), b.Along()
	turn := d.X*e.Y - d.Y*e.X
	if math.Abs(turn) < 1e-6 {
		return geom.Vec{}, false
	}
	r := geom.Sub(b.Point, a.Point)
	return geom.Along(a.Point, (r.X*e.Y-r.Y*e.X)/turn, d), true
}

// row is the posts of one bent, each with the place of its wall in the grid's order.
type row struct{ posts, walls []int }

// lookBack is how many bents back a bent looks for one with which it shares two walls.
const lookBack = 8

// tape finds the diagonals: for each two neighbouring bents with posts, those of every two neighbouring
// walls on which both have a post (a bent that shares no two walls with its neighbour is held to the
// nearest one before that it does); then those between the outermost walls of the first and the last bent.
// So their number grows with the posts, and a bent without inner posts is still held to its neighbours.
func (l *Layout) tape(bentCount, wallCount int, bents, walls map[string]ranked) {
	rows := make([]row, bentCount)
	for i, p := range l.Posts {
		b, w := rank(bents, p.Bent), rank(walls, p.Wall)
		if b == bentCount || w == wallCount {
			continue
		}
		if n := len(rows[b].walls); n == 0 || rows[b].walls[n-1] != w {
			rows[b].posts, rows[b].walls = append(rows[b].posts, i), append(rows[b].walls, w)
		}
	}
	rows = slices.DeleteFunc(rows, func(r row) bool { return len(r.posts) == 0 })
	for i := 1; i < len(rows); i++ {
		var a, b []int
		for back := i - 1; back >= max(0, i-lookBack) && len(a) < 2; back-- {
			a, b = shared(rows[back], rows[i])
		}
		for k := 1; k < len(a); k++ {
			l.pair(a[k-1], a[k], b[k-1], b[k])
		}
	}
	if len(rows) < 2 {
		return
	}
	a, b := shared(rows[0], rows[len(rows)-1])
	if n := len(a); n >= 2 && (len(rows) > 2 || n > 2) {
		l.pair(a[0], a[n-1], b[0], b[n-1])
	}
}

// shared gives the posts of two bents that stand on the same walls.
func shared(a, b row) (of, other []int) {
	for i, k := 0, 0; i < len(a.walls) && k < len(b.walls); {
		switch {
		case a.walls[i] < b.walls[k]:
			i++
		case a.walls[i] > b.walls[k]:
			k++
		default:
			of, other = append(of, a.posts[i]), append(other, b.posts[k])
			i, k = i+1, k+1
		}
	}
	return of, other
}

// pair adds the two diagonals of four posts: a and b on one bent, c and d across from them on another.
func (l *Layout) pair(a, b, c, d int) {
	n := len(l.Diagonals)
	l.Diagonals = append(l.Diagonals,
		Diagonal{From: a, To: d, LengthMM: l.distance(a, d), Partner: n + 1},
		Diagonal{From: b, To: c, LengthMM: l.distance(b, c), Partner: n})
}

func (l *Layout) distance(i, j int) float64 {
	a, b := l.Posts[i].Point, l.Posts[j].Point
	return math.Hypot(b.X-a.X, b.Y-a.Y)
}
