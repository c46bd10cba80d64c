package sequencing_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/sequencing"
)

func raisingRequest() *sequencingv1.GetRaisingRequest {
	return &sequencingv1.GetRaisingRequest{Job: "job-1", Revision: "latest"}
}

func TestRaising(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		f := cabin(t)
		b.hold(f)
		got, err := b.client.GetRaising(b.as(identity.Viewer), raisingRequest())
		if err != nil {
			t.Fatal(err)
		}
		from := got.GetComputedFrom()
		if from.GetJob() != "job-1" || from.GetRevision() != 1 || from.GetDigest() != f.Digest() || from.GetLatestRevision() != 1 || from.GetEngine() == "" {
			t.Errorf("computed from %v", from)
		}
		if !strings.Contains(got.GetStandNote(), "not checked for standing") {
			t.Errorf("stand note %q", got.GetStandNote())
		}
		seen := map[string]int32{}
		sum := 0.0
		for i, m := range got.GetMoves() {
			if m.GetNumber() != int32(i+1) || m.GetInstruction() == "" || m.GetMachine() == 0 || m.GetClosing() == 0 || m.GetMassKg() <= 0 {
				t.Errorf("move %d is not whole: %v", i+1, m)
			}
			for _, mark := range m.GetMarks() {
				seen[mark] = m.GetNumber()
			}
			for _, a := range m.GetAfter() {
				if a.GetMove() >= m.GetNumber() || len(a.GetJoints()) == 0 || a.GetReason() == "" {
					t.Errorf("move %d follows %v", m.GetNumber(), a)
				}
			}
			for _, br := range m.GetBraces() {
				if !strings.Contains(br.GetRule(), "not checked for standing") || br.GetFoot().GetZMm() != 0 {
					t.Errorf("move %d: brace %v", m.GetNumber(), br)
				}
			}
			sum += m.GetMinutes()
		}
		if len(seen) != len(f.Timbers()) {
			t.Errorf("%d sticks are raised, the frame has %d", len(seen), len(f.Timbers()))
		}
		const setUp = 60.0 // of the defaults
		if total := (sum + setUp) / 60; total-got.GetTotalHours() > 1e-9 || got.GetTotalHours()-total > 1e-9 {
			t.Errorf("total %g h, want %g h", got.GetTotalHours(), total)
		}
		if got.GetCraneHours() <= setUp/60 || got.GetCraneHours() > got.GetTotalHours() {
			t.Errorf("crane %g h of %g h", got.GetCraneHours(), got.GetTotalHours())
		}
		for _, c := range slices.Concat(got.GetCautions(), []string{got.GetStandNote()}) {
			if words := " " + strings.ToLower(c) + " "; strings.Contains(words, " safe ") {
				t.Errorf("%q calls something safe", c)
			}
		}
		for _, basis := range got.GetBasis() {
			if basis.GetStatus() == sheetv1.SourceStatus_SOURCE_STATUS_UNSPECIFIED || basis.GetFormula() == "" || basis.GetSource() == "" {
				t.Errorf("basis %v", basis)
			}
		}
	})
}

// A change of the rates or of the job's crane changes the answer; asking again does not compute again.
func TestRaisingFollowsRatesAndJob(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Lead)
	first, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	same, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, same, protocmp.Transform()); diff != "" {
		t.Errorf("the same question, another answer:\n%s", diff)
	}
	if _, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: rates()}); err != nil {
		t.Fatal(err)
	}
	telehandler, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	if m := telehandler.GetMoves()[0]; m.GetMachine() != sequencingv1.Machine_MACHINE_TELEHANDLER || telehandler.GetCraneHours() != 0 {
		t.Errorf("with a telehandler of 1,500 kg: %v, %g crane hours", m.GetMachine(), telehandler.GetCraneHours())
	}
	weak := rates()
	weak.TelehandlerKg = 0
	if _, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: weak}); err != nil {
		t.Fatal(err)
	}
	without := job()
	without.Crane = ""
	b.frames.PutJob(ours, without)
	demand, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	if m := demand.GetMoves()[0]; m.GetMachine() != sequencingv1.Machine_MACHINE_CRANE || !strings.Contains(m.GetInstruction(), "no crane is planned for this job yet") {
		t.Errorf("without a crane: %v, %s", m.GetMachine(), m.GetInstruction())
	}
}

func TestLockedFrame(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(dowelled(t))
	for name, call := range map[string]func() error{
		"get": func() error {
			_, err := b.client.GetRaising(b.as(identity.Lead), raisingRequest())
			return err
		},
		"draw": func() error {
			_, err := b.client.DrawMove(b.as(identity.Lead), &sequencingv1.DrawMoveRequest{Job: "job-1", Revision: "1", Move: 1})
			return err
		},
	} {
		f := wantFault(t, call(), fault.Precondition, "FRAME_LOCKED")
		joints := strings.Split(f.Metadata["joints"], ",")
		if len(joints) < 3 || !slices.ContainsFunc(joints, func(j string) bool { return strings.HasSuffix(j, ".base") }) {
			t.Errorf("%s: joints %v, want tenons and bases", name, joints)
		}
		if f.Metadata["pieces"] == "" || !strings.Contains(f.Message, joints[0]) {
			t.Errorf("%s: pieces %q, message %q", name, f.Metadata["pieces"], f.Message)
		}
	}
}

func TestRenderRaising(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Field)
	r, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	doc, err := b.client.RenderRaising(ctx, &sequencingv1.RenderRaisingRequest{Job: "job-1", Revision: "latest", Format: "csv"})
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(doc.GetContent())).ReadAll()
	if err != nil || len(rows) != len(r.GetMoves())+1 {
		t.Fatalf("%d rows, %v, want a head and %d moves", len(rows), err, len(r.GetMoves()))
	}
	if doc.GetMediaType() != "text/csv; charset=utf-8" || doc.GetFilename() != "raising-job-1-r1.csv" || rows[1][0] != "1" {
		t.Errorf("%s %s, first row %v", doc.GetMediaType(), doc.GetFilename(), rows[1])
	}
	page, err := b.client.RenderRaising(ctx, &sequencingv1.RenderRaisingRequest{Job: "job-1", Revision: "1", Format: "html"})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"not checked for standing", "Temporary braces", "What must come before", "How the numbers came about", "bent-2"} {
		if !strings.Contains(string(page.GetContent()), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	_, err = b.client.RenderRaising(ctx, &sequencingv1.RenderRaisingRequest{Job: "job-1", Revision: "1", Format: "pdf"})
	wantFault(t, err, fault.InvalidArgument, "UNKNOWN_FORMAT")
}

func TestDrawMove(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	ctx := b.as(identity.Shop)
	r, err := b.client.GetRaising(ctx, raisingRequest())
	if err != nil {
		t.Fatal(err)
	}
	draw := func(n int32) (*sheetv1.Document, error) {
		return b.client.DrawMove(ctx, &sequencingv1.DrawMoveRequest{Job: "job-1", Revision: "latest", Move: n})
	}
	last := int32(len(r.GetMoves()))
	for _, n := range []int32{1, 4, last} {
		doc, err := draw(n)
		if err != nil {
			t.Fatal(err)
		}
		if doc.GetMediaType() != "image/svg+xml" {
			t.Errorf("move %d: %s", n, doc.GetMediaType())
		}
		svg := xml.NewDecoder(bytes.NewReader(doc.GetContent()))
		for {
			if _, err := svg.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("move %d: %v", n, err)
			}
		}
		for _, want := range []string{"Trial cabin", "not checked for standing", r.GetMoves()[n-1].GetMarks()[0]} {
			if !strings.Contains(string(doc.GetContent()), want) {
				t.Errorf("the picture of move %d does not say %q", n, want)
			}
		}
	}
	for _, n := range []int32{0, -1, last + 1} {
		_, err := draw(n)
		wantFault(t, err, fault.NotFound, "MOVE_NOT_FOUND")
	}
}

func TestManyAskAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	var wait sync.WaitGroup
	for i := range 16 {
		ctx := b.as(identity.Lead)
		wait.Go(func() {
			var err error
			if i%2 == 0 {
				_, err = b.client.GetRaising(ctx, raisingRequest())
			} else {
				_, err = b.client.DrawMove(ctx, &sequencingv1.DrawMoveRequest{Job: "job-1", Revision: "latest", Move: 3})
			}
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
}

// calls makes each RPC with a request that is right for the cabin of our company.
func (b bench) calls() map[string]func(context.Context) error {
	return map[string]func(context.Context) error{
		sequencingv1.SequencingService_GetWork_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetWork(ctx, &sequencingv1.GetWorkRequest{})
			return err
		},
		sequencingv1.SequencingService_PutWork_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.PutWork(ctx, &sequencingv1.PutWorkRequest{Work: rates()})
			return err
		},
		sequencingv1.SequencingService_GetRaising_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetRaising(ctx, raisingRequest())
			return err
		},
		sequencingv1.SequencingService_RenderRaising_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.RenderRaising(ctx, &sequencingv1.RenderRaisingRequest{Job: "job-1", Revision: "1", Format: "csv"})
			return err
		},
		sequencingv1.SequencingService_DrawMove_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.DrawMove(ctx, &sequencingv1.DrawMoveRequest{Job: "job-1", Revision: "1", Move: 1})
			return err
		},
		sequencingv1.SequencingService_GetStandRules_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetStandRules(ctx, &sequencingv1.GetStandRulesRequest{})
			return err
		},
		sequencingv1.SequencingService_PutStandRules_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.PutStandRules(ctx, &sequencingv1.PutStandRulesRequest{Rules: standRules()})
			return err
		},
		sequencingv1.SequencingService_GetBraceStock_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetBraceStock(ctx, &sequencingv1.GetBraceStockRequest{})
			return err
		},
		sequencingv1.SequencingService_PutBraceStock_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.PutBraceStock(ctx, &sequencingv1.PutBraceStockRequest{Stock: braceStock()})
			return err
		},
		sequencingv1.SequencingService_CheckStand_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.CheckStand(ctx, firstBent())
			return err
		},
		sequencingv1.SequencingService_CheckRaising_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.CheckRaising(ctx, &sequencingv1.CheckRaisingRequest{Job: "job-1", Revision: "1", WithoutBraces: true})
			return err
		},
		sequencingv1.SequencingService_GetStanding_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: "job-1", Revision: "1"})
			return err
		},
		sequencingv1.SequencingService_RenderStanding_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.RenderStanding(ctx, &sequencingv1.RenderStandingRequest{Job: "job-1", Revision: "1", Format: "csv"})
			return err
		},
		sequencingv1.SequencingService_RenderBraces_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.RenderBraces(ctx, &sequencingv1.RenderBracesRequest{Job: "job-1", Revision: "1", Move: 1, Format: "csv"})
			return err
		},
		sequencingv1.SequencingService_DrawStand_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.DrawStand(ctx, &sequencingv1.DrawStandRequest{Job: "job-1", Revision: "1", Move: 1})
			return err
		},
		sequencingv1.SequencingService_MakeSafe_FullMethodName: func(ctx context.Context) error {
			_, err := b.makeSafe(ctx, &sequencingv1.MakeSafeRequest{Job: "job-1", Revision: "1", Standing: []string{"bent-1"}})
			return err
		},
		sequencingv1.SequencingService_CheckLift_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.CheckLift(ctx, &sequencingv1.CheckLiftRequest{Job: "job-1", Revision: "1", Assembly: "bent-1"})
			return err
		},
	}
}

func TestWhoMayCallWhat(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.holdHut()
	b.kit.CheckPolicy(b.service.Policy(), b.calls())
}

// With another company's credentials our job is not there, for every RPC that names one; rates, rules and stock are its own.
func TestAnotherCompanysJob(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		b.holdHut()
		if _, err := b.client.GetRaising(b.as(identity.Lead), raisingRequest()); err != nil {
			t.Fatal(err)
		}
		before := b.book(t)
		for method, call := range b.calls() {
			err := call(b.kit.As(theirs, identity.Admin))
			switch method {
			case sequencingv1.SequencingService_GetWork_FullMethodName, sequencingv1.SequencingService_PutWork_FullMethodName,
				sequencingv1.SequencingService_GetStandRules_FullMethodName, sequencingv1.SequencingService_PutStandRules_FullMethodName,
				sequencingv1.SequencingService_GetBraceStock_FullMethodName, sequencingv1.SequencingService_PutBraceStock_FullMethodName:
				if err != nil {
					t.Errorf("%s: %v", method, err)
				}
			default:
				wantFault(t, err, fault.NotFound, "JOB_NOT_FOUND")
			}
		}
		if diff := cmp.Diff(before, b.book(t), protocmp.Transform()); diff != "" {
			t.Errorf("another company changed our book:\n%s", diff)
		}
	})
}

// book is what our company keeps.
func (b bench) book(t *testing.T) []proto.Message {
	t.Helper()
	ctx := b.as(identity.Lead)
	work, err := b.client.GetWork(ctx, &sequencingv1.GetWorkRequest{})
	if err != nil {
		t.Fatal(err)
	}
	rules, err := b.client.GetStandRules(ctx, &sequencingv1.GetStandRulesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	stock, err := b.client.GetBraceStock(ctx, &sequencingv1.GetBraceStockRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return []proto.Message{work, rules, stock}
}

func TestUnknownRevision(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.hold(cabin(t))
	_, err := b.client.GetRaising(b.as(identity.Lead), &sequencingv1.GetRaisingRequest{Job: "job-1", Revision: "7"})
	wantFault(t, err, fault.NotFound, "REVISION_NOT_FOUND")
}

func TestNewAsksForWhatItNeeds(t *testing.T) {
	t.Parallel()
	if _, err := sequencing.New(sequencing.Config{Pool: compute.NewPool(1, 1, nil)}); err == nil {
		t.Error("a service without a store and frames was built")
	}
}
