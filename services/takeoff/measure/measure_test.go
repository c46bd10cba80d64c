package measure_test

import (
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/natural"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/takeoff/measure"
)

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*max(1, math.Abs(b)) }

// The shed's sticks can be measured by hand: posts of 9 ft, tie beams of 24 ft less two posts of 8 in
// plus two tenons of 4 in, all full 8x8.
func TestShedByHand(t *testing.T) {
	t.Parallel()
	got := measure.Frame(frametest.Parse(t, frametest.Shed(2)))
	by := map[string]measure.Stick{}
	for _, s := range got.Sticks {
		by[s.Mark] = s
	}
	const postFt, tieFt = 9.0, 24 - 16.0/12 + 8.0/12
	for mark, want := range map[string]float64{"P1A": 8 * 8 * postFt / 12, "T1": 8 * 8 * tieFt / 12} {
		if !near(by[mark].BoardFeet, want) {
			t.Errorf("%s has %v board feet, want %v", mark, by[mark].BoardFeet, want)
		}
	}
	if got := by["T1"].OverallMM - by["T1"].ShoulderMM; !near(got, 8*frametest.Inch) {
		t.Errorf("tenons add %v mm, want two of 4 in", got)
	}
	// A post of a two-bent shed takes one tie and one girt: two mortises of 2 x 6 x 4 in.
	mortises := 2 * 2 * 6 * 4 * math.Pow(0.0254, 3)
	if !near(by["P1A"].RemovedM3, mortises) {
		t.Errorf("removed %v m3, want %v", by["P1A"].RemovedM3, mortises)
	}
	volume := 8*8*postFt*12*math.Pow(0.0254, 3) - mortises
	if !near(by["P1A"].VolumeM3, volume) || !near(by["P1A"].MassKG, volume*by["P1A"].DensityKgPerM3) {
		t.Errorf("volume %v m3 and mass %v kg, want %v m3", by["P1A"].VolumeM3, by["P1A"].MassKG, volume)
	}
	// Wood Handbook, eq. 4-12 to 4-14 with Gb 0.34 at 19 percent: 418 kg/m3 (Gb itself is from memory).
	if math.Abs(by["P1A"].DensityKgPerM3-418) > 0.5 {
		t.Errorf("density %v, want 418", by["P1A"].DensityKgPerM3)
	}
}

func TestGroupsAddUp(t *testing.T) {
	t.Parallel()
	got := measure.Frame(house(t, 4))
	for name, groups := range map[string][]measure.Group{"section": got.BySection, "species": got.BySpecies, "assembly": got.ByAssembly} {
		sum := measure.Group{Label: measure.Total}
		for _, g := range groups {
			sum.Count += g.Count
			sum.OverallMM += g.OverallMM
			sum.BoardFeet += g.BoardFeet
			sum.VolumeM3 += g.VolumeM3
			sum.MassKG += g.MassKG
		}
		if sum.Count != got.All.Count || !near(sum.OverallMM, got.All.OverallMM) || !near(sum.BoardFeet, got.All.BoardFeet) ||
			!near(sum.VolumeM3, got.All.VolumeM3) || !near(sum.MassKG, got.All.MassKG) {
			t.Errorf("by %s: %+v, all %+v", name, sum, got.All)
		}
	}
	if got.All.Count != len(got.Sticks) {
		t.Errorf("%d sticks counted of %d", got.All.Count, len(got.Sticks))
	}
	if last := got.ByAssembly[len(got.ByAssembly)-1].Label; last != measure.Loose {
		t.Errorf("the loose pieces stand at %q, want last", last)
	}
	if !slices.IsSortedFunc(got.Sticks, func(a, b measure.Stick) int { return natural.Compare(a.Mark, b.Mark) }) {
		t.Error("sticks are not by mark")
	}
}

// Sums run in the order of the marks; only within one stick do joints count in the order given.
func TestOrderOfListingDoesNotMatter(t *testing.T) {
	t.Parallel()
	d := house(t, 3).Draft()
	turned := d.Clone()
	slices.Reverse(turned.Timbers)
	slices.Reverse(turned.Joints)
	a, b := measure.Frame(frametest.Parse(t, d)), measure.Frame(frametest.Parse(t, turned))
	options := cmp.Options{cmpopts.EquateApprox(1e-12, 0), cmpopts.IgnoreFields(measure.Stick{}, "Index")}
	if diff := cmp.Diff(a, b, options); diff != "" {
		t.Error(diff)
	}
}

func TestPegsAndHardware(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(2)
	peg := func(count int, diameter float64) *joinery.Pegs {
		return &joinery.Pegs{Count: count, DiameterMM: diameter, LengthMM: 200, Wood: "white-oak", DrivenFrom: frame.PlusWidth, FromShoulderMM: 50, SpacingMM: 75}
	}
	seen := 0
	for i := range d.Joints {
		if d.Joints[i].Tenon == nil {
			continue
		}
		d.Joints[i].Pegs = peg(2, 25)
		if seen == 0 {
			d.Joints[i].Pegs = peg(1, 19)
		}
		seen++
	}
	d.Hardware = []frame.Hardware{
		{ID: "h-1", Kind: frame.HardwareBolt, Count: 4, MassEachKG: 0.25, Timber: "P1A"},
		{ID: "h-2", Kind: frame.HardwarePostBase, Count: 1, MassEachKG: 6},
		{ID: "h-3", Kind: frame.HardwareBolt, Count: 2, MassEachKG: 0.5, Timber: "P1B"},
	}
	got := measure.Frame(frametest.Parse(t, d))
	if len(got.Pegs) != 2 || got.Pegs[0].DiameterMM != 19 || got.Pegs[0].Count != 1 || got.Pegs[1].Count != 2*(seen-1) {
		t.Errorf("pegs %+v of %d joints", got.Pegs, seen)
	}
	one := got.Pegs[1].MassKG / float64(got.Pegs[1].Count)
	if volume := math.Pi / 4 * 0.025 * 0.025 * 0.2; one < volume*600 || one > volume*900 {
		t.Errorf("an oak peg of %v m3 weighs %v kg", volume, one)
	}
	want := []measure.HardwareLine{
		{Kind: frame.HardwarePostBase, Count: 1, MassKG: 6},
		{Kind: frame.HardwareBolt, Count: 6, MassKG: 2},
	}
	if diff := cmp.Diff(want, got.Hardware); diff != "" {
		t.Error(diff)
	}
}

func TestNominalSizeCountsWhenGiven(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(2)
	ten := 10.0
	for i := range d.Timbers {
		if d.Timbers[i].Mark == "P2A" {
			d.Timbers[i].NominalWidthIn, d.Timbers[i].NominalDepthIn = &ten, &ten
		}
	}
	got := measure.Frame(frametest.Parse(t, d))
	var labels []string
	for _, g := range got.BySection {
		labels = append(labels, g.Label)
	}
	if want := []string{"8×8", "10×10"}; !slices.Equal(labels, want) {
		t.Errorf("sections %q, want %q", labels, want)
	}
	if !near(got.BySection[1].BoardFeet, 10*10*9/12.0) {
		t.Errorf("board feet %v of a 9 ft post bought as 10x10", got.BySection[1].BoardFeet)
	}
}

func TestInches(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]string{8: "8", 7.5: "7.5", 7.874015748: "7.87", 10.004: "10", 0.25: "0.25"} {
		if got := measure.Inches(v); got != want {
			t.Errorf("%v is %q, want %q", v, got, want)
		}
	}
}

func house(t testing.TB, bents int) *frame.Frame {
	t.Helper()
	return purlined(t, bents, 3)
}

// purlined is a rough frame of king-post bents with purlins.
func purlined(t testing.TB, bents, purlins int) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "house", BentCount: bents, BaySpacingsMM: []float64{3658}, SpanMM: 7315, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: purlins, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	})
}
