package rough_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
)

// cabin is a small frame with everything in it.
func cabin() rough.King {
	return rough.King{
		Title: "cabin", BentCount: 3, BaySpacingsMM: []float64{3600}, SpanMM: 6000, PostHeightMM: 2700,
		RoofPitchDeg: 38, PurlinsPerSlope: 2, GirtDropMM: 0, BraceLegMM: 750, Struts: true, WallBraces: true,
		Species: "douglas-fir", Grade: "No.1", MoisturePercent: 19, Planed: true,
	}
}

func parse(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	d, err := rough.Make(k)
	if err != nil {
		t.Fatalf("make: %v", err)
	}
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatalf("parse: %v", err)
	}
	return f
}

func TestMakeGivesEverySoundStick(t *testing.T) {
	t.Parallel()
	f := parse(t, cabin())
	count := make(map[frame.Role]int)
	for _, timber := range f.Timbers() {
		count[timber.Role]++
	}
	// 3 bents of 2 posts, tie beam, king post, 2 rafters, 2 struts, 2 braces; 2 bays of 2 plates with 4 braces,
	// 4 purlins and a ridge beam: counted by hand.
	want := map[frame.Role]int{
		frame.RolePost: 6, frame.RoleTieBeam: 3, frame.RoleKingPost: 3, frame.RolePrincipalRafter: 6, frame.RoleStrut: 6,
		frame.RoleKneeBrace: 6 + 8, frame.RolePlate: 4, frame.RolePurlin: 8, frame.RoleRidgeBeam: 2,
	}
	for role, n := range want {
		if count[role] != n {
			t.Errorf("%s: %d, want %d", role, count[role], n)
		}
	}
	for _, w := range f.Warnings() {
		t.Errorf("a frame of Douglas-fir with the default sections has no warnings, got %s", w)
	}
}

func TestMakeIsTrueToItsNumbers(t *testing.T) {
	t.Parallel()
	k := cabin()
	f := parse(t, k)
	at := func(mark string) int {
		i, ok := f.Index(mark)
		if !ok {
			t.Fatalf("no %s", mark)
		}
		return i
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	for _, mark := range []string{"R-1A", "R-3B"} {
		near(mark+" slope", geom.Degrees(math.Asin(f.Axes(at(mark)).Axis.Z)), k.RoofPitchDeg)
	}
	near("roll of a purlin follows the roof", geom.AngleDeg(f.Axes(at("PU-A1-12")).Depth, f.Axes(at("R-1A")).Depth), 0)
	near("and on the other slope", geom.AngleDeg(f.Axes(at("PU-B1-12")).Depth, f.Axes(at("R-1B")).Depth), 0)
	post := f.Stick(at("P-2A"))
	near("west face of a post on its bent line", post.Start.X-post.WidthMM/2, 3600)
	near("outer face of a post on its wall line", post.Start.Y-post.DepthMM/2, 0)
	near("post height", post.ShoulderMM(), k.PostHeightMM)
	near("top of a plate at the post's top", f.Stick(at("PL-A12")).Start.Z+f.Stick(at("PL-A12")).DepthMM/2, k.PostHeightMM)
	if line, ok := f.BentLineOf(at("P-2A")); !ok || line != "2" {
		t.Errorf("bent line of P-2A: %q", line)
	}
	if line, ok := f.WallLineOf(at("P-2B")); !ok || line != "B" {
		t.Errorf("wall line of P-2B: %q", line)
	}
}

// Every shoulder point lies exactly in the face that it enters.
func TestShouldersLieOnTheirFaces(t *testing.T) {
	t.Parallel()
	f := parse(t, cabin())
	for i, given := range f.Joints() {
		j := f.Joinery(i)
		if j.Kind.PostBase() {
			continue
		}
		n := joinery.EnteredFace(j)
		depth := geom.Dot(n, geom.Sub(j.At, j.Receiving.Start)) - j.Receiving.ExtentMM(n)/2
		if math.Abs(depth) > 1e-6 {
			t.Errorf("%s: %v mm off the face", given.ID, depth)
		}
		if geom.Dist(j.At, j.Place()) > 1e-9 {
			t.Errorf("%s: not at its shoulder", given.ID)
		}
	}
}

// The parts close in the one order in which such a frame goes up: each joint opens the way that the order needs.
func TestJointsOpenAsTheFrameGoesTogether(t *testing.T) {
	t.Parallel()
	f := parse(t, cabin())
	up, east, down := geom.Up(), geom.V(1, 0, 0), geom.V(0, 0, -1)
	rafter, _ := f.Index("R-2A")
	roofUp := f.Axes(rafter).Depth
	for id, way := range map[string]geom.Vec{
		"P-2A.base": up, "P-2A.top": down, "K-2.foot": up, "R-2A.foot": up, "R-2A.head": geom.V(0, -1, 0),
		"S-2A.foot": geom.V(0, -1, 0), "S-2A.head": geom.Scale(-1, roofUp), "B-2A.post": geom.V(0, 1, 0), "B-2A.tie": down,
		"PL-A12.west": east, "PL-A12.east": geom.V(-1, 0, 0), "WB-A1E.post": east, "WB-A1E.beam": down,
		"PU-A1-12.west": roofUp, "RB-12.west": up, "RB-12.east": up,
	} {
		j, ok := f.JointIndex(id)
		if !ok {
			t.Errorf("no joint %s", id)
			continue
		}
		if !joinery.Opens(f.Joinery(j), way) {
			t.Errorf("%s does not open along %v", id, way)
		}
		if joinery.Opens(f.Joinery(j), geom.Scale(-1, way)) {
			t.Errorf("%s opens along the opposite of %v", id, way)
		}
	}
}

func genKing(t *rapid.T) rough.King {
	k := rough.King{
		BentCount:       rapid.IntRange(2, 12).Draw(t, "bents"),
		SpanMM:          rapid.Float64Range(2400, 15000).Draw(t, "span"),
		PostHeightMM:    rapid.Float64Range(1500, 8000).Draw(t, "height"),
		RoofPitchDeg:    rapid.Float64Range(20, 60).Draw(t, "pitch"),
		PurlinsPerSlope: rapid.IntRange(0, 6).Draw(t, "purlins"),
		Struts:          rapid.Bool().Draw(t, "struts"),
		Species:         rapid.SampledFrom([]string{"douglas-fir", "white-oak", "eastern-white-pine", "white-spruce"}).Draw(t, "species"),
		MoisturePercent: rapid.Float64Range(1, 120).Draw(t, "moisture"),
		Planed:          rapid.Bool().Draw(t, "planed"),
	}
	if rapid.Bool().Draw(t, "braced") {
		k.BraceLegMM = rapid.Float64Range(300, 1500).Draw(t, "leg")
		k.WallBraces = rapid.Bool().Draw(t, "wall braces")
	}
	if rapid.Bool().Draw(t, "girts") {
		k.GirtDropMM = rapid.Float64Range(0, 2000).Draw(t, "drop")
	}
	bays := 1
	if rapid.Bool().Draw(t, "own bays") {
		bays = k.BentCount - 1
	}
	k.BaySpacingsMM = rapid.SliceOfN(rapid.Float64Range(1200, 9000), bays, bays).Draw(t, "bays")
	for _, role := range []string{
		"ROLE_POST", "ROLE_TIE_BEAM", "ROLE_KING_POST", "ROLE_PRINCIPAL_RAFTER", "ROLE_STRUT", "ROLE_KNEE_BRACE",
		"ROLE_GIRT", "ROLE_PLATE", "ROLE_PURLIN", "ROLE_RIDGE_BEAM",
	} {
		if rapid.IntRange(0, 8).Draw(t, role) == 7 {
			k.Sections = append(k.Sections, rough.Section{
				Role: role, NominalWidthIn: rapid.Float64Range(4, 14).Draw(t, "w"), NominalDepthIn: rapid.Float64Range(4, 16).Draw(t, "d"),
			})
		}
	}
	return k
}

func TestMakeIsValidOrSaysWhy(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		k := genKing(t)
		d, err := rough.Make(k)
		if err != nil {
			var faults *frame.Faults
			if !errors.As(err, &faults) {
				t.Fatalf("not faults: %v", err)
			}
			for _, f := range faults.Faults {
				if !strings.HasPrefix(f.Field, "rough.") || f.Message == "" {
					t.Fatalf("fault without a field of the rough frame: %v", f)
				}
			}
			return
		}
		f, err := frame.Parse(d)
		if err != nil {
			t.Fatalf("made from %+v: %v", k, err)
		}
		for _, w := range f.Warnings() {
			if strings.Contains(w.Message, "same space") || strings.Contains(w.Message, "one plane") {
				t.Fatalf("made from %+v: %v", k, w)
			}
		}
	})
}

// Most numbers of ordinary frames go together.
func TestMakeTakesOrdinaryNumbers(t *testing.T) {
	t.Parallel()
	for _, span := range []float64{4800, 6000, 7200, 9000, 12000} {
		for _, pitch := range []float64{25, 30, 38, 45, 55} {
			for _, drop := range []float64{0, 300} {
				for _, planed := range []bool{true, false} {
					k := cabin()
					k.SpanMM, k.RoofPitchDeg, k.GirtDropMM, k.Planed = span, pitch, drop, planed
					k.Struts = span/2*math.Tan(geom.Radians(pitch)) > 1300
					f := parse(t, k)
					for _, w := range f.Warnings() {
						t.Errorf("span %v pitch %v: %v", span, pitch, w)
					}
				}
			}
		}
	}
}

func TestMakeNamesTheField(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		change func(*rough.King)
		field  string
	}{
		"one bent":         {func(k *rough.King) { k.BentCount = 1 }, "rough.bent_count"},
		"too many bents":   {func(k *rough.King) { k.BentCount = 1 << 30 }, "rough.bent_count"},
		"no bays":          {func(k *rough.King) { k.BaySpacingsMM = nil }, "rough.bay_spacings_mm"},
		"bay not a number": {func(k *rough.King) { k.BaySpacingsMM = []float64{math.NaN()} }, "rough.bay_spacings_mm[0]"},
		"short bay":        {func(k *rough.King) { k.BaySpacingsMM = []float64{3600, 1300} }, "rough.bay_spacings_mm[1]"},
		"infinite span":    {func(k *rough.King) { k.SpanMM = math.Inf(1) }, "rough.span_mm"},
		"negative height":  {func(k *rough.King) { k.PostHeightMM = -1 }, "rough.post_height_mm"},
		"flat roof":        {func(k *rough.King) { k.RoofPitchDeg = 5 }, "rough.roof_pitch_deg"},
		"many purlins":     {func(k *rough.King) { k.PurlinsPerSlope = 7 }, "rough.purlins_per_slope"},
		"deep drop":        {func(k *rough.King) { k.GirtDropMM = 2600; k.WallBraces = false }, "rough.girt_drop_mm"},
		"girt meets brace": {func(k *rough.King) { k.GirtDropMM = 650; k.WallBraces = false }, "rough.girt_drop_mm"},
		"long braces":      {func(k *rough.King) { k.BraceLegMM = 2400 }, "rough.brace_leg_mm"},
		"truss too low": {func(k *rough.King) {
			k.SpanMM, k.RoofPitchDeg, k.BraceLegMM, k.WallBraces = 2600, 20, 0, false
		}, "rough.span_mm"},
		"ridge on the tie beam": {func(k *rough.King) {
			k.SpanMM, k.RoofPitchDeg, k.BraceLegMM, k.WallBraces = 3600, 20, 0, false
			k.Sections = []rough.Section{{"ROLE_RIDGE_BEAM", 6, 24}}
		}, "rough.roof_pitch_deg"},
		"braces shorter than deep": {func(k *rough.King) {
			k.BraceLegMM = 300
			k.Sections = []rough.Section{{"ROLE_KNEE_BRACE", 4, 18}}
		}, "rough.brace_leg_mm"},
		"braces to the deck":      {func(k *rough.King) { k.PostHeightMM, k.BraceLegMM, k.WallBraces = 1500, 1300, false }, "rough.brace_leg_mm"},
		"wall braces to the deck": {func(k *rough.King) { k.GirtDropMM, k.BraceLegMM = 1400, 900 }, "rough.brace_leg_mm"},
		"purlins too close": {func(k *rough.King) {
			k.SpanMM, k.PurlinsPerSlope, k.Struts, k.BraceLegMM, k.WallBraces = 2800, 6, false, 0, false
		}, "rough.purlins_per_slope"},
		"section given twice": {func(k *rough.King) {
			k.Sections = []rough.Section{{"ROLE_POST", 8, 8}, {"ROLE_POST", 8, 8}}
		}, "rough.sections[1].role"},
		"unknown species":     {func(k *rough.King) { k.Species = "cheese" }, "rough.species"},
		"too wet":             {func(k *rough.King) { k.MoisturePercent = 300 }, "rough.moisture_percent"},
		"unknown role":        {func(k *rough.King) { k.Sections = []rough.Section{{"ROLE_JOIST", 4, 4}} }, "rough.sections[0].role"},
		"tiny section":        {func(k *rough.King) { k.Sections = []rough.Section{{"ROLE_POST", 1, 8}} }, "rough.sections[0].nominal_width_in"},
		"rafter wider":        {func(k *rough.King) { k.Sections = []rough.Section{{"ROLE_PRINCIPAL_RAFTER", 12, 12}} }, "rough.sections"},
		"wall braces, no leg": {func(k *rough.King) { k.BraceLegMM = 0 }, "rough.wall_braces"},
		"no room for struts":  {func(k *rough.King) { k.SpanMM, k.RoofPitchDeg, k.BraceLegMM, k.WallBraces = 4200, 20, 0, false }, "rough.struts"},
		"title with a bell":   {func(k *rough.King) { k.Title = "a\a" }, "rough.title"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := cabin()
			test.change(&k)
			_, err := rough.Make(k)
			var faults *frame.Faults
			if !errors.As(err, &faults) {
				t.Fatalf("want faults, got %v", err)
			}
			for _, f := range faults.Faults {
				if f.Field == test.field {
					return
				}
			}
			t.Errorf("no fault of %s in %v", test.field, faults.Faults)
		})
	}
}
