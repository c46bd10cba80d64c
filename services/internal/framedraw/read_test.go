package framedraw_test

import (
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// corners gives the room of a text on paper.
func corners(i drawing.Item) [4]geom.Vec {
	w, h := drawing.TextWidth(i.Text, i.Size), i.Size
	left := map[drawing.Anchor]float64{drawing.Middle: -w / 2, drawing.End: -w}[i.Anchor]
	s, c := math.Sincos(-i.TurnDeg * math.Pi / 180)
	at := func(x, y float64) geom.Vec {
		return geom.V(i.Points[0].X+x*c-y*s, i.Points[0].Y+x*s+y*c, 0)
	}
	return [4]geom.Vec{at(left, -h/2), at(left+w, -h/2), at(left+w, h/2), at(left, h/2)}
}

// meet says whether two rectangles overlap, by the directions of their edges.
func meet(a, b [4]geom.Vec) bool {
	for _, r := range [2][4]geom.Vec{a, b} {
		for _, n := range [2]geom.Vec{geom.Unit(geom.Sub(r[1], r[0])), geom.Unit(geom.Sub(r[3], r[0]))} {
			loA, hiA, loB, hiB := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
			for k := range 4 {
				loA, hiA = min(loA, geom.Dot(a[k], n)), max(hiA, geom.Dot(a[k], n))
				loB, hiB = min(loB, geom.Dot(b[k], n)), max(hiB, geom.Dot(b[k], n))
			}
			if hiA <= loB || hiB <= loA {
				return false
			}
		}
	}
	return true
}

// No text stands on another, every text lies on the paper, and every stick of an elevation has its mark.
func TestTextsDoNotOverlap(t *testing.T) {
	t.Parallel()
	for _, bents := range []int{3, 5, 8, 14} {
		f := long(t, bents)
		for view, s := range sheets(t, f) {
			var texts []drawing.Item
			for _, i := range s.Items {
				if i.Shape == drawing.Label {
					texts = append(texts, i)
				}
			}
			for k, a := range texts {
				room := corners(a)
				for _, p := range room {
					if p.X < 0 || p.Y < 0 || p.X > s.WidthMM || p.Y > s.HeightMM {
						t.Errorf("%d bents, %s: %q runs off the paper at %.0f, %.0f of %.0f by %.0f mm", bents, view, a.Text, p.X, p.Y, s.WidthMM, s.HeightMM)
						break
					}
				}
				for _, b := range texts[k+1:] {
					if math.Abs(a.Points[0].X-b.Points[0].X) < 60 && meet(room, corners(b)) {
						t.Errorf("%d bents, %s: %q stands on %q", bents, view, a.Text, b.Text)
					}
				}
			}
		}
	}
}

// What is written on the elevations of a frame that was worked out by hand.
func TestElevationSays(t *testing.T) {
	t.Parallel()
	all := sheets(t, box(t, 3))
	for view, want := range map[string][]string{
		"bent:2": {"P2A", "P2B", "T2", "A", "B", `24'-0"`, `9'-0"`, `0'-0"  deck`, `8'-0"  girt top`, `6'-10"  top of tie beam`, `9'-0"  post shoulder`},
		"wall:B": {"P1B", "P2B", "P3B", "G2B", "G3B", "1", "2", "3", `12'-0"`, `24'-8"`, `8'-0"  girt top`},
		"plan":   {"P1A", "P3B", "T1", "G3A", "1", "3", "A", "B", `12'-0"`, `24'-0"`, `24'-8"`},
	} {
		said := map[string]bool{}
		for _, text := range texts(all[view]) {
			said[text] = true
		}
		for _, text := range want {
			if !said[text] {
				t.Errorf("%s does not say %q", view, text)
			}
		}
	}
}

// A frame with its grid askew, far from the origin, with long labels and lines that cross nothing.
func TestOddGrid(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(3)
	d.Grid.BentLines = append(d.Grid.BentLines,
		frame.GridLine{Label: "skew", Point: geom.V(5000, 0, 0), HeadingDeg: 60},
		frame.GridLine{Label: "backwards, with words", Point: geom.V(9000, 0, 0), HeadingDeg: 270},
		frame.GridLine{Label: "far", Point: geom.V(900_000, 0, 0), HeadingDeg: 90})
	d.Grid.WallLines = append(d.Grid.WallLines, frame.GridLine{Label: "west", Point: geom.V(0, 3000, 0), HeadingDeg: 180})
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatal(err)
	}
	b := framedraw.Block{}
	for _, s := range []*drawing.Sheet{framedraw.Plan(f, b), framedraw.Axon(f, b)} {
		for _, i := range s.Items {
			for _, p := range i.Points {
				if math.IsNaN(p.X+p.Y) || p.X < -100 || p.X > s.WidthMM+100 || p.Y < -100 || p.Y > s.HeightMM+100 {
					t.Fatalf("%s: %v lies off the paper", s.Title, p)
				}
			}
		}
	}
	if _, ok := framedraw.Bent(f, "far", b); ok {
		t.Error("a bent line on which nothing stands was drawn")
	}
	if _, ok := framedraw.Wall(f, "nowhere", b); ok {
		t.Error("a wall that does not exist was drawn")
	}
	if _, ok := framedraw.Wall(f, "A", b); !ok {
		t.Error("wall A was not drawn")
	}
}

// A frame too long for any paper still gets a sheet that can be opened.
func TestLongest(t *testing.T) {
	t.Parallel()
	f := long(t, 150)
	for _, s := range []*drawing.Sheet{framedraw.Plan(f, framedraw.Block{}), framedraw.Axon(f, framedraw.Block{})} {
		if s.WidthMM > 12_500 || s.HeightMM > 12_500 {
			t.Errorf("%s is %.0f by %.0f mm, longer than any sheet", s.Title, s.WidthMM, s.HeightMM)
		}
	}
}
