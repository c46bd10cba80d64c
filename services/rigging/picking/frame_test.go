package picking_test

import (
	"context"
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/rigging/chart"
	"github.com/pikepole/pikepole/services/rigging/internal/checkvalue"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

// portal is a bent of two posts under a tie beam along Y, with one loose girt between its posts. All
// sizes are millimetres; tieZ is the underside of the tie where the posts end.
type portal struct {
	tieZ, span float64
	// postTop lets the posts go on above the tie, which then enters them.
	postTop float64
	// assembly is left empty to make every stick loose.
	assembly string
}

func (p portal) draft() frame.Draft {
	tenon := func() *joinery.Tenon { return &joinery.Tenon{LengthMM: 100, ThicknessMM: 50, WidthMM: 150} }
	stick := func(mark string, role frame.Role, start, end geom.Vec, assembly string) frame.Timber {
		return frame.Timber{
			Mark: mark, Role: role, WidthMM: 200, DepthMM: 200, Start: start, End: end,
			Species: "white-oak", Grade: "No.1", MoisturePercent: 60, Assembly: assembly,
		}
	}
	d := frame.Draft{Title: "portal"}
	d.Grid.BentLines = []frame.GridLine{{Label: "1", HeadingDeg: 90}}
	top := p.tieZ
	if p.postTop > 0 {
		top = p.postTop
	}
	left := stick("P-1", frame.RolePost, geom.V(0, 100, 0), geom.V(0, 100, top), p.assembly)
	right := stick("P-2", frame.RolePost, geom.V(0, p.span-100, 0), geom.V(0, p.span-100, top), p.assembly)
	tie := stick("T-1", frame.RoleTieBeam, geom.V(0, 0, p.tieZ+100), geom.V(0, p.span, p.tieZ+100), p.assembly)
	base := func(id, post string, at geom.Vec) frame.Joint {
		return frame.Joint{ID: id, Kind: joinery.PostBaseBearing, Entering: post, EnteringEnd: frame.AtStart, At: at}
	}
	d.Joints = []frame.Joint{base("B-1", "P-1", left.Start), base("B-2", "P-2", right.Start)}
	if p.postTop > 0 {
		tie.Start.Y, tie.End.Y = 200, p.span-200
		d.Joints = append(d.Joints,
			frame.Joint{ID: "J-1", Kind: joinery.BlindMortiseAndTenon, Entering: "T-1", EnteringEnd: frame.AtStart, Receiving: "P-1", At: tie.Start, Tenon: tenon()},
			frame.Joint{ID: "J-2", Kind: joinery.BlindMortiseAndTenon, Entering: "T-1", EnteringEnd: frame.AtEnd, Receiving: "P-2", At: tie.End, Tenon: tenon()})
	} else {
		d.Joints = append(d.Joints,
			frame.Joint{ID: "J-1", Kind: joinery.BlindMortiseAndTenon, Entering: "P-1", EnteringEnd: frame.AtEnd, Receiving: "T-1", At: left.End, Tenon: tenon()},
			frame.Joint{ID: "J-2", Kind: joinery.BlindMortiseAndTenon, Entering: "P-2", EnteringEnd: frame.AtEnd, Receiving: "T-1", At: right.End, Tenon: tenon()})
	}
	girt := stick("G-10", frame.RoleGirt, geom.V(0, 200, 900), geom.V(0, p.span-200, 900), "")
	d.Joints = append(d.Joints,
		frame.Joint{ID: "J-3", Kind: joinery.BlindMortiseAndTenon, Entering: "G-10", EnteringEnd: frame.AtStart, Receiving: "P-1", At: girt.Start, Tenon: tenon()},
		frame.Joint{ID: "J-4", Kind: joinery.BlindMortiseAndTenon, Entering: "G-10", EnteringEnd: frame.AtEnd, Receiving: "P-2", At: girt.End, Tenon: tenon()})
	for i := range d.Joints {
		if d.Joints[i].Tenon != nil {
			d.Joints[i].Pegs = &joinery.Pegs{
				Count: 1, DiameterMM: 25, LengthMM: 250, Wood: "white-oak", Hole: joinery.HoleBoredThroughInShop, FromShoulderMM: 50,
			}
		}
	}
	d.Timbers = []frame.Timber{left, right, tie, girt}
	if p.assembly != "" {
		d.Assemblies = []frame.Assembly{{ID: p.assembly, Kind: frame.AssemblyBent, Line: "1"}}
	}
	return d
}

// rack is gear with invented tags.
func rack() []picking.Gear {
	return []picking.Gear{
		{ID: "sling-2m", Kind: picking.Sling, Count: 4, LengthMM: 2000, VerticalKG: 2400, ChokerKG: 1900, MassKG: 1.6},
		{ID: "sling-4m", Kind: picking.Sling, Count: 4, LengthMM: 4000, VerticalKG: 2400, ChokerKG: 1900, MassKG: 3},
		{ID: "sling-6m", Kind: picking.Sling, Count: 4, LengthMM: 6000, VerticalKG: 2400, ChokerKG: 1900, MassKG: 4.4},
		{ID: "sling-8m", Kind: picking.Sling, Count: 2, LengthMM: 8000, VerticalKG: 2400, ChokerKG: 1900, MassKG: 5.8},
		{ID: "shackle", Kind: picking.Shackle, Count: 8, VerticalKG: 3200, MassKG: 0.8},
	}
}

// site has an invented crane beside the frame, with everything in reach.
func site(t testing.TB) picking.Site {
	t.Helper()
	var rows []chart.Row
	for _, boom := range []float64{17000, 23000, 29000} {
		rated := 12000.0
		for radius := 3000.0; radius <= boom-4000; radius += 1000 {
			rows = append(rows, chart.Row{BoomLengthMM: boom, RadiusMM: radius, RatedKG: rated})
			rated *= 0.93
		}
	}
	c, faults := chart.Parse(rows)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	return picking.Site{
		CraneID: "crane-1",
		Crane:   &picking.Crane{Chart: c, DeductionKG: 280, TwoBlockMM: 1500, PivotBackMM: 1200, PivotHeightMM: 2100},
		SetUp:   &picking.SetUp{ID: "drive", Center: geom.V(3000, -8000, -900), BoomLengthMM: 23000},
		Stack:   &picking.Zone{ID: "deck-stack", Center: geom.V(3000, 3000, 500)},
		Loose:   &picking.Zone{ID: "grass", Center: geom.V(9000, -6000, -500)},
	}
}

func plan(t testing.TB, f *frame.Frame, s picking.Site, gear []picking.Gear) map[string]picking.Pick {
	t.Helper()
	picks, err := picking.Plan(context.Background(), f, s, gear, picking.Default())
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]picking.Pick{}
	for _, p := range picks {
		out[p.ID] = p
		checkPick(t, f, p)
	}
	return out
}

// checkPick holds a pick to what is true of every pick, by a second way of reckoning.
func checkPick(t testing.TB, f *frame.Frame, p picking.Pick) {
	t.Helper()
	mass, center := f.Weigh(p.Timbers)
	if mass != p.MassKG || center != p.Center {
		t.Errorf("%s weighs %v at %v, want %v at %v", p.ID, p.MassKG, p.Center, mass, center)
	}
	for i := 1; i < len(p.Limits); i++ {
		if p.Limits[i].Share > p.Limits[i-1].Share {
			t.Errorf("%s: limit %q does not govern %q", p.ID, p.Limits[i-1].Name, p.Limits[i].Name)
		}
	}
	if len(p.Refusals) > 0 {
		return
	}
	for _, l := range p.Limits {
		if l.Share > 1+1e-9 {
			t.Errorf("%s is accepted with %+v", p.ID, l)
		}
	}
	if len(p.Points) != 2 {
		t.Fatalf("%s is accepted with %d points", p.ID, len(p.Points))
	}
	if sum := p.MassKG + p.AllowanceKG + p.RiggingKG + p.DeductionKG; math.Abs(sum-p.HookLoadKG) > 1e-9*sum {
		t.Errorf("%s: hook load %v, its parts %v", p.ID, p.HookLoadKG, sum)
	}
	if math.Abs(p.AllowanceKG-0.1*p.MassKG) > 1e-9 {
		t.Errorf("%s: allowance %v of %v", p.ID, p.AllowanceKG, p.MassKG)
	}
	if p.LargestRadiusMM < p.PickRadiusMM || p.LargestRadiusMM < p.SetRadiusMM {
		t.Errorf("%s: largest radius %v of %v and %v", p.ID, p.LargestRadiusMM, p.PickRadiusMM, p.SetRadiusMM)
	}
	if p.Row == nil || math.Abs(p.ShareOfRated-grossShare(p.HookLoadKG-p.DeductionKG, p.DeductionKG, p.Row.RatedKG)) > 1e-12 ||
		p.Row.RadiusMM < p.LargestRadiusMM {
		t.Errorf("%s: share %v by row %v", p.ID, p.ShareOfRated, p.Row)
	}
	lifted := 0.0
	for _, pt := range p.Points {
		if pt.AngleDeg < 45 || pt.TensionN <= 0 || pt.Share > 1 || pt.Hitch != picking.Choker {
			t.Errorf("%s: point %+v", p.ID, pt)
		}
		lifted += pt.TensionN * math.Sin(pt.AngleDeg*math.Pi/180)
	}
	// The legs lift the load with its allowance and the rigging under the hook, no more and no less.
	if want := (p.MassKG + p.AllowanceKG + p.RiggingKG) * 9.80665; math.Abs(lifted-want) > 1e-9*want {
		t.Errorf("%s: legs lift %v N of %v", p.ID, lifted, want)
	}
	mid := geom.Mid(p.Points[0].At, p.Points[1].At)
	level := geom.Sub(p.Points[1].At, p.Points[0].At)
	if p.Assembly {
		level.Z = 0
		if p.Points[0].At.Z <= p.Center.Z || p.Points[1].At.Z <= p.Center.Z {
			t.Errorf("%s: points at %v are not above %v", p.ID, p.Points, p.Center)
		}
	}
	// On a steep stick a point stays below its stop, up to 150 mm nearer than the other.
	most := 1e-6
	if steep := f.Axes(p.Points[0].Timber).Axis.Z; p.Assembly && math.Abs(steep) > 0.1 {
		most = 75
	}
	if off := math.Abs(geom.Dot(geom.Sub(mid, p.Center), geom.Unit(level))); off > most {
		t.Errorf("%s: center of gravity %.3f mm from midway between its points", p.ID, off)
	}
}

// grossShare is the share of rated capacity by the definition that is used: everything under the boom
// tip counts as load.
func grossShare(load, deductions, rated float64) float64 { return (load + deductions) / rated }

func TestShareIsGross(t *testing.T) {
	t.Parallel()
	for _, r := range checkvalue.Read(t, "rigging_chart_reading.csv") {
		load, deductions, rated := r.Inputs["load"], r.Inputs["deductions"], r.Inputs["rated"]
		switch r.Quantity {
		case "gross share of rated":
			r.Check(t, grossShare(load, deductions, rated))
		case "net share of rated":
			r.Check(t, load/(rated-deductions))
			if gross := grossShare(load, deductions, rated); gross <= r.Expected || gross <= 0.75 {
				t.Errorf("the gross share %v is not the safer one of %v", gross, r.Expected)
			}
		case "gross load":
			r.Check(t, load+r.Inputs["rigging"]+deductions)
		}
	}
}
