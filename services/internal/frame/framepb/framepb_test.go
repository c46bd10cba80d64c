package framepb_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
)

func cabin(t testing.TB) frame.Draft {
	t.Helper()
	d, err := rough.Make(rough.King{
		Title: "cabin", BentCount: 2, BaySpacingsMM: []float64{3600}, SpanMM: 6000, PostHeightMM: 2700, RoofPitchDeg: 40,
		PurlinsPerSlope: 1, BraceLegMM: 750, Struts: true, WallBraces: true, Species: "white-oak", MoisturePercent: 60,
	})
	if err != nil {
		t.Fatal(err)
	}
	d.Hardware = []frame.Hardware{{ID: "h", Kind: frame.HardwareRod, Count: 2, MassEachKG: 1.5, At: geom.V(1, 2, 3), Timber: "T-1"}}
	return d
}

func TestRoundTrip(t *testing.T) {
	t.Parallel()
	d := cabin(t)
	if diff := cmp.Diff(d, framepb.ToDraft(framepb.FromDraft(d))); diff != "" {
		t.Error(diff)
	}
}

// Through JSON and through the wire a frame keeps its digest.
func TestRoundTripThroughJSONAndWire(t *testing.T) {
	t.Parallel()
	d := cabin(t)
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatal(err)
	}
	text, err := protojson.Marshal(framepb.FromDraft(f.Draft()))
	if err != nil {
		t.Fatal(err)
	}
	wire, err := proto.Marshal(framepb.FromDraft(f.Draft()))
	if err != nil {
		t.Fatal(err)
	}
	var fromText, fromWire framev1.Frame
	if err := protojson.Unmarshal(text, &fromText); err != nil {
		t.Fatal(err)
	}
	if err := proto.Unmarshal(wire, &fromWire); err != nil {
		t.Fatal(err)
	}
	for name, m := range map[string]*framev1.Frame{"JSON": &fromText, "wire": &fromWire} {
		back, err := frame.Parse(framepb.ToDraft(m))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if back.Digest() != f.Digest() {
			t.Errorf("%s: another digest", name)
		}
	}
}

// Every field of the messages is carried: a filled message comes back whole.
func TestEveryFieldIsCarried(t *testing.T) {
	t.Parallel()
	want := framepb.FromDraft(cabin(t))
	want.Timbers[0].RollDeg = 12.5
	want.Joints[0].ScarfTable = framev1.ScarfTable_SCARF_TABLE_SIDEWAYS
	want.Joints[0].Tenon = &framev1.Tenon{LengthMm: 1, ThicknessMm: 2, WidthMm: 3, ShoulderOffsetMm: 4, HousingDepthMm: 5, ClearanceMm: 6}
	want.Joints[0].Pegs = &framev1.Pegs{
		Count: 1, DiameterMm: 2, LengthMm: 3, Wood: "w", DrivenFrom: framev1.Face_FACE_MINUS_WIDTH,
		Hole: framev1.PegHole_PEG_HOLE_NEAR_CHEEK_BORED, DrawBoreOffsetMm: 4, FromShoulderMm: 5, SpacingMm: 6,
	}
	if diff := cmp.Diff(want, framepb.FromDraft(framepb.ToDraft(want)), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	for _, m := range []proto.Message{want, want.Timbers[0], want.Joints[0], want.Joints[0].Tenon, want.Joints[0].Pegs, want.Hardware[0], want.Assemblies[0], want.Grid} {
		fields := m.ProtoReflect().Descriptor().Fields()
		for i := range fields.Len() {
			if f := fields.Get(i); !m.ProtoReflect().Has(f) && f.Name() != "grade" {
				t.Errorf("the check leaves %s empty", f.FullName())
			}
		}
	}
}

// The enums of the domain have the numbers of the model.
func TestEnumsKeepTheirNumbers(t *testing.T) {
	t.Parallel()
	for _, pair := range [][2]protoreflect.EnumNumber{
		{protoreflect.EnumNumber(frame.RoleHammerPost), framev1.Role_ROLE_HAMMER_POST.Number()},
		{protoreflect.EnumNumber(frame.AssemblyWallPanel), framev1.AssemblyKind_ASSEMBLY_KIND_WALL_PANEL.Number()},
		{protoreflect.EnumNumber(frame.HardwareScrew), framev1.HardwareKind_HARDWARE_KIND_SCREW.Number()},
		{protoreflect.EnumNumber(frame.FinishPlaned), framev1.Finish_FINISH_PLANED.Number()},
		{protoreflect.EnumNumber(frame.MinusWidth), framev1.Face_FACE_MINUS_WIDTH.Number()},
		{protoreflect.EnumNumber(frame.Along), framev1.TimberEnd_TIMBER_END_ALONG.Number()},
		{protoreflect.EnumNumber(joinery.PostBaseKnifePlate), framev1.JointKind_JOINT_KIND_POST_BASE_KNIFE_PLATE.Number()},
		{protoreflect.EnumNumber(joinery.ScarfEndwise), framev1.ScarfTable_SCARF_TABLE_ENDWISE.Number()},
		{protoreflect.EnumNumber(joinery.HoleBoredThroughAfterAssembly), framev1.PegHole_PEG_HOLE_BORED_THROUGH_AFTER_ASSEMBLY.Number()},
	} {
		if pair[0] != pair[1] {
			t.Errorf("%d is not %d", pair[0], pair[1])
		}
	}
	// The words are those of the model too.
	values := framev1.Role_ROLE_POST.Descriptor().Values()
	for i := 1; i < values.Len(); i++ {
		word := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(values.Get(i).Name()), "ROLE_"), "_", " "))
		if got := frame.Role(values.Get(i).Number()).String(); got != word {
			t.Errorf("role %d is %q, want %q", i, got, word)
		}
	}
}

func TestMissingParts(t *testing.T) {
	t.Parallel()
	if diff := cmp.Diff(frame.Draft{}, framepb.ToDraft(nil)); diff != "" {
		t.Error(diff)
	}
	d := framepb.ToDraft(&framev1.Frame{Timbers: []*framev1.Timber{{Mark: "P"}, nil}, Joints: []*framev1.Joint{nil}})
	if !math.IsNaN(d.Timbers[0].Start.X) || !math.IsNaN(d.Timbers[1].End.Z) || !math.IsNaN(d.Joints[0].At.Y) {
		t.Error("a missing point must not become the origin")
	}
}

func TestFindings(t *testing.T) {
	t.Parallel()
	got := framepb.Findings([]frame.Finding{{Field: "timbers[3].width_mm", Piece: "B-A", Message: "Wrong."}})
	want := []*framesv1.Finding{{Field: "timbers[3].width_mm", Piece: "B-A", Message: "Wrong."}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	if framepb.Findings(nil) != nil {
		t.Error("no findings")
	}
}

// Whatever JSON a caller sends, reading it gives a frame or faults, never a panic; and what is taken can be
// asked for everything.
func FuzzParse(f *testing.F) {
	// One post with a beam on it, out of a whole frame: small seeds are tried faster.
	whole := cabin(f)
	small := framepb.FromDraft(frame.Draft{
		Timbers: []frame.Timber{whole.Timbers[0], whole.Timbers[2]}, Assemblies: whole.Assemblies[:1], Grid: whole.Grid,
		Joints: whole.Joints[1:3],
	})
	for _, change := range []func(*framev1.Frame){
		func(*framev1.Frame) {},
		func(m *framev1.Frame) { m.Timbers[0].WidthMm = math.NaN() },
		func(m *framev1.Frame) { m.Timbers[0].End = m.Timbers[0].Start },
		func(m *framev1.Frame) { m.Joints[1].Tenon = nil },
		func(m *framev1.Frame) { m.Joints[1].Tenon.LengthMm = math.Inf(1) },
		func(m *framev1.Frame) { m.Joints[1].Kind = 99 },
		func(m *framev1.Frame) { m.Joints[1].Kind = framev1.JointKind_JOINT_KIND_SCARF },
	} {
		m := proto.Clone(small).(*framev1.Frame)
		change(m)
		text, err := protojson.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	if _, err := frame.Parse(framepb.ToDraft(small)); err != nil {
		f.Fatal("the first seed is a sound frame", err)
	}
	f.Add([]byte(`{"timbers":[{"mark":"P","role":"ROLE_POST","widthMm":200,"depthMm":200,"start":{},"end":{"zMm":3000},"species":"white-oak","moisturePercent":60}],"joints":[{"id":"b","kind":"JOINT_KIND_POST_BASE_BEARING","entering":"P","enteringEnd":"TIMBER_END_START","at":{}}]}`))
	f.Add([]byte(`{"timbers":[null],"joints":[{}],"grid":{"bentLines":[{}]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var m framev1.Frame
		if protojson.Unmarshal(text, &m) != nil {
			return
		}
		built, err := frame.Parse(framepb.ToDraft(&m))
		if err != nil {
			return
		}
		for i := range built.Timbers() {
			if mass, cg := built.Weigh([]int{i}); !(mass > 0) || !geom.Finite(cg) {
				t.Fatalf("%s weighs %v at %v", built.Timbers()[i].Mark, mass, cg)
			}
		}
		again, err := frame.Parse(framepb.ToDraft(framepb.FromDraft(built.Draft())))
		if err != nil || again.Digest() != built.Digest() {
			t.Fatalf("the frame does not come back: %v", err)
		}
	})
}
