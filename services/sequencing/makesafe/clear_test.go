package makesafe

import (
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// The checks below share no code with the search: they walk through the wood of a board in small steps and ask of every
// point whether it lies in another stick.

// inStick says whether a point lies deeper than some millimetres in a stick between its shoulders.
func inStick(f *frame.Frame, i int, p geom.Vec, deepMM float64) bool {
	t, axes := f.Timbers()[i], f.Axes(i)
	along, w, d := axes.Local(geom.Sub(p, t.Start))
	return along > deepMM && along < geom.Dist(t.Start, t.End)-deepMM &&
		math.Abs(w) < t.WidthMM/2-deepMM && math.Abs(d) < t.DepthMM/2-deepMM
}

// grain are points of the wood of a brace: along it every 15 mm, at its middle and its edges.
func grain(f *frame.Frame, b *brace.Brace) []geom.Vec {
	u := geom.Unit(geom.Sub(b.Foot, b.Top))
	// The board lies against a face of its stick: its thickness points from there to its middle line.
	t, axes := f.Timbers()[b.Timber], f.Axes(b.Timber)
	along, w, d := axes.Local(geom.Sub(b.Top, t.Start))
	on := geom.Add(geom.Along(t.Start, along, axes.Axis), geom.Add(
		geom.Scale(min(max(w, -t.WidthMM/2), t.WidthMM/2), axes.Width), geom.Scale(min(max(d, -t.DepthMM/2), t.DepthMM/2), axes.Depth)))
	thick := geom.Unit(geom.Sub(b.Top, on))
	if geom.Dist(b.Top, on) < 1 { // butted against the stick, cut to its face
		thick = axes.Axis
	}
	deep := geom.Unit(geom.Cross(u, thick))
	var points []geom.Vec
	for s := 0.0; s <= geom.Dist(b.Top, b.Foot); s += 15 {
		p := geom.Along(b.Top, s, u)
		for _, x := range []float64{-1, 0, 1} {
			for _, y := range []float64{-1, 0, 1} {
				points = append(points, geom.Add(p, geom.Add(geom.Scale(x*b.Lumber.WidthMM/2, thick), geom.Scale(y*b.Lumber.DepthMM/2, deep))))
			}
		}
	}
	return points
}

// checkClear fails on braces that go through sticks, standing or coming, or through one another, and on feet off the deck.
func checkClear(t *testing.T, f *frame.Frame, site Site, standing []int, coming []Move, on []brace.Brace) {
	t.Helper()
	const deepMM = 5
	for i := range on {
		b := &on[i]
		m := b.Structure()
		if k, through := model.Through(f, &m, standing); through {
			t.Errorf("brace %s goes through %s, by the structure's check", b.ID, f.Timbers()[k].Mark)
		}
		wood := grain(f, b)
		for _, p := range wood {
			for _, k := range standing {
				if inStick(f, k, p, deepMM) && (k != b.Timber || geom.Dist(p, b.Top) > 150) {
					t.Fatalf("brace %s of %s goes through %s at %.0f", b.ID, b.Mark, f.Timbers()[k].Mark, p)
				}
			}
			for _, mv := range coming {
				for _, k := range mv.Pieces {
					for _, back := range []float64{0, 100, 200, 300} {
						if inStick(f, k, geom.Along(p, back, mv.Home), deepMM) {
							t.Fatalf("brace %s of %s is in the way of %s at %.0f, %g mm before it is home", b.ID, b.Mark, f.Timbers()[k].Mark, p, back)
						}
					}
				}
			}
		}
		for k := range i {
			o := &on[k]
			for _, p := range wood {
				if geom.DistanceToSegment(p, o.Top, o.Foot) < min(o.Lumber.WidthMM, o.Lumber.DepthMM)/2 {
					t.Fatalf("braces %s and %s go through each other at %.0f", o.ID, b.ID, p)
				}
			}
		}
		checkFoot(t, site, b)
	}
}

// checkFoot fails on a foot off the deck, or a stake under it, by the turns of the outline about the point.
func checkFoot(t *testing.T, site Site, b *brace.Brace) {
	t.Helper()
	if b.FootTimber >= 0 || len(site.Deck) < 3 {
		return
	}
	turn := 0.0
	for i, c := range site.Deck {
		d := site.Deck[(i+1)%len(site.Deck)]
		a0, a1 := math.Atan2(c.Y-b.Foot.Y, c.X-b.Foot.X), math.Atan2(d.Y-b.Foot.Y, d.X-b.Foot.X)
		turn += math.Remainder(a1-a0, 2*math.Pi)
	}
	inside := math.Abs(turn) > math.Pi
	switch b.Anchor.Ground {
	case model.OnDeck:
		if !inside || b.Foot.Z != 0 {
			t.Errorf("the foot of brace %s at %.0f is not on the deck", b.ID, b.Foot)
		}
	case model.OnGround:
		if inside || b.Foot.Z != -site.DeckMM {
			t.Errorf("the stake of brace %s at %.0f is not in the ground outside the deck", b.ID, b.Foot)
		}
	}
}

// checkRigger fails on what a rigger would not set.
func checkRigger(t *testing.T, b *brace.Brace) {
	t.Helper()
	if b.Top.Z > reachMM {
		t.Errorf("brace %s is fixed %.0f mm up, out of reach from a ladder", b.ID, b.Top.Z)
	}
	if slope := b.SlopeDeg(); b.FootTimber < 0 && (slope < 44 || slope > 61) && slope < 69 {
		t.Errorf("brace %s stands at %.0f degrees", b.ID, slope)
	}
	if c := b.Cut(); c.LengthMM > b.Lumber.LongestMM() {
		t.Errorf("brace %s takes %.0f mm, longer than any board of %s", b.ID, c.LengthMM, b.Lumber.Name)
	}
	if !b.Head.Fits(b.Lumber) {
		t.Errorf("%s do not go through the %s of brace %s", b.Head.Name, b.Lumber.Name, b.ID)
	}
}

func TestBoxesMeet(t *testing.T) {
	t.Parallel()
	a := newBox(geom.V(0, 0, 0), geom.V(100, 0, 0), geom.V(0, 10, 0), geom.V(0, 0, 10))
	s := math.Sqrt2 / 2
	tests := []struct {
		name  string
		b     box
		mm    float64
		meets bool
	}{
		{"crossing", newBox(geom.V(0, 0, 0), geom.V(0, 50, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)), 0, true},
		{"above it", newBox(geom.V(0, 0, 16), geom.V(0, 50, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)), 0, false},
		{"above it, too near", newBox(geom.V(0, 0, 16), geom.V(0, 50, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)), 2, true},
		{"lying on it", newBox(geom.V(0, 0, 14.5), geom.V(0, 50, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)), -1, false},
		// Askew over the edge: the middle line passes the edge at (10+10−x)/√2.
		{"past an edge", newBox(geom.V(0, 14, 14), geom.V(0, 50*s, -50*s), geom.V(5, 0, 0), geom.V(0, 5*s, 5*s)), 0, false},
		{"on an edge", newBox(geom.V(0, 13, 13), geom.V(0, 50*s, -50*s), geom.V(5, 0, 0), geom.V(0, 5*s, 5*s)), 0, true},
		{"swept into it", newBox(geom.V(0, 0, 60), geom.V(0, 5, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)).swept(geom.V(0, 0, 1), 60), 0, true},
		{"swept away", newBox(geom.V(0, 0, 60), geom.V(0, 5, 0), geom.V(5, 0, 0), geom.V(0, 0, 5)).swept(geom.V(0, 0, -1), 60), 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := a.meets(tt.b, tt.mm); got != tt.meets {
				t.Errorf("meets = %v", got)
			}
			if got := tt.b.meets(a, tt.mm); got != tt.meets {
				t.Errorf("the other way round meets = %v", got)
			}
		})
	}
}
