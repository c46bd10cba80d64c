package sitelog_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/build"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// TestProgress counts one morning by hand: everything but G2 came, bent 1 stands, bent 2 is together, T2 was split and G2
// is missing; a wrong report that bent 2 stands was taken back; half an hour was lost to rain, a quarter to fit.
func TestProgress(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		at := func(e *sitelogv1.Entry, id string, minute int) *sitelogv1.Entry {
			e.Id, e.OccurTime = id, timestamppb.New(s.clock.Now().Add(time.Duration(minute-120)*time.Minute))
			return e
		}
		pieces := func(kind sitelogv1.EntryKind, marks ...string) *sitelogv1.Entry {
			return &sitelogv1.Entry{Kind: kind, Marks: marks}
		}
		delay := func(cause sitelogv1.DelayCause, minutes int32) *sitelogv1.Entry {
			return &sitelogv1.Entry{Kind: delayKind, Cause: cause, DelayMinutes: minutes}
		}
		s.post(shed,
			at(pieces(sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, "P1", "P2", "T1", "P3", "P4", "T2", "R1", "G1", "X7"), "truck", 0),
			at(pieces(sitelogv1.EntryKind_ENTRY_KIND_PIECES_MISSING, "G2"), "short", 1),
			at(pieces(sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, "T2"), "split", 2),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_BENT_ASSEMBLED, Assembly: "bent-1"}, "flat-1", 20),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_BENT_ASSEMBLED, Assembly: "bent-2"}, "flat-2", 40),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_MOVE_STARTED, Move: 1, Revision: 2}, "up", 50),
			at(&sitelogv1.Entry{Kind: bentKind, Assembly: "bent-1"}, "stands", 60),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, Move: 1, Revision: 2}, "done", 61),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, Move: 2, Revision: 1}, "old-plan", 62),
			at(&sitelogv1.Entry{Kind: bentKind, Assembly: "bent-2"}, "wrong", 63),
			at(delay(sitelogv1.DelayCause_DELAY_CAUSE_FIT, 15), "tight", 64),
			at(delay(sitelogv1.DelayCause_DELAY_CAUSE_WEATHER, 30), "rain", 65),
			at(&sitelogv1.Entry{Kind: sitelogv1.EntryKind_ENTRY_KIND_CORRECTION, Corrects: "wrong"}, "sorry", 66),
		)
		got, err := s.client.GetProgress(s.field(), &sitelogv1.GetProgressRequest{Job: shed})
		if err != nil {
			t.Fatal(err)
		}
		want := &sitelogv1.Progress{
			ComputedFrom: &sheetv1.ComputedFrom{Job: shed, Revision: 2, Digest: "d2", Engine: build.Version, LatestRevision: 2},
			PieceCount:   9, ArrivedCount: 8, PlacedCount: 3, Damaged: []string{"T2"}, Missing: []string{"G2"},
			BentCount: 2, AssembledCount: 2, RaisedCount: 1, MoveCount: 5, MovesDoneCount: 1, NextMove: 2,
			Delays: []*sitelogv1.Delay{
				{Cause: sitelogv1.DelayCause_DELAY_CAUSE_WEATHER, Hours: 0.5}, {Cause: sitelogv1.DelayCause_DELAY_CAUSE_FIT, Hours: 0.25},
			},
			EntryCount: 13, NewestOccurTime: timestamppb.New(s.clock.Now().Add(-54 * time.Minute)),
		}
		if diff := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(&sitelogv1.Progress{}, "remarks")); diff != "" {
			t.Errorf("progress (-want +got):\n%s", diff)
		}
		if r := strings.Join(got.GetRemarks(), "\n"); len(got.GetRemarks()) != 2 || !strings.Contains(r, "X7") || !strings.Contains(r, "1 entry of moves of older revisions") {
			t.Errorf("remarks: %q", got.GetRemarks())
		}
	})
}

func TestProgressWithoutAPlan(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		progress := func(job string) *sitelogv1.Progress {
			t.Helper()
			p, err := s.client.GetProgress(s.field(), &sitelogv1.GetProgressRequest{Job: job})
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		if diff := cmp.Diff(&sitelogv1.Progress{}, progress(bare), protocmp.Transform()); diff != "" {
			t.Errorf("no frame and no entries (-want +got):\n%s", diff)
		}
		arrived := s.note("a")
		arrived.Kind, arrived.Marks = sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, []string{"P1"}
		s.post(bare, arrived)
		if p := progress(bare); p.GetComputedFrom() != nil || p.GetArrivedCount() != 0 || p.GetEntryCount() != 1 || len(p.GetRemarks()) != 1 {
			t.Errorf("no frame: %v", p)
		}
		s.post(locked, arrived)
		p := progress(locked)
		if p.GetPieceCount() != 9 || p.GetArrivedCount() != 1 || p.GetMoveCount() != 0 || p.GetNextMove() != 0 {
			t.Errorf("a locked frame: %v", p)
		}
		if r := p.GetRemarks(); len(r) != 1 || !strings.Contains(r[0], "Joints J1 and J2 lock one another.") {
			t.Errorf("a locked frame: remarks %q", r)
		}
		s.neighbours.setAway(fault.New(fault.Unavailable, fault.ReasonUpstream, "Away."))
		_, err := s.client.GetProgress(s.field(), &sitelogv1.GetProgressRequest{Job: shed})
		wantFault(t, "with the frames service away", err, codes.Unavailable, fault.ReasonUpstream)
	})
}
