package sequencing_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// TestStanding asks about one raising in every way: its states are planned once and kept.
func TestStanding(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.holdHut()
	for _, part := range []struct {
		name string
		test func(*testing.T, bench)
	}{
		{"every state stands", standingStates},
		{"with braces of the caller's and without", raisingChecked},
		{"bad input", raisingRefused},
		{"as a document", standingRendered},
		{"brace sheet", bracesRendered},
		{"pictures", standDrawn},
	} {
		t.Run(part.name, func(t *testing.T) { part.test(t, b) })
	}
}

func standingStates(t *testing.T, b bench) {
	t.Helper()
	ctx := b.as(identity.Viewer)
	raising, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	wantCautions(t, got.GetCautions(), got.GetBasis())
	if n := got.GetFirstFallingMove(); n > 0 {
		s := got.GetStates()[n-1]
		t.Errorf("the state after move %d falls: %s; without %s: %s; overnight: %s; beside: %s", n, s.GetRefusal(), s.GetKnockedOut().GetBrace(),
			s.GetKnockedOut().GetVerdict().GetGoverning().GetWords(), s.GetOvernight().GetGoverning().GetWords(), s.GetBeside().GetGoverning().GetWords())
	}
	if !got.GetStands() || got.GetFirstFallingMove() != 0 || !got.GetPlanned() || len(got.GetStates()) != len(raising.GetMoves()) {
		t.Fatalf("stands %t, first falling move %d, planned %t, %d states of %d moves", got.GetStands(), got.GetFirstFallingMove(), got.GetPlanned(),
			len(got.GetStates()), len(raising.GetMoves()))
	}
	on, nights := map[string]bool{}, 0
	for i, s := range got.GetStates() {
		if s.GetMove() != int32(i+1) || s.GetRefusal() != "" || !s.GetReleased().GetStands() {
			t.Errorf("state %d: %v", i+1, s)
		}
		for _, br := range s.GetSet() {
			on[br.GetId()] = true
		}
		for _, id := range s.GetOn() {
			if !on[id] {
				t.Errorf("state %d: %s is on and was not set", i+1, id)
			}
		}
		if len(on) != len(s.GetOn()) {
			t.Errorf("state %d: %d braces on, %d set and not struck", i+1, len(s.GetOn()), len(on))
		}
		for _, k := range s.GetStrike() {
			if !on[k.GetBrace()] || k.GetOnce() == "" {
				t.Errorf("state %d: strike %v", i+1, k)
			}
			delete(on, k.GetBrace())
		}
		if len(s.GetOn()) > 0 && !s.GetKnockedOut().GetVerdict().GetStands() {
			t.Errorf("state %d does not survive the loss of %s", i+1, s.GetKnockedOut().GetBrace())
		}
		if v := s.GetOvernight(); v != nil {
			nights++
			if !v.GetStands() || v.GetGustMPerS() != 15 {
				t.Errorf("state %d overnight: %v", i+1, v)
			}
		}
	}
	if nights == 0 || len(got.GetCuts()) == 0 {
		t.Errorf("%d nights, %d cuts", nights, len(got.GetCuts()))
	}
}

func raisingChecked(t *testing.T, b bench) {
	t.Helper()
	ctx := b.as(identity.Lead)
	req := func() *sequencingv1.CheckRaisingRequest {
		return &sequencingv1.CheckRaisingRequest{Job: "job-1", Revision: "latest"}
	}
	without := req()
	without.WithoutBraces = true
	bare, err := b.client.CheckRaising(ctx, without)
	if err != nil {
		t.Fatal(err)
	}
	if bare.GetStands() || bare.GetFirstFallingMove() != 1 || bare.GetPlanned() || bare.GetStates()[0].GetReleased().GetStands() {
		t.Errorf("without braces: stands %t, first falling move %d", bare.GetStands(), bare.GetFirstFallingMove())
	}
	planned, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	// What was planned, given back, stands as it did.
	given := req()
	for _, s := range planned.GetStates() {
		group := &sequencingv1.MoveBraces{Move: s.GetMove(), Set: s.GetSet()}
		for _, k := range s.GetStrike() {
			group.Strike = append(group.Strike, k.GetBrace())
		}
		if len(group.GetSet())+len(group.GetStrike()) > 0 {
			given.Braces = append(given.Braces, group)
		}
	}
	same, err := b.client.CheckRaising(ctx, given)
	if err != nil {
		t.Fatal(err)
	}
	if same.GetStands() != planned.GetStands() || same.GetPlanned() {
		t.Errorf("given back: stands %t, planned %t", same.GetStands(), same.GetPlanned())
	}
	// With the braces of the first move left out, the first state falls.
	less := proto.CloneOf(given)
	less.Braces = less.GetBraces()[1:]
	for _, g := range less.GetBraces() {
		g.Strike = nil
	}
	fallen, err := b.client.CheckRaising(ctx, less)
	if err != nil {
		t.Fatal(err)
	}
	if fallen.GetFirstFallingMove() != 1 {
		t.Errorf("without the first move's braces the first falling move is %d", fallen.GetFirstFallingMove())
	}
	nights := req()
	nights.WithoutBraces, nights.DayEnds = true, []int32{2}
	got, err := b.client.CheckRaising(ctx, nights)
	if err != nil {
		t.Fatal(err)
	}
	if got.GetStates()[1].GetOvernight() == nil || got.GetStates()[0].GetOvernight() != nil {
		t.Error("the day does not end after move 2 and nowhere before")
	}
}

func raisingRefused(t *testing.T, b bench) {
	t.Helper()
	for name, tc := range map[string]struct {
		req         *sequencingv1.CheckRaisingRequest
		path, words string
	}{
		"no braces and some":  {&sequencingv1.CheckRaisingRequest{WithoutBraces: true, Braces: []*sequencingv1.MoveBraces{{Move: 1}}}, "without_braces", "one of the two"},
		"a move that is none": {&sequencingv1.CheckRaisingRequest{Braces: []*sequencingv1.MoveBraces{{Move: 77}}}, "braces[0].move", "77"},
		"a move twice":        {&sequencingv1.CheckRaisingRequest{Braces: []*sequencingv1.MoveBraces{{Move: 1}, {Move: 1}}}, "braces[1].move", "a second time"},
		"a brace struck that was not set": {
			&sequencingv1.CheckRaisingRequest{Braces: []*sequencingv1.MoveBraces{{Move: 1, Strike: []string{"T9"}}}}, "braces[0].strike[0]", "T9",
		},
		"a brace set twice": {
			&sequencingv1.CheckRaisingRequest{Braces: []*sequencingv1.MoveBraces{{Move: 1, Set: []*sequencingv1.PlacedBrace{firstBrace(), firstBrace()}}}},
			"braces[0].set[1].id", "a second time",
		},
		"a day that ends nowhere": {&sequencingv1.CheckRaisingRequest{DayEnds: []int32{0}}, "day_ends[0]", "from 1"},
		"a day that ends twice":   {&sequencingv1.CheckRaisingRequest{DayEnds: []int32{1, 1}}, "day_ends[1]", "a second time"},
		"a night of 200":          {&sequencingv1.CheckRaisingRequest{NightGustMPerS: proto.Float64(200)}, "night_gust_m_per_s", "200"},
	} {
		tc.req.Job, tc.req.Revision = "job-1", "latest"
		_, err := b.client.CheckRaising(b.as(identity.Lead), tc.req)
		f := wantFault(t, err, fault.InvalidArgument, fault.ReasonInvalid)
		if f.Fields[0].Path != tc.path || !strings.Contains(f.Fields[0].Message, tc.words) {
			t.Errorf("%s: %v, want %s with %q", name, f.Fields, tc.path, tc.words)
		}
	}
}

// A frame that nothing opens has no order to check, but any set of its pieces can be checked.
func TestStandingOfALockedFrame(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(dowelled(t))
	ctx := b.as(identity.Lead)
	_, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "latest"})
	wantFault(t, err, fault.Precondition, "FRAME_LOCKED")
	if got, err := b.client.CheckStand(ctx, firstBent()); err != nil || got.GetVerdict() == nil {
		t.Errorf("the first bent: %v", err)
	}
	answers, err := b.makeSafe(ctx, &sequencingv1.MakeSafeRequest{Job: "job-1", Revision: "latest", Standing: []string{"bent-1"}})
	if err != nil || !answers[len(answers)-1].GetFinal() {
		t.Errorf("braces for the first bent: %d answers, %v", len(answers), err)
	}
}

func standingRendered(t *testing.T, b bench) {
	t.Helper()
	ctx := b.as(identity.Shop)
	check, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	doc, err := b.client.RenderStanding(ctx, &sequencingv1.RenderStandingRequest{Job: "job-1", Revision: "latest", Format: "csv"})
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(doc.GetContent())).ReadAll()
	if err != nil || len(rows) != len(check.GetStates())+1 || doc.GetFilename() != "standing-job-1-r1.csv" {
		t.Errorf("%s: %d rows, %v, want a head and %d states", doc.GetFilename(), len(rows), err, len(check.GetStates()))
	}
	page, err := b.client.RenderStanding(ctx, &sequencingv1.RenderStandingRequest{Job: "job-1", Revision: "latest", Format: "html"})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"qualified person", "After each move", "All temporary braces", "How the numbers came about", "Every state"} {
		if !strings.Contains(string(page.GetContent()), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	_, err = b.client.RenderStanding(ctx, &sequencingv1.RenderStandingRequest{Job: "job-1", Revision: "1", Format: "pdf"})
	wantFault(t, err, fault.InvalidArgument, "UNKNOWN_FORMAT")
}

func bracesRendered(t *testing.T, b bench) {
	t.Helper()
	ctx := b.as(identity.Field)
	check, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	set := check.GetStates()[0].GetSet()
	render := func(n int32, format string) (string, error) {
		doc, err := b.client.RenderBraces(ctx, &sequencingv1.RenderBracesRequest{Job: "job-1", Revision: "latest", Move: n, Format: format})
		return string(doc.GetContent()), err
	}
	list, err := render(1, "csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(list)).ReadAll()
	if err != nil || len(rows) != len(set)+1 || rows[1][0] != set[0].GetId() {
		t.Errorf("%d rows, %v, want a head and %d braces", len(rows), err, len(set))
	}
	page, err := render(1, "html")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Brace sheet of move 1", "qualified person", "before the hook or the hands let go", "<svg", set[0].GetId(), "What is used most"} {
		if !strings.Contains(page, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	for _, n := range []int32{0, int32(len(check.GetStates())) + 1} {
		_, err := render(n, "html")
		wantFault(t, err, fault.NotFound, "MOVE_NOT_FOUND")
	}
}

func standDrawn(t *testing.T, b bench) {
	t.Helper()
	ctx := b.as(identity.Shop)
	seen := map[string]string{}
	for _, view := range []string{"", "braces", "unbraced", "sway", "bending", "axial", "use"} {
		doc, err := b.client.DrawStand(ctx, &sequencingv1.DrawStandRequest{Job: "job-1", Revision: "latest", Move: 1, View: view})
		if err != nil {
			t.Fatalf("%s: %v", view, err)
		}
		svg := xml.NewDecoder(bytes.NewReader(doc.GetContent()))
		for {
			if _, err := svg.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", view, err)
			}
		}
		for _, want := range []string{"Trial cabin", "qualified person", "P-1A"} {
			if !strings.Contains(string(doc.GetContent()), want) {
				t.Errorf("the picture %q does not say %q", view, want)
			}
		}
		seen[view] = string(doc.GetContent())
	}
	if seen[""] != seen["braces"] {
		t.Error("without a view it is not the braces that are drawn")
	}
	if !strings.Contains(seen["unbraced"], "does not stand") || strings.Contains(seen["braces"], "does not stand") {
		t.Error("the pictures do not tell before from after bracing")
	}
	_, err := b.client.DrawStand(ctx, &sequencingv1.DrawStandRequest{Job: "job-1", Revision: "latest", Move: 1, View: "colours"})
	if f := wantFault(t, err, fault.InvalidArgument, "UNKNOWN_VIEW"); !strings.Contains(f.Message, "sway") {
		t.Errorf("%s: want the views named", f.Message)
	}
	_, err = b.client.DrawStand(ctx, &sequencingv1.DrawStandRequest{Job: "job-1", Revision: "latest", Move: 99})
	wantFault(t, err, fault.NotFound, "MOVE_NOT_FOUND")
}
