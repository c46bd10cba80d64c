package picking_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

// kingDraft is a draft of two king-post bents with a span of 6096 mm.
func kingDraft(t testing.TB, pitchDeg float64, struts bool) frame.Draft {
	t.Helper()
	d, err := rough.Make(rough.King{
		Title: "king", BentCount: 2, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: pitchDeg,
		BraceLegMM: 762, Struts: struts, Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// longRack is the rack with slings of 10 m, so that length limits nothing.
func longRack() []picking.Gear {
	return append(rack(), picking.Gear{ID: "sling-10m", Kind: picking.Sling, Count: 2, LengthMM: 10000, VerticalKG: 4800, ChokerKG: 3800, MassKG: 14.8})
}

// What is not joined to what hangs on the hook stays behind or drops: statics, a sling holds one stick and
// the others hang by their joints alone.
func TestWhatIsNotOnePieceIsRefused(t *testing.T) {
	t.Parallel()
	without := func(d frame.Draft, ids ...string) frame.Draft {
		var kept []frame.Joint
		for _, j := range d.Joints {
			if !strings.Contains(strings.Join(ids, " "), j.ID) {
				kept = append(kept, j)
			}
		}
		d.Joints = kept
		return d
	}
	bare := func(d frame.Draft) frame.Draft {
		for i := range d.Joints {
			d.Joints[i].Pegs = nil
		}
		return d
	}
	low := portal{tieZ: 3000, span: 5000, assembly: "bent-1"}
	high := portal{tieZ: 3000, span: 5000, postTop: 3300, assembly: "bent-1"}
	for name, tt := range map[string]struct {
		draft frame.Draft
		words []string
	}{
		// The girt still joins the post to the frame, but it is not lifted.
		"post not joined": {without(low.draft(), "J-2"), []string{"not one piece", "P-2"}},
		// A post's tenon leaves the tie above it downward.
		// On the posts slings would carry it, but no leg gets past the tie.
		"posts not pegged": {bare(low.draft()), []string{""}},
		// Lifted by its rafters, the tie drops off their feet.
		"truss not pegged": {bare(kingDraft(t, 40, true)), []string{"come apart", "has no pegs"}},
		"pegged":           {low.draft(), nil},
		// A tie's tenon in the side of a post does not leave it downward, pegged or not.
		"tie between posts": {bare(high.draft()), nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := plan(t, frametest.Parse(t, tt.draft), yard(t, 3658, 6096), longRack())["bent-1"]
			if tt.words == nil {
				accepted(t, p)
			}
			for _, words := range tt.words {
				refused(t, p, words)
			}
		})
	}
}

// A scarf joins two sticks in one line: it keeps no sling from sliding up, and along its lap only half of
// the stick is there.
func TestScarfNeitherStopsNorCarriesASling(t *testing.T) {
	t.Parallel()
	const lapMM = 900
	d := kingDraft(t, 40, false)
	cut := map[string]geom.Vec{}
	for _, mark := range []string{"R-1A", "R-1B"} {
		for i := range d.Timbers {
			if d.Timbers[i].Mark != mark {
				continue
			}
			upper := d.Timbers[i]
			upper.Mark = mark + "-upper"
			upper.Start = geom.Along(upper.Start, 0.55, geom.Sub(upper.End, upper.Start))
			d.Timbers[i].End, cut[mark] = upper.Start, upper.Start
			d.Timbers = append(d.Timbers, upper)
			break
		}
		for i := range d.Joints {
			if d.Joints[i].Entering == mark && d.Joints[i].EnteringEnd == frame.AtEnd {
				d.Joints[i].Entering = mark + "-upper"
			}
		}
		d.Joints = append(d.Joints, frame.Joint{
			ID: mark + ".scarf", Kind: joinery.Scarf, Entering: mark + "-upper", EnteringEnd: frame.AtStart, Receiving: mark,
			At: cut[mark], Scarf: joinery.ScarfHalved, Tenon: &joinery.Tenon{LengthMM: lapMM, ThicknessMM: 120, WidthMM: 200},
			Pegs: &joinery.Pegs{Count: 4, DiameterMM: 25, LengthMM: 250, Wood: "white-oak", Hole: joinery.HoleBoredThroughInShop, FromShoulderMM: 150, SpacingMM: 200},
		})
	}
	f := frametest.Parse(t, d)
	p := plan(t, f, yard(t, 3658, 6096), longRack())["bent-1"]
	if len(p.Points) == 0 {
		t.Fatalf("no points: %q", p.Refusals)
	}
	for _, pt := range p.Points {
		if mark := f.Timbers()[pt.Timber].Mark; mark == "R-1A" || mark == "R-1B" {
			t.Errorf("the sling on %s at %v has nothing uphill of it but the scarf at %v", mark, pt.At, cut[mark])
		}
	}
}

// The lap of a scarf takes half of the stick that receives it; a sling over it holds the other half alone.
func TestSlingStaysOffTheLapOfAScarf(t *testing.T) {
	t.Parallel()
	const lapMM = 1600
	stick := func(mark string, role frame.Role, start, end geom.Vec) frame.Timber {
		return frame.Timber{Mark: mark, Role: role, WidthMM: 200, DepthMM: 200, Start: start, End: end, Species: "white-oak", MoisturePercent: 60}
	}
	d := frame.Draft{Title: "scarfed plate", Timbers: []frame.Timber{
		stick("P-1", frame.RolePost, geom.V(0, 100, 0), geom.V(0, 100, 3000)),
		stick("PL-1", frame.RolePlate, geom.V(0, 0, 3100), geom.V(0, 5000, 3100)),
		stick("PL-2", frame.RolePlate, geom.V(0, 5000, 3100), geom.V(0, 9000, 3100)),
	}, Joints: []frame.Joint{
		{ID: "base", Kind: joinery.PostBaseBearing, Entering: "P-1", EnteringEnd: frame.AtStart},
		{
			ID: "top", Kind: joinery.BlindMortiseAndTenon, Entering: "P-1", EnteringEnd: frame.AtEnd, Receiving: "PL-1", At: geom.V(0, 100, 3000),
			Tenon: &joinery.Tenon{LengthMM: 100, ThicknessMM: 50, WidthMM: 150},
		},
		{
			ID: "scarf", Kind: joinery.Scarf, Entering: "PL-2", EnteringEnd: frame.AtStart, Receiving: "PL-1", At: geom.V(0, 5000, 3100),
			Scarf: joinery.ScarfHalved, Tenon: &joinery.Tenon{LengthMM: lapMM, ThicknessMM: 100, WidthMM: 200},
		},
	}}
	d.Joints[0].At = geom.V(0, 100, 0)
	p := plan(t, frametest.Parse(t, d), site(t), rack())["PL-1"]
	accepted(t, p)
	for _, pt := range p.Points {
		if pt.At.Y > 5000-lapMM {
			t.Errorf("the sling at %v is on the lap, which begins at %v", pt.At, 5000-lapMM)
		}
	}
}

// Plane geometry: two legs that begin on the rafters and rise less steeply than they do meet below the
// ridge, inside the truss. So the hook of an accepted bent is above all of it, and no leg goes through a
// stick that it does not hold.
func TestHookAndLegsAreClearOfTheBent(t *testing.T) {
	t.Parallel()
	found := 0
	for _, pitch := range []float64{30, 40, 50, 55, 60} {
		for length := 2000.0; length <= 8000; length += 500 {
			f := frametest.Parse(t, kingDraft(t, pitch, true))
			gear := []picking.Gear{{ID: "sling", Kind: picking.Sling, Count: 2, LengthMM: length, VerticalKG: 5000, ChokerKG: 4000, MassKG: 5}}
			p := plan(t, f, yard(t, 3658, 6096), gear)["bent-1"]
			if len(p.Refusals) > 0 {
				continue
			}
			found++
			hook := geom.V(p.Center.X, p.Center.Y, math.Min(p.Points[0].At.Z, p.Points[1].At.Z)+p.HookHeightMM)
			for _, m := range p.Timbers {
				timber := f.Timbers()[m]
				if top := math.Max(timber.Start.Z, timber.End.Z); hook.Z < top {
					t.Errorf("pitch %v, slings of %v: the hook at %.0f is below the top of %s at %.0f", pitch, length, hook.Z, timber.Mark, top)
				}
				for k, pt := range p.Points {
					if pt.Timber != m && crosses(pt.At, hook, timber.Start, timber.End) {
						t.Errorf("pitch %v, slings of %v: leg %d from %v to %v goes through %s", pitch, length, k+1, pt.At, hook, timber.Mark)
					}
				}
			}
		}
	}
	if found == 0 {
		t.Error("no way of rigging was accepted")
	}
}

// crosses says whether two lines in the plane of a bent cross, by the sides on which their ends lie.
func crosses(a, b, c, d geom.Vec) bool {
	side := func(p, q, r geom.Vec) bool { return (q.Y-p.Y)*(r.Z-p.Z)-(q.Z-p.Z)*(r.Y-p.Y) > 0 }
	return side(a, b, c) != side(a, b, d) && side(c, d, a) != side(c, d, b)
}

// A pull up a slope slides a choker until a joint stops it (statics), so no point lies farther below its
// stop than the clearance allows twice over, however uneven the bent is. The stop is the strut's head.
func TestUnevenBentKeepsItsSlingsAtTheirStops(t *testing.T) {
	t.Parallel()
	lowest := func(massKG float64) (along float64, p picking.Pick) {
		d := kingDraft(t, 60, true)
		d.Hardware = []frame.Hardware{{ID: "shoe", Kind: frame.HardwarePostBase, Count: 1, MassEachKG: massKG, At: geom.V(100, 100, 0), Timber: "P-1A"}}
		f := frametest.Parse(t, d)
		p = plan(t, f, yard(t, 3658, 6096), longRack())["bent-1"]
		for _, pt := range p.Points {
			mark := f.Timbers()[pt.Timber].Mark
			j, ok := f.JointIndex(strings.Replace(mark, "R-", "S-", 1) + ".head")
			if !ok {
				t.Fatalf("held on %s", mark)
			}
			along = math.Max(along, geom.Dot(geom.Sub(f.Joints()[j].At, pt.At), f.Axes(pt.Timber).Axis))
		}
		return along, p
	}
	even, _ := lowest(0.001)
	for _, massKG := range []float64{5, 10, 15, 20} {
		t.Run(fmt.Sprint(massKG, " kg"), func(t *testing.T) {
			t.Parallel()
			along, p := lowest(massKG)
			if len(p.Refusals) == 0 && along > even+100+1 {
				t.Errorf("a sling lies %.0f mm below its stop, %.0f mm in the even bent", along, even)
			}
		})
	}
}

// A pick of unknown weight is refused, never merely warned of: hardware drawn elsewhere moves its center
// of gravity, here far below the pick line.
func TestHardwareDrawnElsewhereRefuses(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		at    geom.Vec
		words string
	}{
		"on its timber": {geom.V(0, 2500, 3000), ""},
		"elsewhere":     {geom.V(0, 2500, -9000), "drawn more than 1000 mm outside"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft()
			d.Hardware = []frame.Hardware{{ID: "plate", Kind: frame.HardwarePlate, Count: 1, MassEachKG: 12, At: tt.at, Timber: "T-1"}}
			picks, err := picking.Plan(t.Context(), frametest.Parse(t, d), site(t), rack(), picking.Default())
			if err != nil {
				t.Fatal(err)
			}
			if tt.words == "" {
				accepted(t, picks[0])
			} else {
				refused(t, picks[0], tt.words)
			}
		})
	}
}

// Every pair of sticks is tried, so the work grows with the square of their number: more than any bent has
// are refused at once.
func TestHeapOfSticksIsNoLift(t *testing.T) {
	t.Parallel()
	d := frame.Draft{Title: "log wall", Assemblies: []frame.Assembly{{ID: "wall", Kind: frame.AssemblyWallPanel, Line: "A"}}}
	d.Grid.WallLines = []frame.GridLine{{Label: "A"}}
	for i := range 201 {
		z := float64(100*i + 50)
		log := frame.Timber{
			Mark: fmt.Sprint("L-", i), Role: frame.RoleGirt, WidthMM: 100, DepthMM: 100, Start: geom.V(0, 0, z), End: geom.V(6000, 0, z),
			Species: "white-oak", MoisturePercent: 60, Assembly: "wall",
		}
		d.Timbers = append(d.Timbers, log)
		joint := frame.Joint{ID: log.Mark, Kind: joinery.PostBaseBearing, Entering: log.Mark, EnteringEnd: frame.Along, At: geom.V(3000, 0, z-50)}
		if i > 0 {
			joint.Kind, joint.Receiving = joinery.SteelConnection, fmt.Sprint("L-", i-1)
		}
		d.Joints = append(d.Joints, joint)
	}
	refused(t, plan(t, frametest.Parse(t, d), site(t), rack())["wall"], "201 sticks")
}

// What is not a number passes no limit: a rule that is not a number refuses even what hangs level.
func TestRuleThatIsNoNumberRefuses(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, portal{tieZ: 3000, span: 5000, assembly: "bent-1"}.draft())
	for name, change := range map[string]func(s *picking.Settings){
		"tilt":       func(s *picking.Settings) { s.MostTiltDeg = math.NaN() },
		"lean":       func(s *picking.Settings) { s.MostLeanDeg = math.NaN() },
		"angle":      func(s *picking.Settings) { s.LeastAngleDeg = math.NaN() },
		"allowance":  func(s *picking.Settings) { s.AllowanceShare = math.NaN() },
		"hook":       func(s *picking.Settings) { s.HookClearanceMM = math.NaN() },
		"lift":       func(s *picking.Settings) { s.LiftClearanceMM = math.NaN() },
		"depth":      func(s *picking.Settings) { s.LeastDepthMM = math.NaN() },
		"joint edge": func(s *picking.Settings) { s.JointClearanceMM = math.NaN() },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := picking.Default()
			change(&s)
			picks, err := picking.Plan(t.Context(), f, site(t), rack(), s)
			if err != nil {
				t.Fatal(err)
			}
			if p := picks[0]; len(p.Refusals) == 0 {
				t.Errorf("%s is accepted: %+v", p.ID, p.Limits)
			}
		})
	}
}
