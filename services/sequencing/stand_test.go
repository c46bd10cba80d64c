package sequencing_test

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// firstBent asks whether the first bent stands alone on the deck.
func firstBent() *sequencingv1.CheckStandRequest {
	return &sequencingv1.CheckStandRequest{Job: "job-1", Revision: "latest", Standing: []string{"bent-1"}}
}

// makeSafe asks for braces and gives all answers.
func (b bench) makeSafe(ctx context.Context, req *sequencingv1.MakeSafeRequest) ([]*sequencingv1.MakeSafeAnswer, error) {
	stream, err := b.client.MakeSafe(ctx, req)
	if err != nil {
		return nil, err
	}
	var answers []*sequencingv1.MakeSafeAnswer
	for {
		a, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return answers, nil
		}
		if err != nil {
			return answers, err
		}
		answers = append(answers, a)
	}
}

// wantCautions checks that an answer warns and says how it came about.
func wantCautions(t *testing.T, cautions []string, basis []*sheetv1.Basis) {
	t.Helper()
	if len(cautions) == 0 || !strings.Contains(cautions[0], "qualified person") {
		t.Errorf("cautions %q, want one that asks for a qualified person", cautions)
	}
	if len(basis) == 0 {
		t.Error("nothing says how the numbers came about")
	}
	for _, b := range basis {
		if b.GetQuantity() == "" || b.GetFormula() == "" || b.GetSource() == "" || b.GetStatus() == sheetv1.SourceStatus_SOURCE_STATUS_UNSPECIFIED {
			t.Errorf("basis %v", b)
		}
	}
}

// A bent alone on the deck goes over about the line of its feet; with the braces that are proposed for it, it stands.
func TestFirstBent(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Viewer)
	alone, err := b.client.CheckStand(ctx, firstBent())
	if err != nil {
		t.Fatal(err)
	}
	g := alone.GetVerdict().GetGoverning()
	if alone.GetVerdict().GetStands() {
		t.Errorf("a bent alone on the deck stands: %v", g)
	}
	if f := g.GetFailure(); f != sequencingv1.Failure_FAILURE_OVERTURNING && f != sequencingv1.Failure_FAILURE_MECHANISM {
		t.Errorf("it fails by %v, want going over or moving freely: %s", f, g.GetWords())
	}
	if !strings.Contains(g.GetWords(), "about the line through") {
		t.Errorf("the line about which it goes over is not named: %q", g.GetWords())
	}
	if h := alone.GetVerdict().HighestGustMPerS; h == nil || *h != 0 {
		t.Errorf("highest gust %v, want 0: it does not stand in still air", h)
	}
	if alone.GetVerdict().GetGustMPerS() != 12 || len(alone.GetStanding()) == 0 || alone.GetComputedFrom().GetRevision() != 1 {
		t.Errorf("gust %g, standing %v, from %v", alone.GetVerdict().GetGustMPerS(), alone.GetStanding(), alone.GetComputedFrom())
	}
	wantCautions(t, alone.GetCautions(), alone.GetBasis())

	answers, err := b.makeSafe(ctx, &sequencingv1.MakeSafeRequest{Job: "job-1", Revision: "latest", Standing: []string{"bent-1"}, GustMPerS: proto.Float64(12)})
	if err != nil {
		t.Fatal(err)
	}
	final := answers[len(answers)-1]
	if !final.GetFinal() || !final.GetSafe() || len(final.GetAdd()) == 0 || final.GetRefusal() != "" {
		t.Fatalf("no braces: final %t, safe %t, %d braces, refusal %q", final.GetFinal(), final.GetSafe(), len(final.GetAdd()), final.GetRefusal())
	}
	braced := firstBent()
	braced.Braces, braced.GustMPerS = final.GetAdd(), proto.Float64(12)
	with, err := b.client.CheckStand(ctx, braced)
	if err != nil {
		t.Fatal(err)
	}
	v := with.GetVerdict()
	if !v.GetStands() || v.GetHighestGustMPerS() < 12 || v.GetResidual() > 1e-6 {
		t.Errorf("with the braces proposed: %v", v)
	}
	if len(v.GetBraceForces()) != len(final.GetAdd()) {
		t.Errorf("forces of %d braces, want %d", len(v.GetBraceForces()), len(final.GetAdd()))
	}
	for _, u := range v.GetUses() {
		if u.GetWords() == "" || u.GetFormula() == "" || u.GetSource() == "" || u.GetStatus() == 0 || u.Share != nil && *u.Share > 1 {
			t.Errorf("use %v", u)
		}
	}
}

func TestMakeSafeStreams(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.holdHut()
	ctx := b.as(identity.Field)
	req := &sequencingv1.MakeSafeRequest{Job: "job-1", Revision: "latest", AfterMove: 1, Unpegged: []string{"all"}}
	answers, err := b.makeSafe(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	for i, a := range answers {
		if a.GetFinal() != (i == len(answers)-1) {
			t.Errorf("answer %d of %d: final %t", i+1, len(answers), a.GetFinal())
		}
		if a.GetComputedFrom().GetJob() != "job-1" || len(a.GetCautions()) == 0 {
			t.Errorf("answer %d: from %v, cautions %v", i+1, a.GetComputedFrom(), a.GetCautions())
		}
		if i > 0 && a.GetSafe() && answers[i-1].GetSafe() && len(a.GetAdd()) > len(answers[i-1].GetAdd()) {
			t.Errorf("answer %d has %d braces after %d: it is no better", i+1, len(a.GetAdd()), len(answers[i-1].GetAdd()))
		}
	}
	if len(answers) < 2 {
		t.Errorf("%d answers, want a better one before the last", len(answers))
	}
	final := answers[len(answers)-1]
	if !final.GetSafe() || final.GetEndedBy() == "" || int(final.GetLeastCount()) > len(final.GetAdd()) || len(final.GetCuts()) != len(final.GetAdd()) {
		t.Errorf("final: safe %t, ended by %q, least %d of %d, %d cuts, %s", final.GetSafe(), final.GetEndedBy(), final.GetLeastCount(),
			len(final.GetAdd()), len(final.GetCuts()), final.GetRefusal())
	}
	if final.GetBefore().GetStands() || !final.GetVerdict().GetStands() || !final.GetKnockedOut().GetVerdict().GetStands() {
		t.Errorf("before %t, after %t, with one knocked out %t", final.GetBefore().GetStands(), final.GetVerdict().GetStands(), final.GetKnockedOut().GetVerdict().GetStands())
	}
	if got, want := final.GetVerdict().GetGustMPerS(), 15.0; got != want {
		t.Errorf("checked for %g m/s, want the night gust of the rules, %g", got, want)
	}
	wantCautions(t, final.GetCautions(), final.GetBasis())
	again, err := b.makeSafe(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(answers, again, protocmp.Transform()); diff != "" {
		t.Errorf("the same question, other answers:\n%s", diff)
	}
}

// A caller who leaves ends the search.
func TestMakeSafeOfACallerWhoLeaves(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx, leave := context.WithCancel(b.as(identity.Field))
	stream, err := b.client.MakeSafe(ctx, &sequencingv1.MakeSafeRequest{Job: "job-1", Revision: "latest", AfterMove: 3})
	if err != nil {
		t.Fatal(err)
	}
	leave()
	for err == nil {
		_, err = stream.Recv()
	}
	if f := fault.FromStatus(err); f == nil || f.Kind != fault.Cancelled {
		t.Errorf("ended with %v", err)
	}
}

// brace is one that holds a post of the first bent, made wrong by tests.
func firstBrace() *sequencingv1.PlacedBrace {
	return &sequencingv1.PlacedBrace{
		Id: "T1", Mark: "P-1A", Top: &framev1.Point{XMm: -120, YMm: 100, ZMm: 1900}, Foot: &framev1.Point{XMm: -1500, YMm: 100},
		Ground: sequencingv1.Ground_GROUND_DECK, Lumber: "4x4", Fastening: "6-screws-8in", Anchor: "cleat-lags",
	}
}

func TestCheckStandRefusals(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	braced := func(change func(*sequencingv1.PlacedBrace)) func(*sequencingv1.CheckStandRequest) {
		return func(r *sequencingv1.CheckStandRequest) {
			br := firstBrace()
			change(br)
			r.Braces = []*sequencingv1.PlacedBrace{br}
		}
	}
	for name, tc := range map[string]struct {
		change      func(*sequencingv1.CheckStandRequest)
		path, words string
	}{
		"a piece that is none":    {func(r *sequencingv1.CheckStandRequest) { r.Standing = []string{"bent-1", "P-99"} }, "standing[1]", "P-99"},
		"a piece named twice":     {func(r *sequencingv1.CheckStandRequest) { r.Standing = []string{"bent-1", "P-1A"} }, "standing[1]", "a second time"},
		"neither pieces nor move": {func(r *sequencingv1.CheckStandRequest) { r.Standing = nil }, "after_move", "1 to"},
		"a move beyond the last":  {func(r *sequencingv1.CheckStandRequest) { r.Standing, r.AfterMove = nil, 99 }, "after_move", "99"},
		"pieces and a move":       {func(r *sequencingv1.CheckStandRequest) { r.AfterMove = 1 }, "after_move", "beside standing"},
		"a hook with what stands": {func(r *sequencingv1.CheckStandRequest) { r.OnHook = []string{"P-1A"} }, "on_hook", "P-1A stands already"},
		"a joint that is none":    {func(r *sequencingv1.CheckStandRequest) { r.Unpegged = []string{"J-99"} }, "unpegged[0]", "J-99"},
		"all joints and one":      {func(r *sequencingv1.CheckStandRequest) { r.Unpegged = []string{"all", "x"} }, "unpegged", "one of the two"},
		"a gust of 200":           {func(r *sequencingv1.CheckStandRequest) { r.GustMPerS = proto.Float64(200) }, "gust_m_per_s", "200"},
		"a gust that is none":     {func(r *sequencingv1.CheckStandRequest) { r.GustMPerS = proto.Float64(math.NaN()) }, "gust_m_per_s", "NaN"},
		"pieces that float":       {func(r *sequencingv1.CheckStandRequest) { r.Standing = []string{"bent-1", "T-2"} }, "T-2", "not connected"},
		"a brace without an id":   {braced(func(p *sequencingv1.PlacedBrace) { p.Id = "" }), "braces[0].id", "name"},
		"a brace of no stick":     {braced(func(p *sequencingv1.PlacedBrace) { p.Mark = "P-99" }), "braces[0].mark", "P-99"},
		"a brace of what does not stand": {
			braced(func(p *sequencingv1.PlacedBrace) { p.Mark = "P-3A" }), "braces[0].mark", "P-3A does not stand",
		},
		"a brace without a top":       {braced(func(p *sequencingv1.PlacedBrace) { p.Top = nil }), "braces[0].top", "missing"},
		"a brace whose foot is none":  {braced(func(p *sequencingv1.PlacedBrace) { p.Foot.XMm = math.Inf(1) }), "braces[0].foot.x_mm", "+Inf"},
		"a brace on nothing":          {braced(func(p *sequencingv1.PlacedBrace) { p.Ground = 0 }), "braces[0].ground", "deck"},
		"a brace of unknown lumber":   {braced(func(p *sequencingv1.PlacedBrace) { p.Lumber = "9x9" }), "braces[0].lumber", "9x9"},
		"a brace of unknown nails":    {braced(func(p *sequencingv1.PlacedBrace) { p.Fastening = "glue" }), "braces[0].fastening", "glue"},
		"a brace with another anchor": {braced(func(p *sequencingv1.PlacedBrace) { p.Anchor = "stake" }), "braces[0].anchor", "cannot be used there"},
		"a brace that stands on what it holds": {braced(func(p *sequencingv1.PlacedBrace) {
			p.Ground, p.FootMark, p.Anchor = sequencingv1.Ground_GROUND_TIMBER, p.GetMark(), ""
		}), "braces[0].foot_mark", "another"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			req := firstBent()
			tc.change(req)
			_, err := b.client.CheckStand(b.as(identity.Lead), req)
			f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
			if !slices.ContainsFunc(f.Fields, func(x fault.Field) bool {
				return strings.Contains(x.Path, tc.path) && strings.Contains(x.Path+" "+x.Message, tc.words)
			}) {
				t.Errorf("fields %v, want %s with %q", f.Fields, tc.path, tc.words)
			}
		})
	}
	twice := firstBent()
	twice.Braces = []*sequencingv1.PlacedBrace{firstBrace(), firstBrace()}
	_, err := b.client.CheckStand(b.as(identity.Lead), twice)
	if f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid); f.Fields[0].Path != "braces[1].id" {
		t.Errorf("two braces of one id: %v", f.Fields)
	}
}

// A brace that passes through a timber is refused, both named.
func TestABraceThroughATimber(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	f := cabin(t)
	b.hold(f)
	at, ok := f.Index("P-1A")
	if !ok {
		t.Fatal("no post P-1A")
	}
	other, ok := f.Index("P-1B")
	if !ok {
		t.Fatal("no post P-1B")
	}
	top, through := f.Timbers()[at].Start, f.Timbers()[other].Start
	req := firstBent()
	br := firstBrace()
	// From the inner face of one post down through the other.
	across := through.Y - top.Y
	br.Top = &framev1.Point{XMm: top.X, YMm: top.Y + math.Copysign(110, across), ZMm: 1500}
	br.Foot = &framev1.Point{XMm: through.X, YMm: through.Y + math.Copysign(1200, across)}
	req.Braces = []*sequencingv1.PlacedBrace{br}
	_, err := b.client.CheckStand(b.as(identity.Lead), req)
	got := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
	if !strings.Contains(got.Message, "T1") || !strings.Contains(got.Message, "P-1B") {
		t.Errorf("%s: want the brace and the post named", got.Message)
	}
}

// Rules that a company puts change the verdict; asking again does not compute again.
func TestCheckStandFollowsTheRules(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Lead)
	first, err := b.client.CheckStand(ctx, firstBent())
	if err != nil {
		t.Fatal(err)
	}
	same, err := b.client.CheckStand(ctx, firstBent())
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, same, protocmp.Transform()); diff != "" {
		t.Errorf("the same question, another answer:\n%s", diff)
	}
	rules := standRules()
	rules.WorkingGustMPerS = 9
	if _, err := b.client.PutStandRules(ctx, &sequencingv1.PutStandRulesRequest{Rules: rules}); err != nil {
		t.Fatal(err)
	}
	own, err := b.client.CheckStand(ctx, firstBent())
	if err != nil {
		t.Fatal(err)
	}
	if own.GetVerdict().GetGustMPerS() != 9 || len(own.GetCautions()) != len(first.GetCautions())-1 {
		t.Errorf("gust %g, %d cautions; want 9 m/s and no caution that the rules are defaults", own.GetVerdict().GetGustMPerS(), len(own.GetCautions()))
	}
}

func TestCheckLift(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Lead)
	req := func() *sequencingv1.CheckLiftRequest {
		return &sequencingv1.CheckLiftRequest{Job: "job-1", Revision: "latest", Assembly: "bent-2"}
	}
	got, err := b.client.CheckLift(ctx, req())
	if err != nil {
		t.Fatal(err)
	}
	wantCautions(t, got.GetCautions(), got.GetBasis())
	if len(got.GetSteps()) < 3 || len(got.GetPoints()) != 2 || got.GetGoverning().GetWords() == "" {
		t.Errorf("%d steps, points %v, governing %v", len(got.GetSteps()), got.GetPoints(), got.GetGoverning())
	}
	for i, s := range got.GetSteps() {
		if s.GetHookN() <= 0 || s.GetHanging() != (i == len(got.GetSteps())-1) || !s.GetHanging() && s.GetBaseUpN() < 0 {
			t.Errorf("step %d: %v", i, s)
		}
	}
	for name, tc := range map[string]struct {
		change      func(*sequencingv1.CheckLiftRequest)
		path, words string
	}{
		"an assembly that is none": {func(r *sequencingv1.CheckLiftRequest) { r.Assembly = "bent-9" }, "assembly", "bent-1"},
		"a sling too flat":         {func(r *sequencingv1.CheckLiftRequest) { r.SlingDeg = proto.Float64(10) }, "sling_deg", "10"},
		"a factor below one":       {func(r *sequencingv1.CheckLiftRequest) { r.DynamicFactor = proto.Float64(0.5) }, "dynamic_factor", "0.5"},
		"one step":                 {func(r *sequencingv1.CheckLiftRequest) { r.StepCount = 1 }, "step_count", "from 2"},
		"a point of another bent": {func(r *sequencingv1.CheckLiftRequest) {
			r.Points = []*sequencingv1.LiftPoint{{Mark: "P-1A", FromStartMm: 100}}
		}, "points[0].mark", "P-1A"},
		"a point beyond the stick": {func(r *sequencingv1.CheckLiftRequest) {
			r.Points = []*sequencingv1.LiftPoint{{Mark: "P-2A", FromStartMm: 1e6}}
		}, "points[0].from_start_mm", "1e+06"},
		"one foot tied":           {func(r *sequencingv1.CheckLiftRequest) { r.FeetTied = []string{"P-2A"} }, "feet_tied", "two or more"},
		"a strongback of nothing": {func(r *sequencingv1.CheckLiftRequest) { r.Strongback = "9x9" }, "strongback", "9x9"},
	} {
		bad := req()
		tc.change(bad)
		_, err := b.client.CheckLift(ctx, bad)
		f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
		if f.Fields[0].Path != tc.path || !strings.Contains(f.Fields[0].Message, tc.words) {
			t.Errorf("%s: %v, want %s with %q", name, f.Fields, tc.path, tc.words)
		}
	}
}
