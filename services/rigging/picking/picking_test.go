package picking_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/rigging/internal/checkvalue"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

func accepted(t *testing.T, p picking.Pick) {
	t.Helper()
	if len(p.Refusals) > 0 {
		t.Fatalf("%s is refused: %q", p.ID, p.Refusals)
	}
}

func refused(t *testing.T, p picking.Pick, words string) {
	t.Helper()
	if !slices.ContainsFunc(p.Refusals, func(s string) bool { return strings.Contains(s, words) }) {
		t.Errorf("%s: refusals %q do not say %q", p.ID, p.Refusals, words)
	}
}

func TestBentIsHeldByItsTie(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	p := plan(t, f, site(t), rack())["bent-1"]
	accepted(t, p)
	for _, pt := range p.Points {
		if f.Timbers()[pt.Timber].Mark != "T-1" || pt.At.Z != 3200 {
			t.Errorf("point %+v, want one on top of T-1", pt)
		}
	}
	if got := len(p.Timbers); got != 3 {
		t.Errorf("%d sticks in the bent, want 3", got)
	}
	// A bent is stood up on its feet, so its hook may be farther out than at pick and set.
	if p.LargestRadiusMM < p.PickRadiusMM+p.Center.Z-1e-6 {
		t.Errorf("largest radius %v leaves out standing it up from %v", p.LargestRadiusMM, p.PickRadiusMM)
	}
}

func TestLooseStickIsHeldWhereItBendsLeast(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	p := plan(t, f, site(t), rack())["G-10"]
	accepted(t, p)
	i, _ := f.Index("G-10")
	overall := f.Solid(i).OverallMM
	share := 0.5 - geom.Dist(p.Points[0].At, p.Points[1].At)/2/overall
	for _, r := range checkvalue.Read(t, "rigging_pick_points.csv") {
		r.Check(t, share)
	}
	// With the center of gravity in the middle, a tape from one tip finds the slings at that share and at the rest.
	near, far := picking.FromTipMM(f, p.Points[0])/overall, picking.FromTipMM(f, p.Points[1])/overall
	if near > far {
		near, far = far, near
	}
	if math.Abs(near-share) > 1e-3 || math.Abs(far-(1-share)) > 1e-3 {
		t.Errorf("slings at %.4f and %.4f of the stick from its tip, want %.4f and %.4f", near, far, share, 1-share)
	}
	if p.Points[0].At.Z != 1000 {
		t.Errorf("point at %v, want the upper face of G-10", p.Points[0].At)
	}
	if p.LargestRadiusMM != max(p.PickRadiusMM, p.SetRadiusMM) {
		t.Errorf("largest radius %v of %v and %v", p.LargestRadiusMM, p.PickRadiusMM, p.SetRadiusMM)
	}
}

func TestAssembliesFirstThenMarksAsPeopleReadThem(t *testing.T) {
	t.Parallel()
	d := portal{tieZ: 3000, span: 5000}.draft()
	for i := range d.Timbers {
		if d.Timbers[i].Mark == "P-2" {
			d.Timbers[i].Mark = "P-12"
		}
	}
	for i := range d.Joints {
		for _, m := range []*string{&d.Joints[i].Entering, &d.Joints[i].Receiving} {
			if *m == "P-2" {
				*m = "P-12"
			}
		}
	}
	picks, err := picking.Plan(context.Background(), frametest.Parse(t, d), site(t), rack(), picking.Default())
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, p := range picks {
		ids = append(ids, p.ID)
	}
	if want := []string{"G-10", "P-1", "P-12", "T-1"}; !slices.Equal(ids, want) {
		t.Errorf("picks %q, want %q", ids, want)
	}
}

// On posts below a tie slings would be kept from sliding up, but their legs would have to go through the
// tie; so they hold the tie, close together as it has room.
func TestPostsBelowATieAreNotHeld(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 700, postTop: 3300, assembly: "bent-1"}.draft())
	p := plan(t, f, site(t), rack())["bent-1"]
	accepted(t, p)
	for _, pt := range p.Points {
		if got := f.Timbers()[pt.Timber].Mark; got != "T-1" || pt.At.Y < 300 || pt.At.Y > 400 {
			t.Errorf("point on %s at %v, want one on the tie", got, pt.At)
		}
	}
}

func TestShortStickWithoutRoomIsRefused(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 700, postTop: 3300, assembly: "bent-1"}.draft())
	refused(t, plan(t, f, site(t), rack())["G-10"], "No two places for slings")
}

// Posts that go on far above a low tie put the center of gravity above every place that holds a sling.
func TestWhatCouldRollIsRefused(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 1200, span: 5000, postTop: 5000, assembly: "bent-1"}.draft())
	p := plan(t, f, site(t), rack())["bent-1"]
	refused(t, p, "could roll over")
	if p.Points[0].At.Z >= p.Center.Z {
		t.Fatalf("the test wants its points %v below %v", p.Points, p.Center)
	}
	for _, pt := range p.Points {
		if pt.Sling != "" || pt.TensionN != 0 {
			t.Errorf("a refused place carries %+v", pt)
		}
	}
}

func TestMissingThingsRefuse(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	for name, tt := range map[string]struct {
		change func(s *picking.Site)
		bent   string
		girt   string
	}{
		"no crane":       {func(s *picking.Site) { s.CraneID, s.Crane = "", nil }, "No crane is chosen", "No crane is chosen"},
		"unknown crane":  {func(s *picking.Site) { s.Crane = nil }, "crane-1 is not in the company book", "crane-1"},
		"no chart":       {func(s *picking.Site) { s.Crane.Chart = nil }, "has no chart", "has no chart"},
		"no set-up":      {func(s *picking.Site) { s.SetUp = nil }, "no crane set-up", "no crane set-up"},
		"no boom length": {func(s *picking.Site) { s.SetUp.BoomLengthMM = 0 }, "no boom length", "no boom length"},
		"no stack":       {func(s *picking.Site) { s.Stack = nil }, "no staging zone for the stack of bents", ""},
		"no loose zone":  {func(s *picking.Site) { s.Loose = nil }, "", "no staging zone for loose pieces"},
		"boom too long":  {func(s *picking.Site) { s.SetUp.BoomLengthMM = 30000 }, "longer than the chart's longest", "longer than"},
		"boom too short": {func(s *picking.Site) { s.SetUp.BoomLengthMM = 16000 }, "shorter than the chart's shortest", "shorter"},
		"too near":       {func(s *picking.Site) { s.SetUp.Center = geom.V(0, 2500, 0) }, "less than the chart's least", "less than the chart's least"},
		// The bent's center of gravity is 2232 mm over its feet: its hook may come as near as 4000 − 2232 mm.
		"near stood up": {func(s *picking.Site) { s.SetUp.Center = geom.V(3000, -1000, -900) }, "Outside the chart at the nearest radius", ""},
		"too far":       {func(s *picking.Site) { s.SetUp.Center = geom.V(0, -40000, 0) }, "beyond the chart's last", "beyond"},
		"boom too low":  {func(s *picking.Site) { s.SetUp.Center.Z = -12000 }, "Headroom at the pick", ""},
		"too heavy":     {func(s *picking.Site) { s.Crane.DeductionKG = 20000 }, "Crane at the largest radius", "Crane at the pick radius"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := site(t)
			tt.change(&s)
			picks := plan(t, f, s, rack())
			for id, words := range map[string]string{"bent-1": tt.bent, "G-10": tt.girt} {
				if words == "" {
					accepted(t, picks[id])
				} else {
					refused(t, picks[id], words)
				}
			}
		})
	}
}

func TestGearRefuses(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	only := func(change func(g *picking.Gear)) []picking.Gear {
		g := rack()[2]
		change(&g)
		return []picking.Gear{g}
	}
	for name, tt := range map[string]struct {
		gear  []picking.Gear
		words string
	}{
		"no gear":          {nil, "holds no sling"},
		"only shackles":    {rack()[4:], "holds no sling"},
		"no choker rating": {only(func(g *picking.Gear) { g.ChokerKG = 0 }), "its tag gives no choker rating"},
		"mass not known":   {only(func(g *picking.Gear) { g.MassKG = 0 }), "its own mass is not known"},
		"mass no number":   {only(func(g *picking.Gear) { g.MassKG = math.NaN() }), "its own mass is not known"},
		"length not known": {only(func(g *picking.Gear) { g.LengthMM = 0 }), "its length is not known"},
		"only one":         {only(func(g *picking.Gear) { g.Count = 1 }), "there are no two of it"},
		"too short":        {only(func(g *picking.Gear) { g.LengthMM = 1200 }), "long enough"},
		"flat":             {only(func(g *picking.Gear) { g.LengthMM = 1650 }), "below 30 degrees the sheets of sling makers forbid"},
		"too weak":         {only(func(g *picking.Gear) { g.ChokerKG = 100 }), "Sling 1 tension"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			refused(t, plan(t, f, site(t), tt.gear)["bent-1"], tt.words)
		})
	}
}

func TestShackleStrongEnoughOrNone(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	gear := rack()[:4]
	gear = append(gear,
		picking.Gear{ID: "weak", Kind: picking.Shackle, Count: 9, VerticalKG: 50, MassKG: 0.2},
		picking.Gear{ID: "single", Kind: picking.Shackle, Count: 1, VerticalKG: 5000, MassKG: 0.3},
		picking.Gear{ID: "strong", Kind: picking.Shackle, Count: 2, VerticalKG: 5000, MassKG: 0.9})
	for n, want := range map[int]string{len(gear): "strong", len(gear) - 1: ""} {
		p := plan(t, f, site(t), gear[:n])["bent-1"]
		accepted(t, p)
		for _, pt := range p.Points {
			if pt.Shackle != want {
				t.Errorf("shackle %q, want %q", pt.Shackle, want)
			}
		}
	}
}

func TestPlanEndsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	if picks, err := picking.Plan(ctx, f, site(t), rack(), picking.Default()); err == nil {
		t.Errorf("planned %d picks for nobody", len(picks))
	}
}

func TestSharesGrowWithLoad(t *testing.T) {
	t.Parallel()
	shares := func(moisture float64) (rated, pull float64) {
		d := portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft()
		for i := range d.Timbers {
			d.Timbers[i].MoisturePercent = moisture
		}
		// One sling only, so that the way of rigging stays the same.
		p := plan(t, frametest.Parse(t, d), site(t), []picking.Gear{rack()[2]})["bent-1"]
		accepted(t, p)
		return p.ShareOfRated, p.Points[0].Share
	}
	lastRated, lastPull := 0.0, 0.0
	for moisture := 30.0; moisture <= 120; moisture += 15 {
		rated, pull := shares(moisture)
		if rated <= lastRated || pull <= lastPull {
			t.Errorf("at %v %%: shares %v and %v do not grow from %v and %v", moisture, rated, pull, lastRated, lastPull)
		}
		lastRated, lastPull = rated, pull
	}
}
