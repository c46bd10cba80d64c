package frame_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
)

func ptr[T any](v T) *T { return &v }

// portal is two posts, a beam on them and one brace: small enough to be worked by hand.
func portal() frame.Draft {
	timber := func(mark string, role frame.Role, w, d float64, start, end geom.Vec, assembly string) frame.Timber {
		return frame.Timber{
			Mark: mark, Role: role, WidthMM: w, DepthMM: d, Start: start, End: end, Species: "white-oak", Grade: "No.1",
			Finish: frame.FinishRoughSawn, MoisturePercent: 60, Assembly: assembly,
		}
	}
	tenon := func(l, t, w float64) *joinery.Tenon {
		return &joinery.Tenon{LengthMM: l, ThicknessMM: t, WidthMM: w, ClearanceMM: 5}
	}
	d := frame.Draft{
		Title: "portal",
		Grid: frame.Grid{
			BentLines: []frame.GridLine{{Label: "1", Point: geom.V(-100, 0, 0), HeadingDeg: 90}},
			WallLines: []frame.GridLine{{Label: "A", Point: geom.V(0, -100, 0)}, {Label: "B", Point: geom.V(0, 4100, 0)}},
			Levels:    []frame.Level{{Label: "beam top", ZMM: 3300}},
		},
		Timbers: []frame.Timber{
			timber("P-A", frame.RolePost, 200, 200, geom.V(0, 0, 0), geom.V(0, 0, 3000), "bent-1"),
			timber("P-B", frame.RolePost, 200, 200, geom.V(0, 4000, 0), geom.V(0, 4000, 3000), "bent-1"),
			timber("T", frame.RoleTieBeam, 200, 300, geom.V(0, -300, 3150), geom.V(0, 4300, 3150), "bent-1"),
			timber("B-A", frame.RoleKneeBrace, 100, 150, geom.V(0, 100, 2200), geom.V(0, 900, 3000), "bent-1"),
		},
		Joints: []frame.Joint{
			{ID: "base-A", Kind: joinery.PostBaseBearing, Entering: "P-A", EnteringEnd: frame.AtStart},
			{ID: "base-B", Kind: joinery.PostBaseBearing, Entering: "P-B", EnteringEnd: frame.AtStart, At: geom.V(0, 4000, 0)},
			{
				ID: "top-A", Kind: joinery.BlindMortiseAndTenon, Entering: "P-A", EnteringEnd: frame.AtEnd, Receiving: "T", At: geom.V(0, 0, 3000),
				Tenon: tenon(120, 50, 100),
				Pegs: &joinery.Pegs{
					Count: 2, DiameterMM: 25, LengthMM: 250, Wood: "white-oak", DrivenFrom: frame.PlusWidth,
					Hole: joinery.HoleBoredThroughInShop, DrawBoreOffsetMM: 3, FromShoulderMM: 50, SpacingMM: 70,
				},
			},
			{
				ID: "top-B", Kind: joinery.BlindMortiseAndTenon, Entering: "P-B", EnteringEnd: frame.AtEnd, Receiving: "T", At: geom.V(0, 4000, 3000),
				Tenon: tenon(120, 50, 100),
			},
			{
				ID: "brace-post", Kind: joinery.BlindMortiseAndTenon, Entering: "B-A", EnteringEnd: frame.AtStart, Receiving: "P-A", At: geom.V(0, 100, 2200),
				Tenon: tenon(80, 40, 60),
			},
			{
				ID: "brace-beam", Kind: joinery.BlindMortiseAndTenon, Entering: "B-A", EnteringEnd: frame.AtEnd, Receiving: "T", At: geom.V(0, 900, 3000),
				Tenon: tenon(80, 40, 60),
			},
		},
		Assemblies: []frame.Assembly{{ID: "bent-1", Kind: frame.AssemblyBent, Line: "1"}},
		Hardware: []frame.Hardware{
			{ID: "shoe-A", Kind: frame.HardwarePostBase, Count: 1, MassEachKG: 4, At: geom.V(0, 0, 0), Timber: "P-A"},
			{ID: "anchor", Kind: frame.HardwareBolt, Count: 4, MassEachKG: 0.5},
		},
	}
	return d
}

func kingFrame(t testing.TB, bents int) frame.Draft {
	t.Helper()
	d, err := rough.Make(rough.King{
		BentCount: bents, BaySpacingsMM: []float64{3600}, SpanMM: 7200, PostHeightMM: 2700, RoofPitchDeg: 40, PurlinsPerSlope: 4,
		BraceLegMM: 750, Struts: true, WallBraces: true, Species: "douglas-fir", MoisturePercent: 19, Planed: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestIndicesOfAFrame(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal())
	if i, ok := f.Index("T"); !ok || i != 2 {
		t.Error("index of T", i, ok)
	}
	if _, ok := f.Index("X"); ok {
		t.Error("X is no stick")
	}
	if j, ok := f.JointIndex("brace-beam"); !ok || j != 5 {
		t.Error("index of brace-beam", j, ok)
	}
	if e, r := f.Ends(0); e != 0 || r != -1 {
		t.Error("a post base has the deck", e, r)
	}
	if e, r := f.Ends(5); e != 3 || r != 2 {
		t.Error("ends of brace-beam", e, r)
	}
	for what, diff := range map[string]string{
		"joints of the tie beam": cmp.Diff([]int{2, 3, 5}, f.JointsOf(2)),
		"members":                cmp.Diff([]int{0, 1, 2, 3}, f.Members("bent-1")),
		"posts":                  cmp.Diff([]int{0, 1}, f.Posts()),
	} {
		if diff != "" {
			t.Errorf("%s: %s", what, diff)
		}
	}
	if len(f.Loose()) != 0 || f.Title() != "portal" || len(f.Assemblies()) != 1 || len(f.Hardware()) != 2 || len(f.Grid().Levels) != 1 {
		t.Error("parts are missing")
	}
	if line, _ := f.BentLineOf(1); line != "1" {
		t.Errorf("P-B stands on bent line %q", line)
	}
	if line, _ := f.WallLineOf(1); line != "B" {
		t.Errorf("P-B stands on wall line %q", line)
	}
	if _, ok := f.WallLineOf(3); ok {
		t.Error("a brace stands on no wall line here")
	}
}

// Worked by hand from the measures of the portal.
func TestMeasureOfThePortal(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal())
	root := math.Sqrt2
	for mark, want := range map[string]struct{ overall, shoulder, volume, removed float64 }{
		"P-A": {3120, 3000, 200*200*3000 + 50*100*120 - 40*60*85, 40 * 60 * 85},
		"P-B": {3120, 3000, 200*200*3000 + 50*100*120, 0},
		"T":   {4600, 4600, 200*300*4600 - 2*50*100*125 - 40*60*85, 2*50*100*125 + 40*60*85},
		// At 45 degrees the tenon's far corner is (80 + 60/2)/√2 beyond the shoulder, the long point 75.
		"B-A": {800*root + 2*110/root, 800 * root, 100*150*800*root + 2*40*60*80, 0},
	} {
		i, _ := f.Index(mark)
		s := f.Solid(i)
		if diff := cmp.Diff([]float64{want.overall, want.shoulder, want.volume, want.removed},
			[]float64{s.OverallMM, s.ShoulderMM, s.VolumeMM3, s.RemovedMM3}, relative(1e-12)); diff != "" {
			t.Errorf("%s: %s", mark, diff)
		}
		// White oak at 60 percent weighs 960 kg/m³: Wood Handbook eq. 4-14 with Gb 0.60, computed.
		if got, want := f.MassKG(i), want.volume*960e-9; math.Abs(got-want) > 1e-9 || math.Abs(f.DensityKgPerM3(i)-960) > 1e-9 {
			t.Errorf("%s weighs %v, want %v", mark, got, want)
		}
	}
	// Pegs of white oak at 12 percent, 761.6 kg/m³ from the printed gravity 0.68.
	if got, want := f.PegMassKG(2), 2*math.Pi/4*25*25*250*761.6e-9; math.Abs(got-want) > 1e-12 {
		t.Errorf("pegs weigh %v, want %v", got, want)
	}
	if f.PegMassKG(3) != 0 || f.HardwareMassKG(0) != 4 || f.HardwareMassKG(1) != 0 {
		t.Error("pegs or hardware")
	}
}

func relative(tol float64) cmp.Option {
	return cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= tol*math.Max(math.Abs(a), math.Abs(b)) })
}

// The centroid of a post with a tenon at its top and a mortise in its side, by moments worked by hand.
func TestCentroidOfAPost(t *testing.T) {
	t.Parallel()
	s := frametest.Parse(t, portal()).Solid(0)
	prism, tenon, mortise := 200.0*200*3000, 50.0*100*120, 40.0*60*85
	v := prism + tenon - mortise
	want := geom.V(0, -mortise*(100-85.0/2)/v, (prism*1500+tenon*3060-mortise*2200)/v)
	if geom.Dist(s.Centroid, want) > 1e-9 {
		t.Errorf("%v, want %v", s.Centroid, want)
	}
}

func TestCornersAreCutToTheShoulders(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal())
	s := f.Solid(3)
	for k, c := range s.Corners {
		if k < 4 && math.Abs(c.Y-100) > 1e-9 || k >= 4 && math.Abs(c.Z-3000) > 1e-9 {
			t.Errorf("corner %d of the brace at %v lies off its shoulder", k, c)
		}
	}
	if len(s.Tongues) != 2 || len(f.Solid(2).Tongues) != 0 {
		t.Error("tongues")
	}
}

func TestWeigh(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal())
	whole, cg := f.Weigh([]int{0, 1, 2, 3})
	wood := f.MassKG(0) + f.MassKG(1) + f.MassKG(2) + f.MassKG(3)
	if want := wood + f.PegMassKG(2) + 4; math.Abs(whole-want) > 1e-9 {
		t.Errorf("weighs %v, want %v", whole, want)
	}
	if cg.X < -1 || cg.X > 1 || cg.Y < 1900 || cg.Y > 2100 || cg.Z < 1500 || cg.Z > 3300 {
		t.Errorf("centre of gravity %v", cg)
	}
	if m, c := f.Weigh(nil); m != 0 || c != (geom.Vec{}) {
		t.Error("nothing weighs nothing")
	}
}

// The weights of any pieces into which a frame is parted add up to the weight of the whole, and so do their moments.
func TestWeightsAddUp(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, kingFrame(t, 3))
	all := make([]int, len(f.Timbers()))
	for i := range all {
		all[i] = i
	}
	whole, wholeCG := f.Weigh(all)
	rapid.Check(t, func(t *rapid.T) {
		parts := make([][]int, rapid.IntRange(1, 8).Draw(t, "parts"))
		for i := range all {
			p := rapid.IntRange(0, len(parts)-1).Draw(t, "part")
			parts[p] = append(parts[p], i)
		}
		sum, moment := 0.0, geom.Vec{}
		for _, part := range parts {
			m, cg := f.Weigh(part)
			sum += m
			moment = geom.Along(moment, m, cg)
		}
		if math.Abs(sum-whole) > 1e-6 || geom.Dist(geom.Scale(1/sum, moment), wholeCG) > 1e-6 {
			t.Fatalf("parts weigh %v, the whole %v", sum, whole)
		}
	})
}

func TestDraftIsACopy(t *testing.T) {
	t.Parallel()
	given := portal()
	given.Timbers[0].NominalWidthIn = ptr(8.0)
	given.Timbers[0].ReferenceFaces = []frame.Face{frame.PlusDepth, frame.MinusWidth}
	f := frametest.Parse(t, given)
	before := f.Draft()
	for _, d := range []frame.Draft{given, f.Draft()} {
		d.Timbers[0].Mark, d.Joints[0].ID, d.Grid.Levels[0].Label = "changed", "changed", "changed"
		*d.Timbers[0].NominalWidthIn = 99
		d.Timbers[0].ReferenceFaces[0] = frame.MinusDepth
		d.Joints[2].Tenon.LengthMM, d.Joints[2].Pegs.Count = 1, 9
		d.Assemblies[0].ID, d.Hardware[0].ID = "changed", "changed"
	}
	if diff := cmp.Diff(before, f.Draft()); diff != "" {
		t.Error(diff)
	}
}

func TestGridLineDirections(t *testing.T) {
	t.Parallel()
	l := frame.GridLine{HeadingDeg: 90}
	if geom.Dist(l.Along(), geom.V(0, 1, 0)) > 1e-12 || geom.Dist(l.Across(), geom.V(-1, 0, 0)) > 1e-12 {
		t.Error(l.Along(), l.Across())
	}
}

// A post that hangs on a beam does not stand on the deck, and a leaning stick is found by its foot.
func TestPostsStandOnTheDeck(t *testing.T) {
	t.Parallel()
	d := portal()
	d.Timbers = append(d.Timbers, d.Timbers[1])
	hung := &d.Timbers[4]
	hung.Mark, hung.Assembly, hung.Start, hung.End = "H", "", geom.V(0, 2000, 3000), geom.V(0, 2000, 2000)
	d.Joints = append(d.Joints, frame.Joint{
		ID: "h", Kind: joinery.BlindMortiseAndTenon, Entering: "H", EnteringEnd: frame.AtStart, Receiving: "T", At: hung.Start,
		Tenon: &joinery.Tenon{LengthMM: 100, ThicknessMM: 50, WidthMM: 100},
	})
	f := frametest.Parse(t, d)
	if diff := cmp.Diff([]int{0, 1}, f.Posts()); diff != "" {
		t.Error(diff)
	}
	if line, ok := f.BentLineOf(4); !ok || line != "1" {
		t.Error("the bent line of a hung post", line)
	}
}

func TestFaultsError(t *testing.T) {
	t.Parallel()
	d := portal()
	for i := range d.Timbers {
		d.Timbers[i].Role = 0
	}
	_, err := frame.Parse(d)
	var faults *frame.Faults
	if !errors.As(err, &faults) || len(faults.Faults) != 4 {
		t.Fatal(err)
	}
	d = portal()
	d.Title = "\a"
	if _, err := frame.Parse(d); err == nil || !strings.HasPrefix(err.Error(), "the frame has a fault; title: The title") {
		t.Error(err)
	}
	if got := err.Error(); !strings.HasPrefix(got, "the frame has 4 faults; timbers[0].role (P-A): ") || !strings.HasSuffix(got, "; …") {
		t.Error(got)
	}
}

func TestEnumWords(t *testing.T) {
	t.Parallel()
	got := []string{
		frame.RoleKneeBrace.String(), frame.RoleHammerPost.String(), frame.Role(77).String(), frame.FinishPlaned.String(),
		frame.AssemblyRoofTruss.String(), frame.HardwareScrew.String(), frame.HardwareKind(-1).String(),
	}
	want := []string{"knee brace", "hammer post", "unknown role", "planed", "roof truss", "screw", "unknown hardware"}
	if !slices.Equal(got, want) {
		t.Error(got)
	}
}
