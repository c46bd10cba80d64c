package makesafe

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// Clearances. Settings of ours, within what a board and its nails need.
const (
	// touchMM is how deep a brace may seem to enter a stick that it lies against.
	touchMM = 3
	// gapMM is kept between two braces.
	gapMM = 15
	// tailMM is how far a board runs on past the middle of its fastening on a stick.
	tailMM = 90
	// dustMM is the length below which a cross product has no direction.
	dustMM = 1e-9
)

// box is a body: its middle and the half edges that span it. A stick has three; one that is swept along its way home has a
// fourth.
type box struct {
	at     geom.Vec
	half   [4]geom.Vec
	n      int
	around geom.Box
}

func newBox(at geom.Vec, half ...geom.Vec) box {
	b := box{at: at, n: len(half)}
	copy(b.half[:], half)
	r := geom.Vec{}
	for _, h := range half {
		r = geom.Add(r, geom.V(math.Abs(h.X), math.Abs(h.Y), math.Abs(h.Z)))
	}
	b.around = geom.Box{Min: geom.Sub(at, r), Max: geom.Add(at, r)}
	return b
}

// swept is the room that the box needs on its way home, from a distance back along it.
func (b box) swept(home geom.Vec, backMM float64) box {
	if backMM <= 0 || home == (geom.Vec{}) {
		return b
	}
	half := append([]geom.Vec{}, b.half[:b.n]...)
	return newBox(geom.Along(b.at, -backMM/2, home), append(half, geom.Scale(backMM/2, home))...)
}

// meets says whether two boxes come nearer than a distance; a negative one lets them enter each other by as much. Both are
// sums of segments, so two that do not meet are parted by a plane that lies along one edge of either: the test
// is exact for a distance of 0.
func (b box) meets(o box, mm float64) bool {
	if !b.around.Grow(mm).Overlaps(o.around) {
		return false
	}
	d := geom.Sub(o.at, b.at)
	var edges [8]geom.Vec
	n := copy(edges[:], b.half[:b.n])
	n += copy(edges[n:], o.half[:o.n])
	for i := range n {
		for j := range i {
			axis := geom.Cross(edges[i], edges[j])
			l := geom.Norm(axis)
			if l < dustMM {
				continue
			}
			reach := 0.0
			for k := range n {
				reach += math.Abs(geom.Dot(axis, edges[k]))
			}
			if math.Abs(geom.Dot(axis, d)) >= reach+mm*l {
				return false
			}
		}
	}
	return true
}

// stickBox is the body of a stick of the frame between its shoulders, with the longer side of sloped cuts.
func stickBox(f *frame.Frame, i int) box {
	t, axes := f.Timbers()[i], f.Axes(i)
	from, to := math.Inf(1), math.Inf(-1)
	for _, c := range f.Solid(i).Corners {
		s := geom.Dot(geom.Sub(c, t.Start), axes.Axis)
		from, to = min(from, s), max(to, s)
	}
	return newBox(geom.Along(t.Start, (from+to)/2, axes.Axis), geom.Scale((to-from)/2, axes.Axis),
		geom.Scale(t.WidthMM/2, axes.Width), geom.Scale(t.DepthMM/2, axes.Depth))
}

// braceBox is the body of a brace whose thickness lies along a level or other direction square to it; it runs on past the
// middle of a fastening on a stick, unless it is butted against it.
func braceBox(b *brace.Brace, thick geom.Vec, butted bool) box {
	u := geom.Unit(geom.Sub(b.Foot, b.Top))
	deep := geom.Unit(geom.Cross(u, thick))
	thick = geom.Cross(deep, u)
	top, foot := b.Top, b.Foot
	if !butted {
		top = geom.Along(top, -tailMM, u)
	}
	if b.FootTimber >= 0 {
		foot = geom.Along(foot, tailMM, u)
	}
	return newBox(geom.Mid(top, foot), geom.Scale(geom.Dist(top, foot)/2, u),
		geom.Scale(b.Lumber.WidthMM/2, thick), geom.Scale(b.Lumber.DepthMM/2, deep))
}

// thickness is the direction of a brace's thickness: the normal of the face of its stick that it lies against; of one that is
// butted against a face, along the stick.
func thickness(f *frame.Frame, b *brace.Brace) (n geom.Vec, butted bool) {
	t, axes := f.Timbers()[b.Timber], f.Axes(b.Timber)
	_, w, d := axes.Local(geom.Sub(b.Top, t.Start))
	u := geom.Unit(geom.Sub(b.Foot, b.Top))
	n = geom.Scale(sign(d), axes.Depth)
	if math.Abs(w)-t.WidthMM/2 > math.Abs(d)-t.DepthMM/2 {
		n = geom.Scale(sign(w), axes.Width)
	}
	if math.Abs(geom.Dot(n, u)) > 0.3 {
		return axes.Axis, true
	}
	return n, false
}

func sign(x float64) float64 {
	if x < 0 {
		return -1
	}
	return 1
}
