package framedraw

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// plane is a way of looking: right and up lie in the picture, toward points at the reader.
type plane struct{ right, up, toward geom.Vec }

// flat gives a point's place in the picture.
func (p plane) flat(v geom.Vec) (x, y float64) { return geom.Dot(v, p.right), geom.Dot(v, p.up) }

// fromAbove looks down on the deck, X to the right.
var fromAbove = plane{right: geom.Vec{X: 1}, up: geom.Vec{Y: 1}, toward: geom.Vec{Z: 1}}

// facing looks at an upright plane in which right lies level.
func facing(right geom.Vec) plane {
	return plane{right: right, up: geom.Vec{Z: 1}, toward: geom.Cross(right, geom.Vec{Z: 1})}
}

// shape is the solid of a stick as it is drawn: its section swept from shoulder to shoulder, each end
// cut in the face that it enters. Tenons are inside the other timber and not drawn.
type shape struct {
	index      int
	mark       string
	start, end geom.Vec
	axes       geom.Axes
	// corners are those of the start, counter-clockwise about the axis, then those of the end.
	corners [8]geom.Vec
	// cuts are the normals of the two end faces.
	cuts [2]geom.Vec
}

// steepest is how far a cut may lean out of square: beyond it, as for a stick that meets a face
// sideways, the end is drawn square.
const steepest = 0.25

// shapesOf gives the solids of some sticks of a frame.
func shapesOf(f *frame.Frame, sticks []int) []shape {
	out := make([]shape, len(sticks))
	for k, i := range sticks {
		out[k] = shapeOf(f, i)
	}
	return out
}

func shapeOf(f *frame.Frame, i int) shape {
	t, axes := f.Timbers()[i], f.Axes(i)
	s := shape{index: i, mark: t.Mark, start: t.Start, end: t.End, axes: axes, cuts: [2]geom.Vec{axes.Axis, axes.Axis}}
	for _, j := range f.JointsOf(i) {
		entering, _ := f.Ends(j)
		if entering != i {
			continue
		}
		normal, joint := joinery.EnteredFace(f.Joinery(j)), f.Joints()[j]
		if math.Abs(geom.Dot(normal, axes.Axis)) < steepest {
			continue
		}
		switch joint.EnteringEnd {
		case joinery.AtStart:
			s.cuts[0] = normal
		case joinery.AtEnd:
			s.cuts[1] = normal
		}
	}
	for k, sign := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		out := geom.Add(geom.Scale(sign[0]*t.WidthMM/2, axes.Width), geom.Scale(sign[1]*t.DepthMM/2, axes.Depth))
		s.corners[k] = geom.Along(geom.Add(t.Start, out), slip(out, s.cuts[0], axes.Axis), axes.Axis)
		s.corners[k+4] = geom.Along(geom.Add(t.End, out), slip(out, s.cuts[1], axes.Axis), axes.Axis)
	}
	return s
}

// slip is how far along the axis an edge that lies out beside it reaches to the cut through its end.
func slip(out, cut, axis geom.Vec) float64 { return -geom.Dot(out, cut) / geom.Dot(cut, axis) }

func (s *shape) middle() geom.Vec { return geom.Scale(0.5, geom.Add(s.start, s.end)) }

// reach gives how far the solid extends in a direction.
func (s *shape) reach(n geom.Vec) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, c := range s.corners {
		v := geom.Dot(c, n)
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

func (s *shape) normals() [4]geom.Vec {
	return [4]geom.Vec{s.axes.Width, s.axes.Depth, s.cuts[0], s.cuts[1]}
}

func (s *shape) edges() [3]geom.Vec { return [3]geom.Vec{s.axes.Axis, s.axes.Width, s.axes.Depth} }

// faces are the corners of the six faces, each counter-clockwise seen from outside.
var faces = [6][4]int{{3, 2, 1, 0}, {4, 5, 6, 7}, {0, 1, 5, 4}, {1, 2, 6, 5}, {2, 3, 7, 6}, {3, 0, 4, 7}}

// visible gives the faces that turn to the reader.
func (s *shape) visible(eye plane) [][4]geom.Vec {
	var out [][4]geom.Vec
	for _, f := range faces {
		a, b, c, d := s.corners[f[0]], s.corners[f[1]], s.corners[f[2]], s.corners[f[3]]
		if geom.Dot(geom.Cross(geom.Sub(c, a), geom.Sub(d, b)), eye.toward) > 1e-6 {
			out = append(out, [4]geom.Vec{a, b, c, d})
		}
	}
	return out
}

// outline gives the edge of the solid in the picture, in model millimetres.
func (s *shape) outline(eye plane) []drawing.Point {
	flat := make([]geom.Vec, len(s.corners))
	for i, c := range s.corners {
		flat[i].X, flat[i].Y = eye.flat(c)
	}
	ring := geom.HullXY(flat)
	out := make([]drawing.Point, len(ring))
	for i, v := range ring {
		out[i] = drawing.P(v.X, v.Y)
	}
	return out
}

// extent gives the room that some solids take in the picture.
func extent(shapes []shape, eye plane) span {
	out := emptySpan()
	for i := range shapes {
		for _, c := range shapes[i].corners {
			out.include(eye.flat(c))
		}
	}
	return out
}

// paper turns a ring of the picture into one on the page.
func (p *page) paper(ring []drawing.Point) []drawing.Point {
	out := make([]drawing.Point, len(ring))
	for i, q := range ring {
		out[i] = p.view.At(q.X, q.Y)
	}
	return out
}

// spot gives the place on the page of a point in space.
func (p *page) spot(eye plane, v geom.Vec) drawing.Point {
	x, y := eye.flat(v)
	return p.view.At(x, y)
}

// midline gives the middle line on the page of the long face that is seen widest.
func (p *page) midline(s *shape, eye plane) (a, b drawing.Point, width float64) {
	for k := range 4 {
		n := (k + 1) % 4
		one, other := p.spot(eye, s.corners[k]), p.spot(eye, s.corners[n])
		third, fourth := p.spot(eye, s.corners[n+4]), p.spot(eye, s.corners[k+4])
		// Counter-clockwise on paper, where Y runs down, is a negative turn.
		turn := (third.X-one.X)*(fourth.Y-other.Y) - (third.Y-one.Y)*(fourth.X-other.X)
		long := math.Hypot(fourth.X-one.X, fourth.Y-one.Y)
		if w := -turn / 2 / max(long, 1e-9); w > width {
			a, b, width = between(one, other, 0.5), between(third, fourth, 0.5), w
		}
	}
	return a, b, width
}

// inscribe writes a stick's mark along its middle line, no higher than fits between its edges while
// it can still be read.
func (p *page) inscribe(s *shape, eye plane, size float64) {
	a, b := p.spot(eye, s.start), p.spot(eye, s.end)
	if n := math.Hypot(b.X-a.X, b.Y-a.Y); n > 0 {
		lo, hi := along(p.paper(s.outline(eye)), (a.Y-b.Y)/n, (b.X-a.X)/n)
		size = min(size, max(smallMM, 0.72*(hi-lo)))
	}
	item := drawing.Item{Class: drawing.CenterMark, Text: s.mark, Link: s.mark}
	p.letter(item, a, b, size, nil)
}
