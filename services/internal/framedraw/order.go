package framedraw

import (
	"cmp"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// pairBudget bounds how many pairs of sticks are compared; beyond it the nearness of their middles
// decides, so that the time to draw a frame of any size stays bounded.
const pairBudget = 400_000

// order gives the indices of shapes from back to front: a stick that hides a part of another comes
// after it. Two convex solids that do not run into one another have a plane between them; the one on
// the reader's side of that plane is in front. A ring of sticks of which each hides the next, which
// paint cannot show, is cut at the one that lies farthest back.
func order(shapes []shape, eye plane) []int {
	near := make([]float64, len(shapes))
	outlines := make([][]drawing.Point, len(shapes))
	far := make([]int, len(shapes))
	for i := range shapes {
		near[i] = geom.Dot(shapes[i].middle(), eye.toward)
		outlines[i] = shapes[i].outline(eye)
		far[i] = i
	}
	slices.SortFunc(far, func(a, b int) int { return cmp.Or(cmp.Compare(near[a], near[b]), cmp.Compare(a, b)) })
	behind := make([][]int, len(shapes))
	overlapping(outlines, func(i, j int) {
		switch infront(&shapes[i], &shapes[j], eye.toward) {
		case 1:
			behind[i] = append(behind[i], j)
		case -1:
			behind[j] = append(behind[j], i)
		}
	})
	rank := make([]int, len(shapes))
	for r, i := range far {
		rank[i] = r
	}
	out := make([]int, 0, len(shapes))
	seen := make([]bool, len(shapes))
	var visit func(int)
	visit = func(i int) {
		if seen[i] {
			return
		}
		seen[i] = true
		slices.SortFunc(behind[i], func(a, b int) int { return cmp.Compare(rank[a], rank[b]) })
		for _, j := range behind[i] {
			visit(j)
		}
		out = append(out, i)
	}
	for _, i := range far {
		visit(i)
	}
	return out
}

// overlapping calls visit for the pairs of outlines that share room in the picture, within the budget.
func overlapping(outlines [][]drawing.Point, visit func(i, j int)) {
	type extent struct {
		i      int
		lo, hi drawing.Point
	}
	boxes := make([]extent, len(outlines))
	for i, o := range outlines {
		lo, hi := bounds(o)
		boxes[i] = extent{i: i, lo: lo, hi: hi}
	}
	slices.SortFunc(boxes, func(a, b extent) int { return cmp.Or(cmp.Compare(a.lo.X, b.lo.X), cmp.Compare(a.i, b.i)) })
	left := pairBudget
	for k, a := range boxes {
		for _, b := range boxes[k+1:] {
			if b.lo.X > a.hi.X {
				break
			}
			if b.lo.Y > a.hi.Y || a.lo.Y > b.hi.Y {
				continue
			}
			if left--; left < 0 {
				return
			}
			if overlap(outlines[a.i], outlines[b.i], 1e-6) {
				visit(a.i, b.i)
			}
		}
	}
}

// deepMM is how far two solids may run into one another, by housings and rounding, and still be told
// apart by a plane between them. Beyond that, as where sticks are halved over one another, the nearer
// middle is in front.
const deepMM = 25

// infront says which of two solids is nearer to the reader: 1 for a, -1 for b, 0 when neither need be.
// It looks for the direction in which they are farthest apart among the normals of their faces and the
// common normals of their edges.
func infront(a, b *shape, toward geom.Vec) int {
	best, side := math.Inf(-1), 0.0
	try := func(n geom.Vec) {
		length := geom.Norm(n)
		if length < 1e-6 {
			return
		}
		n = geom.Scale(1/length, n)
		facing := geom.Dot(n, toward)
		if math.Abs(facing) < 1e-9 {
			return
		}
		loA, hiA := a.reach(n)
		loB, hiB := b.reach(n)
		if gap := loA - hiB; gap > best {
			best, side = gap, facing
		}
		if gap := loB - hiA; gap > best {
			best, side = gap, -facing
		}
	}
	for _, s := range [...]*shape{a, b} {
		for _, n := range s.normals() {
			try(n)
		}
	}
	for _, m := range a.edges() {
		for _, n := range b.edges() {
			try(geom.Cross(m, n))
		}
	}
	if best < -deepMM {
		side = geom.Dot(geom.Sub(a.middle(), b.middle()), toward)
	}
	switch {
	case side > 0:
		return 1
	case side < 0:
		return -1
	}
	return 0
}
