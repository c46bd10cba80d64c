package framedraw_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/rough"
)

// long is a frame of several thousand sticks.
func long(t testing.TB, bents int) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "Long shed", BentCount: bents, BaySpacingsMM: []float64{3657.6}, SpanMM: 10972.8, PostHeightMM: 4267.2,
		RoofPitchDeg: 35, PurlinsPerSlope: 4, BraceLegMM: 1066, Struts: true, WallBraces: true, Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 30,
	})
}

func BenchmarkAxon(b *testing.B) {
	f := long(b, 200)
	b.ReportAllocs()
	for b.Loop() {
		drawing.SVG(framedraw.Axon(f, framedraw.Block{}))
	}
}

func BenchmarkPlan(b *testing.B) {
	f := long(b, 200)
	b.ReportAllocs()
	for b.Loop() {
		drawing.SVG(framedraw.Plan(f, framedraw.Block{}))
	}
}

// A set of 200 pictures of moves, as a raising order has them, from one prepared picture.
func BenchmarkMoves(b *testing.B) {
	p := framedraw.NewPicture(long(b, 8))
	var standing, moving, coming []int
	for i := range 185 {
		switch {
		case i < 60:
			standing = append(standing, i)
		case i < 75:
			moving = append(moving, i)
		default:
			coming = append(coming, i)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 200 {
			drawing.SVG(p.Move(standing, moving, coming, nil, "move", framedraw.Block{}))
		}
	}
}
