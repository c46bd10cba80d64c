package picking_test

import (
	"context"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

// king is a rough frame of king-post bents over bays of 3658 mm.
func king(t testing.TB, change func(k *rough.King)) *frame.Frame {
	t.Helper()
	k := rough.King{
		Title: "king", BentCount: 3, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: 2, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	}
	change(&k)
	return frametest.Rough(t, k)
}

// yard puts crane and zones beside a frame as long and as wide as given.
func yard(t testing.TB, length, span float64) picking.Site {
	t.Helper()
	s := site(t)
	s.SetUp.Center = geom.V(length/2, span+6000, -900)
	s.SetUp.BoomLengthMM = 29000
	s.Stack.Center = geom.V(length/2, span/2, 500)
	s.Loose.Center = geom.V(length/2+7000, span+4000, -500)
	return s
}

func TestKingPostFramesCanBePicked(t *testing.T) {
	t.Parallel()
	gear := append(rack(),
		picking.Gear{ID: "sling-10m", Kind: picking.Sling, Count: 2, LengthMM: 10000, VerticalKG: 4800, ChokerKG: 3800, MassKG: 14.8})
	for name, tt := range map[string]struct {
		change func(k *rough.King)
		// on is the stick that a sling of a middle bent holds.
		on string
	}{
		"cabin":      {func(k *rough.King) {}, "R-2A"},
		"no struts":  {func(k *rough.King) { k.Struts = false }, "R-2A"},
		"girts":      {func(k *rough.King) { k.GirtDropMM = 1100 }, "R-2A"},
		"no braces":  {func(k *rough.King) { k.BraceLegMM = 0; k.WallBraces = false }, "R-2A"},
		"steep":      {func(k *rough.King) { k.RoofPitchDeg = 55 }, "R-2A"},
		"flat roof":  {func(k *rough.King) { k.RoofPitchDeg = 25 }, "R-2A"},
		"planed oak": {func(k *rough.King) { k.Species, k.Planed, k.MoisturePercent = "white-oak", true, 70 }, "R-2A"},
		"barn": {func(k *rough.King) {
			k.BentCount, k.SpanMM, k.PostHeightMM, k.RoofPitchDeg, k.PurlinsPerSlope = 5, 9144, 3658, 35, 4
			k.Species, k.MoisturePercent = "eastern-hemlock", 70
		}, "R-2A"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var length, span float64
			f := king(t, func(k *rough.King) {
				tt.change(k)
				length, span = float64(k.BentCount-1)*k.BaySpacingsMM[0], k.SpanMM
			})
			picks := plan(t, f, yard(t, length, span), gear)
			if want := len(f.Assemblies()) + len(f.Loose()); len(picks) != want {
				t.Errorf("%d picks, want %d", len(picks), want)
			}
			for _, p := range picks {
				if len(p.Refusals) > 0 {
					t.Errorf("%s is refused: %q", p.ID, p.Refusals)
				}
			}
			bent := picks["bent-2"]
			if got := f.Timbers()[bent.Points[0].Timber].Mark; got != tt.on {
				t.Errorf("bent-2 hangs by %s, want %s", got, tt.on)
			}
		})
	}
}

// A sling on a rafter stays only where a joint stops it from sliding up: the strut's foot lies uphill of
// each point, and no joint's edge nearer than the clearance.
func TestRafterSlingsAreStopped(t *testing.T) {
	t.Parallel()
	f := king(t, func(k *rough.King) {})
	p := plan(t, f, yard(t, 7316, 6096), rack())["bent-2"]
	for _, pt := range p.Points {
		uphill := false
		for _, j := range f.JointsOf(pt.Timber) {
			entering, _ := f.Ends(j)
			joint := f.Joints()[j]
			if d := geom.Dist(joint.At, pt.At); d < 100 {
				t.Errorf("the sling at %v is %.0f mm from joint %s", pt.At, d, joint.ID)
			}
			if f.Timbers()[entering].Role == frame.RoleStrut && joint.At.Z > pt.At.Z-250 && geom.Dist(joint.At, pt.At) < 600 {
				uphill = true
			}
		}
		if !uphill {
			t.Errorf("nothing keeps the sling at %v from sliding up", pt.At)
		}
	}
}

// manySticks is a rough frame of about so many sticks.
func manySticks(t testing.TB, sticks int) *frame.Frame {
	t.Helper()
	bents := 2
	for {
		f := king(t, func(k *rough.King) { k.BentCount, k.PurlinsPerSlope = bents, 6 })
		if n := len(f.Timbers()); n >= sticks {
			return f
		} else {
			bents = max(bents+1, bents*sticks/n)
		}
	}
}

func BenchmarkPlan500(b *testing.B) {
	f := manySticks(b, 500)
	s := yard(b, 12000, 6096)
	b.ReportMetric(float64(len(f.Timbers())), "sticks")
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		if _, err := picking.Plan(context.Background(), f, s, rack(), picking.Default()); err != nil {
			b.Fatal(err)
		}
	}
}
