package frame_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// portalDigest was made once. A change of it gives every stored frame another name: it needs a new
// version of the encoding, not a new value here.
const portalDigest = "f38a7f88e2bc496524a8dfdf0ffc1c4aaa59b10dc5a587eca74df81b9ea6f478"

func TestDigestOfThePortal(t *testing.T) {
	t.Parallel()
	if got := frametest.Parse(t, portal()).Digest(); got != portalDigest {
		t.Errorf("digest %s, want %s", got, portalDigest)
	}
}

func TestDigestDoesNotDependOnTheOrderOfListing(t *testing.T) {
	t.Parallel()
	d := kingFrame(t, 3)
	want := frametest.Parse(t, d).Digest()
	r := rand.New(rand.NewPCG(1, 2))
	shuffled := d.Clone()
	r.Shuffle(len(shuffled.Timbers), func(i, j int) {
		shuffled.Timbers[i], shuffled.Timbers[j] = shuffled.Timbers[j], shuffled.Timbers[i]
	})
	r.Shuffle(len(shuffled.Joints), func(i, j int) {
		shuffled.Joints[i], shuffled.Joints[j] = shuffled.Joints[j], shuffled.Joints[i]
	})
	slices.Reverse(shuffled.Assemblies)
	if got := frametest.Parse(t, shuffled).Digest(); got != want {
		t.Error("the digest depends on the order of listing")
	}
	shuffled.Timbers[0].Start.X = math.Copysign(0, -1) + shuffled.Timbers[0].Start.X
	minus := portal()
	minus.Timbers[0].Start.X = math.Copysign(0, -1)
	if frametest.Parse(t, minus).Digest() != portalDigest {
		t.Error("−0 is another fact than 0")
	}
}

// Every field is a fact: changing any of them changes the digest.
func TestDigestHoldsEveryField(t *testing.T) {
	t.Parallel()
	seen := map[string]string{frametest.Parse(t, portal()).Digest(): "nothing"}
	for name, change := range map[string]func(*frame.Draft){
		"title":           func(d *frame.Draft) { d.Title = "gate" },
		"line label":      func(d *frame.Draft) { d.Grid.WallLines[0].Label = "C" },
		"line point":      func(d *frame.Draft) { d.Grid.WallLines[0].Point.Z = 1 },
		"heading":         func(d *frame.Draft) { d.Grid.WallLines[0].HeadingDeg = 1 },
		"level":           func(d *frame.Draft) { d.Grid.Levels[0].ZMM = 1 },
		"role":            func(d *frame.Draft) { d.Timbers[2].Role = frame.RoleGirt },
		"width":           func(d *frame.Draft) { d.Timbers[2].WidthMM = 201 },
		"depth":           func(d *frame.Draft) { d.Timbers[2].DepthMM = 301 },
		"nominal width":   func(d *frame.Draft) { d.Timbers[2].NominalWidthIn = ptr(8.0) },
		"nominal depth":   func(d *frame.Draft) { d.Timbers[2].NominalDepthIn = ptr(8.0) },
		"start":           func(d *frame.Draft) { d.Timbers[2].Start.Y = -301 },
		"end":             func(d *frame.Draft) { d.Timbers[2].End.Y = 4301 },
		"roll":            func(d *frame.Draft) { d.Timbers[2].RollDeg = 0.5 },
		"reference faces": func(d *frame.Draft) { d.Timbers[2].ReferenceFaces = []frame.Face{1, 3} },
		"other faces":     func(d *frame.Draft) { d.Timbers[2].ReferenceFaces = []frame.Face{3, 1} },
		"species":         func(d *frame.Draft) { d.Timbers[2].Species = "white-ash" },
		"grade":           func(d *frame.Draft) { d.Timbers[2].Grade = "No.2" },
		"finish":          func(d *frame.Draft) { d.Timbers[2].Finish = frame.FinishPlaned },
		"moisture":        func(d *frame.Draft) { d.Timbers[2].MoisturePercent = 61 },
		"assembly":        func(d *frame.Draft) { d.Timbers[2].Assembly = "" },
		"joint id":        func(d *frame.Draft) { d.Joints[5].ID = "x" },
		"joint kind":      func(d *frame.Draft) { d.Joints[1].Kind = joinery.PostBaseKnifePlate },
		"at":              func(d *frame.Draft) { d.Joints[5].At.Y = 901 },
		"tenon length":    func(d *frame.Draft) { d.Joints[5].Tenon.LengthMM++ },
		"thickness":       func(d *frame.Draft) { d.Joints[5].Tenon.ThicknessMM++ },
		"tenon width":     func(d *frame.Draft) { d.Joints[5].Tenon.WidthMM++ },
		"offset":          func(d *frame.Draft) { d.Joints[5].Tenon.ShoulderOffsetMM++ },
		"housing":         func(d *frame.Draft) { d.Joints[5].Tenon.HousingDepthMM++ },
		"clearance":       func(d *frame.Draft) { d.Joints[5].Tenon.ClearanceMM++ },
		"no pegs":         func(d *frame.Draft) { d.Joints[2].Pegs = nil },
		"peg count":       func(d *frame.Draft) { d.Joints[2].Pegs.Count++ },
		"peg diameter":    func(d *frame.Draft) { d.Joints[2].Pegs.DiameterMM++ },
		"peg length":      func(d *frame.Draft) { d.Joints[2].Pegs.LengthMM++ },
		"peg wood":        func(d *frame.Draft) { d.Joints[2].Pegs.Wood = "white-ash" },
		"peg face":        func(d *frame.Draft) { d.Joints[2].Pegs.DrivenFrom = frame.MinusWidth },
		"hole":            func(d *frame.Draft) { d.Joints[2].Pegs.Hole = joinery.HoleNearCheekBored },
		"draw-bore":       func(d *frame.Draft) { d.Joints[2].Pegs.DrawBoreOffsetMM++ },
		"from shoulder":   func(d *frame.Draft) { d.Joints[2].Pegs.FromShoulderMM++ },
		"spacing":         func(d *frame.Draft) { d.Joints[2].Pegs.SpacingMM++ },
		"assembly kind":   func(d *frame.Draft) { d.Assemblies[0].Kind = frame.AssemblyRoofTruss },
		"hardware kind":   func(d *frame.Draft) { d.Hardware[0].Kind = frame.HardwareRod },
		"hardware count":  func(d *frame.Draft) { d.Hardware[0].Count = 2 },
		"hardware mass":   func(d *frame.Draft) { d.Hardware[0].MassEachKG = 5 },
		"hardware at":     func(d *frame.Draft) { d.Hardware[0].At = geom.V(1, 0, 0) },
		"hardware timber": func(d *frame.Draft) { d.Hardware[0].Timber = "" },
	} {
		d := portal()
		change(&d)
		digest := frametest.Parse(t, d).Digest()
		if same, ok := seen[digest]; ok {
			t.Errorf("%s has the digest of %s", name, same)
		}
		seen[digest] = name
	}
}
