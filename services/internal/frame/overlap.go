package frame

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

const (
	// touchMM is how deep two sticks may reach into each other and still count as touching.
	touchMM = 3
	// cellMM is the side of the cells by which neighbours are found.
	cellMM = 2000
	// maxOverlaps is how many overlaps are listed.
	maxOverlaps = 100
	// maxCompared bounds the work on a frame whose sticks all lie in one heap.
	maxCompared = 4_000_000
)

// warnOverlaps finds pairs of timbers in the same space away from their joint. Sticks are sorted into
// the cells of a grid that they pass through, so only neighbours are compared.
func warnOverlaps(f *Frame) []Finding {
	bodies := make([]body, len(f.sticks))
	for i := range bodies {
		bodies[i] = newBody(f.solids[i].Corners)
	}
	pairs, complete := neighbours(f, bodies)
	var w []Finding
	for _, p := range pairs {
		a, b := int(p>>32), int(p&math.MaxUint32)
		if !f.overlap(a, b, bodies) {
			continue
		}
		if len(w) == maxOverlaps {
			complete = false
			break
		}
		ta, tb := f.draft.Timbers[a].Mark, f.draft.Timbers[b].Mark
		w = append(w, Finding{Field: fmt.Sprintf("timbers[%d]", b), Piece: tb, Message: fmt.Sprintf(
			"%s and %s are in the same space away from a joint between them; move or shorten one of them.", ta, tb)})
	}
	if !complete {
		w = append(w, Finding{Field: "timbers", Message: "More timbers may be in the same space than are listed; put these right and check again."})
	}
	return w
}

// neighbours are the pairs of sticks, each as two indices in one number, whose boxes overlap; false when there
// were too many to compare.
func neighbours(f *Frame, bodies []body) (pairs []uint64, complete bool) {
	var entries []uint64
	for i := range f.sticks {
		entries = appendCells(entries, f, i)
	}
	slices.Sort(entries)
	entries = slices.Compact(entries)
	compared := 0
	for first := 0; first < len(entries); {
		last := first + 1
		for last < len(entries) && entries[last]>>indexBits == entries[first]>>indexBits {
			last++
		}
		for a := first; a < last; a++ {
			i := entries[a] & (1<<indexBits - 1)
			for b := a + 1; b < last; b++ {
				k := entries[b] & (1<<indexBits - 1)
				if compared++; compared > maxCompared {
					slices.Sort(pairs)
					return slices.Compact(pairs), false
				}
				if bodies[i].box.Overlaps(bodies[k].box) {
					pairs = append(pairs, i<<32|k)
				}
			}
		}
		first = last
	}
	slices.Sort(pairs)
	return slices.Compact(pairs), true
}

const (
	indexBits = 15 // holds MaxTimbers
	cellBits  = 12 // holds the cells of ±1 km and what reaches beyond
)

// appendCells adds an entry for every cell that a stick passes through: its cell, then its index.
func appendCells(entries []uint64, f *Frame, i int) []uint64 {
	s, solid := f.sticks[i], &f.solids[i]
	start := geom.Along(s.Start, -solid.StartMM, s.Axes.Axis)
	half := geom.V(s.ExtentMM(geom.V(1, 0, 0))/2, s.ExtentMM(geom.V(0, 1, 0))/2, s.ExtentMM(geom.V(0, 0, 1))/2)
	pieces := int(solid.OverallMM/cellMM) + 1
	step := geom.Scale(solid.OverallMM/float64(pieces), s.Axes.Axis)
	for range pieces {
		end := geom.Add(start, step)
		box := geom.BoxOf(start, end)
		low, high := geom.Sub(box.Min, half), geom.Add(box.Max, half)
		for x := cell(low.X); x <= cell(high.X); x++ {
			for y := cell(low.Y); y <= cell(high.Y); y++ {
				for z := cell(low.Z); z <= cell(high.Z); z++ {
					entries = append(entries, ((x<<cellBits|y)<<cellBits|z)<<indexBits|uint64(i))
				}
			}
		}
		start = end
	}
	return entries
}

func cell(v float64) uint64 {
	return uint64(int64(math.Floor(v/cellMM)) + 1<<(cellBits-1))
}

// overlap reports whether two sticks are in the same space. Where one enters the other it is shortened by
// what the joint may need; seats, laps and scarfs are meant to overlap.
func (f *Frame) overlap(a, b int, bodies []body) bool {
	first, second := bodies[a], bodies[b]
	fewer := a
	if len(f.jointsOf[b]) < len(f.jointsOf[a]) {
		fewer = b
	}
	for _, j := range f.jointsOf[fewer] {
		entering, receiving := f.Ends(j)
		switch {
		case entering == a && receiving == b:
			first = f.shortened(first, j)
		case entering == b && receiving == a:
			second = f.shortened(second, j)
		}
	}
	return !first.empty && !second.empty && first.box.Overlaps(second.box) && intersect(&first, &second)
}

// shortened is a body without what may lie in the receiving stick at a joint: half of it, for sticks that
// were drawn to centre lines, and what a joint's point may be off.
func (f *Frame) shortened(b body, j int) body {
	joint := f.joints[j]
	if !joint.Kind.Mortised() && joint.Kind != joinery.ForkAndTongue && joint.Kind != joinery.DovetailedHousing {
		return body{empty: true}
	}
	d := joinery.DirectionsOf(joint)
	off := (joint.Receiving.ExtentMM(d.N)/2 + nearMM) / math.Max(d.Squareness, joinery.MinSquareness)
	if b.empty || off >= joint.Entering.ShoulderMM() {
		return body{empty: true}
	}
	first := 0
	if joint.End == AtEnd {
		first = 4
	}
	for k := first; k < first+4; k++ {
		b.corners[k] = geom.Along(b.corners[k], -off, d.Out) // its directions stay
	}
	b.box = geom.BoxOf(b.corners[:]...)
	return b
}

// body is a convex solid with two four-cornered ends, as Solid.Corners lists them.
type body struct {
	corners [8]geom.Vec
	box     geom.Box
	normals [4]geom.Vec // of its sides and ends
	edges   [5]geom.Vec // along it and round its ends
	empty   bool
}

func newBody(c [8]geom.Vec) body {
	along := geom.Unit(geom.Sub(c[4], c[0]))
	across := func(a, b int) geom.Vec { return geom.Unit(geom.Sub(c[b], c[a])) }
	b := body{corners: c, box: geom.BoxOf(c[:]...)}
	b.edges = [5]geom.Vec{along, across(0, 1), across(1, 2), across(4, 5), across(5, 6)}
	b.normals = [4]geom.Vec{
		geom.Unit(geom.Cross(along, b.edges[1])), geom.Unit(geom.Cross(along, b.edges[2])),
		geom.Unit(geom.Cross(b.edges[1], b.edges[2])), geom.Unit(geom.Cross(b.edges[3], b.edges[4])),
	}
	return b
}

// intersect reports whether two bodies reach deeper than touchMM into each other: no direction among their
// normals and the products of their edges separates them (separating axis theorem).
func intersect(a, b *body) bool {
	for _, n := range a.normals {
		if separates(n, a, b) {
			return false
		}
	}
	for _, n := range b.normals {
		if separates(n, a, b) {
			return false
		}
	}
	for _, e := range a.edges {
		for _, g := range b.edges {
			n := geom.Cross(e, g)
			if l := geom.Norm(n); l > 1e-6 && separates(geom.Scale(1/l, n), a, b) {
				return false
			}
		}
	}
	return true
}

func separates(n geom.Vec, a, b *body) bool {
	if n == (geom.Vec{}) {
		return false
	}
	aLow, aHigh := a.span(n)
	bLow, bHigh := b.span(n)
	return aHigh < bLow+touchMM || bHigh < aLow+touchMM
}

func (b *body) span(n geom.Vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, c := range b.corners {
		d := geom.Dot(c, n)
		low, high = min(low, d), max(high, d)
	}
	return low, high
}
