package framedraw

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/rough"
)

// depth gives how near to the reader the face of a solid is that is seen at a place of the picture.
func depth(s *shape, eye plane, x, y float64) (float64, bool) {
	for _, face := range s.visible(eye) {
		ring := make([]drawing.Point, 4)
		for k, c := range face {
			ring[k].X, ring[k].Y = eye.flat(c)
		}
		if !inside(drawing.P(x, y), ring) {
			continue
		}
		n := geom.Cross(geom.Sub(face[2], face[0]), geom.Sub(face[3], face[1]))
		at := geom.Add(geom.Scale(x, eye.right), geom.Scale(y, eye.up))
		return geom.Dot(n, geom.Sub(face[0], at)) / geom.Dot(n, eye.toward), true
	}
	return 0, false
}

// Wherever one looks at a frame, what was painted last is what a ray from the reader meets first.
func TestNearestIsPaintedLast(t *testing.T) {
	t.Parallel()
	for _, bents := range []int{3, 8} {
		d, err := rough.Make(rough.King{
			Title: "Barn", BentCount: bents, BaySpacingsMM: []float64{3657.6}, SpanMM: 7315.2, PostHeightMM: 3048,
			RoofPitchDeg: 40, PurlinsPerSlope: 3, BraceLegMM: 914, Struts: true, WallBraces: true, Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 30,
		})
		if err != nil {
			t.Fatal(err)
		}
		f, err := frame.Parse(d)
		if err != nil {
			t.Fatal(err)
		}
		p := NewPicture(f)
		room := extent(p.shapes, p.eye)
		random := rand.New(rand.NewPCG(1, uint64(bents)))
		seen := 0
		for range 2500 {
			x, y := room.lo.X+random.Float64()*room.width(), room.lo.Y+random.Float64()*room.height()
			last, nearest, best := -1, math.Inf(-1), -1
			for _, i := range p.order {
				z, ok := depth(&p.shapes[i], p.eye, x, y)
				if !ok {
					continue
				}
				last = i
				if z > nearest {
					nearest, best = z, i
				}
			}
			if best < 0 {
				continue
			}
			seen++
			if z, _ := depth(&p.shapes[last], p.eye, x, y); nearest-z > deepMM {
				t.Errorf("%d bents: %s is painted over %s, which is %.0f mm nearer", bents, p.shapes[last].mark, p.shapes[best].mark, nearest-z)
			}
		}
		if seen < 250 {
			t.Errorf("%d bents: only %d places of the picture show a stick", bents, seen)
		}
	}
}
