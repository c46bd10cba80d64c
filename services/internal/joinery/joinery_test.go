package joinery_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

func near(a, b geom.Vec) bool { return geom.Dist(a, b) < 1e-9 }

// girtAndPost is a level girt along X whose start enters the east face of a plumb post.
func girtAndPost(kind joinery.Kind, tenon *joinery.Tenon) joinery.Joint {
	j := joinery.Joint{
		Kind:      kind,
		Entering:  joinery.NewStick(geom.V(100, 0, 2000), geom.V(3100, 0, 2000), 0, 150, 200),
		End:       joinery.AtStart,
		Receiving: joinery.NewStick(geom.V(0, 0, 0), geom.V(0, 0, 3000), 0, 200, 200),
		Tenon:     tenon,
	}
	j.At = j.Place()
	return j
}

// braceAndBeam is a brace at 45 degrees whose end enters the underside of a level beam along Y.
func braceAndBeam(tenon *joinery.Tenon) joinery.Joint {
	j := joinery.Joint{
		Kind:      joinery.BlindMortiseAndTenon,
		Entering:  joinery.NewStick(geom.V(0, 0, 2000), geom.V(0, 800, 2800), 0, 100, 150),
		End:       joinery.AtEnd,
		Receiving: joinery.NewStick(geom.V(0, -200, 2900), geom.V(0, 4000, 2900), 0, 200, 200),
		Tenon:     tenon,
	}
	j.At = j.Place()
	return j
}

func TestDirectionsOf(t *testing.T) {
	t.Parallel()
	d := joinery.DirectionsOf(girtAndPost(joinery.BlindMortiseAndTenon, nil))
	if !near(d.N, geom.V(1, 0, 0)) || !near(d.Out, geom.V(-1, 0, 0)) || !near(d.Width, geom.V(0, 0, 1)) || !near(d.Thickness, geom.V(0, 1, 0)) || d.Squareness != 1 {
		t.Errorf("girt: %+v", d)
	}
	d = joinery.DirectionsOf(braceAndBeam(nil))
	// The brace's mortise faces the beam squarely, whatever the brace's slope.
	if !near(d.N, geom.V(0, 0, -1)) || !near(d.Width, geom.V(0, 1, 0)) || math.Abs(d.Squareness-math.Sqrt2/2) > 1e-12 {
		t.Errorf("brace: %+v", d)
	}
}

// The expected sizes are worked by hand from a drawing of each joint.
func TestMeasureOfWorkedJoints(t *testing.T) {
	t.Parallel()
	root := math.Sqrt2
	for name, test := range map[string]struct {
		j                          joinery.Joint
		extension, gained, removed float64
	}{
		"square blind tenon": {
			girtAndPost(joinery.BlindMortiseAndTenon, &joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 150, ClearanceMM: 3}),
			90, 40 * 150 * 90, 40 * 150 * 93,
		},
		"housed tenon": {
			girtAndPost(joinery.HousedMortiseAndTenon, &joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 150, HousingDepthMM: 12}),
			90, 150*200*12 + 40*150*78, 150*200*12 + 40*150*78,
		},
		"through tenon that stands proud": {
			girtAndPost(joinery.ThroughMortiseAndTenon, &joinery.Tenon{LengthMM: 260, ThicknessMM: 40, WidthMM: 150, HousingDepthMM: 10}),
			260, 150*200*10 + 40*150*250, 150*200*10 + 40*150*190,
		},
		// 45 degrees: the long point is half the depth beyond the shoulder point on the axis, the tenon's far
		// corner (90 + 60/2)/√2.
		"brace, tenon longer than the long point": {
			braceAndBeam(&joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 60}),
			120 / root, 40 * 60 * 90, 40 * 60 * 90,
		},
		"brace, long point beyond a short tenon": {
			braceAndBeam(&joinery.Tenon{LengthMM: 20, ThicknessMM: 40, WidthMM: 60}),
			75, 40 * 60 * 20, 40 * 60 * 20,
		},
		"brace let in 12": {
			braceAndBeam(&joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 60, HousingDepthMM: 12}),
			75 + 12*root, 100*150*12*root + 40*60*78, 100*150*12*root + 40*60*78,
		},
		"slip tenon adds and takes nothing": {
			girtAndPost(joinery.SlipTenon, &joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 150}), 0, 0, 0,
		},
		"knife plate takes its kerf from the entering stick": {
			girtAndPost(joinery.KnifePlate, &joinery.Tenon{LengthMM: 200, ThicknessMM: 8, WidthMM: 150}), 0, -8 * 150 * 200, 0,
		},
		"steel connection": {girtAndPost(joinery.SteelConnection, nil), 0, 0, 0},
	} {
		e := joinery.Measure(test.j)
		check := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 1e-6 {
				t.Errorf("%s: %s %v, want %v", name, what, got, want)
			}
		}
		check("extension", e.ExtensionMM, test.extension)
		check("gained", e.Entering[0].VolumeMM3+e.Entering[1].VolumeMM3, test.gained)
		check("removed", joinery.RemovedMM3(test.j), test.removed)
	}
}

// A halved scarf reaches its length over the receiving stick, which loses as much.
func TestMeasureOfScarfAndLap(t *testing.T) {
	t.Parallel()
	j := girtAndPost(joinery.Scarf, &joinery.Tenon{LengthMM: 600, ThicknessMM: 100, WidthMM: 150})
	j.Receiving = joinery.NewStick(geom.V(-2000, 0, 2000), geom.V(100, 0, 2000), 0, 150, 200)
	e := joinery.Measure(j)
	if e.ExtensionMM != 600 || e.Entering[1].VolumeMM3 != 9e6 || e.Receiving[1].VolumeMM3 != -9e6 || !near(e.Entering[1].Centroid, geom.V(-200, 0, 2000)) {
		t.Errorf("scarf: %+v", e)
	}
	lap := girtAndPost(joinery.Lap, &joinery.Tenon{LengthMM: 100, ThicknessMM: 150, WidthMM: 200})
	lap.End, lap.At = joinery.Along, geom.V(100, 0, 2000)
	e = joinery.Measure(lap)
	if e.ExtensionMM != 0 || e.Entering[1].VolumeMM3 != -3e6 || e.Receiving[1].VolumeMM3 != -3e6 {
		t.Errorf("lap: %+v", e)
	}
}

// A dowelled post base bores its dowel out of the post's foot and leaves the post square at the deck.
func TestMeasureOfPostBase(t *testing.T) {
	t.Parallel()
	j := joinery.Joint{
		Kind: joinery.PostBaseDowelled, Entering: joinery.NewStick(geom.Vec{}, geom.V(0, 0, 3000), 0, 200, 200), End: joinery.AtStart,
		Tenon: &joinery.Tenon{LengthMM: 100, ThicknessMM: 20, WidthMM: 20},
	}
	e := joinery.Measure(j)
	if e.ExtensionMM != 0 || e.Entering[1].VolumeMM3 != -40000 || !near(e.Entering[1].Centroid, geom.V(0, 0, 50)) {
		t.Errorf("%+v", e)
	}
}

func TestLumpsLieWhereTheWoodIs(t *testing.T) {
	t.Parallel()
	j := girtAndPost(joinery.BlindMortiseAndTenon, &joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 150, ShoulderOffsetMM: 20, ClearanceMM: 4, HousingDepthMM: 10})
	e := joinery.Measure(j)
	for name, pair := range map[string][2]geom.Vec{
		"let-in end": {e.Entering[0].Centroid, geom.V(95, 0, 2000)},
		"tenon":      {e.Entering[1].Centroid, geom.V(50, 20, 2000)},
		"housing":    {e.Receiving[0].Centroid, geom.V(95, 0, 2000)},
		"mortise":    {e.Receiving[1].Centroid, geom.V(48, 20, 2000)},
	} {
		if !near(pair[0], pair[1]) {
			t.Errorf("%s at %v, want %v", name, pair[0], pair[1])
		}
	}
	tongue, ok := joinery.Tongue(j)
	if !ok {
		t.Fatal("no tongue")
	}
	box := geom.BoxOf(tongue[:]...)
	if !near(box.Min, geom.V(10, 0, 1925)) || !near(box.Max, geom.V(90, 40, 2075)) {
		t.Errorf("tongue %+v", box)
	}
	if p, n, ok := joinery.Shoulder(j); !ok || !near(n, geom.V(1, 0, 0)) || math.Abs(p.X-90) > 1e-9 {
		t.Errorf("shoulder %v %v", p, n)
	}
	if _, ok := joinery.Tongue(girtAndPost(joinery.SteelConnection, nil)); ok {
		t.Error("steel is no tongue")
	}
}

// What the entering stick gains in a snug joint, the receiving one loses.
func TestSnugJointsKeepTheWood(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := braceAndBeam(&joinery.Tenon{
			LengthMM: rapid.Float64Range(20, 150).Draw(t, "L"), ThicknessMM: rapid.Float64Range(10, 60).Draw(t, "t"),
			WidthMM: rapid.Float64Range(10, 200).Draw(t, "w"), HousingDepthMM: rapid.Float64Range(0, 15).Draw(t, "h"),
		})
		e := joinery.Measure(j)
		for k := range e.Entering {
			if sum := e.Entering[k].VolumeMM3 + e.Receiving[k].VolumeMM3; math.Abs(sum) > 1e-6 {
				t.Fatalf("lump %d: %v", k, sum)
			}
		}
	})
}

func TestFit(t *testing.T) {
	t.Parallel()
	tenon := func(change func(*joinery.Tenon)) *joinery.Tenon {
		tn := joinery.Tenon{LengthMM: 90, ThicknessMM: 40, WidthMM: 150}
		change(&tn)
		return &tn
	}
	offCenter := girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(*joinery.Tenon) {}))
	offCenter.At.Y = 85
	flat := braceAndBeam(nil)
	flat.Entering = joinery.NewStick(geom.V(0, 0, 2799), geom.V(0, 800, 2800), 0, 100, 150)
	top := girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(*joinery.Tenon) {}))
	top.Receiving.End = geom.V(0, 0, 2050)
	scarf := girtAndPost(joinery.Scarf, tenon(func(*joinery.Tenon) {}))
	inLine := func(change func(*joinery.Tenon)) joinery.Joint { // two sills in one line
		j := girtAndPost(joinery.Scarf, tenon(change))
		j.Receiving = joinery.NewStick(geom.V(-2000, 0, 2000), geom.V(100, 0, 2000), 0, 150, 200)
		return j
	}
	drop := func(change func(*joinery.Tenon)) joinery.Joint { // a dovetail flush with the top of a beam
		j := girtAndPost(joinery.DovetailedHousing, tenon(change))
		j.Receiving = joinery.NewStick(geom.V(0, -1000, 2000), geom.V(0, 1000, 2000), 0, 200, 200)
		return j
	}
	for name, test := range map[string]struct {
		j     joinery.Joint
		field string
	}{
		"fits":                  {girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(*joinery.Tenon) {})), ""},
		"thicker than the girt": {girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.ThicknessMM = 160 })), "tenon.thickness_mm"},
		"off the girt":          {girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.ShoulderOffsetMM = -60 })), "tenon.thickness_mm"},
		"wider":                 {girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.WidthMM = 201 })), "tenon.width_mm"},
		"bottomless":            {girtAndPost(joinery.BlindMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.LengthMM = 198 })), "tenon.length_mm"},
		"not through":           {girtAndPost(joinery.ThroughMortiseAndTenon, tenon(func(*joinery.Tenon) {})), "tenon.length_mm"},
		"through":               {girtAndPost(joinery.WedgedMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.LengthMM = 300 })), ""},
		"deep housing":          {girtAndPost(joinery.HousedMortiseAndTenon, tenon(func(tn *joinery.Tenon) { tn.LengthMM, tn.HousingDepthMM = 150, 120 })), "tenon.housing_depth_mm"},
		"no cheek":              {offCenter, "tenon.thickness_mm"},
		"no relish":             {top, "tenon.width_mm"},
		"along the face":        {flat, "entering"},
		"square scarf":          {scarf, "kind"},
		"scarf":                 {inLine(func(tn *joinery.Tenon) { tn.LengthMM, tn.ThicknessMM = 600, 100 }), ""},
		"endless scarf":         {inLine(func(tn *joinery.Tenon) { tn.LengthMM = 2200 }), "tenon.length_mm"},
		"scarf too wide":        {inLine(func(tn *joinery.Tenon) { tn.WidthMM = 160 }), "tenon.width_mm"},
		"tail flush with the top": {drop(func(tn *joinery.Tenon) {
			tn.WidthMM, tn.ThicknessMM, tn.ShoulderOffsetMM = 100, 100, 50
		}), ""},
		"tail through the bottom": {drop(func(tn *joinery.Tenon) {
			tn.WidthMM, tn.ThicknessMM, tn.ShoulderOffsetMM = 100, 100, -50
		}), "tenon.thickness_mm"},
		"tongue through its fork": {girtAndPost(joinery.ForkAndTongue, tenon(func(tn *joinery.Tenon) { tn.LengthMM = 200 })), ""},
		"tongue beyond its fork":  {girtAndPost(joinery.ForkAndTongue, tenon(func(tn *joinery.Tenon) { tn.LengthMM = 201 })), "tenon.length_mm"},
	} {
		got := joinery.Fit(test.j)
		switch {
		case test.field == "" && len(got) > 0:
			t.Errorf("%s: %v", name, got)
		case test.field != "" && (len(got) == 0 || got[0].Field != test.field || got[0].Message == ""):
			t.Errorf("%s: %v, want a misfit of %s", name, got, test.field)
		}
	}
}

func TestWords(t *testing.T) {
	t.Parallel()
	for got, want := range map[string]string{
		joinery.BlindMortiseAndTenon.String(): "blind mortise and tenon", joinery.PostBaseKnifePlate.String(): "knife plate post base",
		joinery.Kind(99).String(): "unknown joint", joinery.Along.String(): "along", joinery.End(9).String(): "unspecified end",
		joinery.AtStart.String(): "start", joinery.AtEnd.String(): "end",
		joinery.MinusWidth.String(): "minus width", joinery.Face(-1).String(): "unknown face", joinery.ScarfEndwise.String(): "endwise",
		joinery.ScarfTable(7).String(): "unknown table", joinery.HoleNearCheekBored.String(): "near cheek bored", joinery.PegHole(8).String(): "unknown hole",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestStickDistance(t *testing.T) {
	t.Parallel()
	s := joinery.NewStick(geom.V(0, 0, 0), geom.V(1000, 0, 0), 0, 100, 200)
	for p, want := range map[geom.Vec]float64{geom.V(500, 50, 100): 0, geom.V(-3, 0, 104): 5, geom.V(500, 60, 0): 10} {
		if got := s.DistanceMM(p); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: %v, want %v", p, got, want)
		}
	}
}
