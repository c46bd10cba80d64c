package sitelog_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

const (
	accepted = sitelogv1.OutcomeKind_OUTCOME_KIND_ACCEPTED
	repeated = sitelogv1.OutcomeKind_OUTCOME_KIND_REPEATED
	refused  = sitelogv1.OutcomeKind_OUTCOME_KIND_REFUSED
)

func TestEveryFieldComesBack(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		occurred := s.clock.Now().Add(-90*time.Minute + 123456*time.Microsecond)
		sent := []*sitelogv1.Entry{
			{
				Id: "e-1", Kind: sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, OccurTime: timestamppb.New(occurred.Add(789)),
				Marks: []string{"P1", "Ø 3/4 \"x\"", "T1"}, Assembly: "bent-1", Move: 3, Revision: 2, Note: "Two lines\nof «words» 🪵.",
				Author: "someone-else", Position: 77, AcceptTime: timestamppb.New(occurred),
			},
			{
				Id: "e-2", Kind: sitelogv1.EntryKind_ENTRY_KIND_DELAY, OccurTime: timestamppb.New(occurred), Cause: sitelogv1.DelayCause_DELAY_CAUSE_FIT,
				DelayMinutes: 45,
			},
			{Id: "e-3", Kind: sitelogv1.EntryKind_ENTRY_KIND_CORRECTION, OccurTime: timestamppb.New(occurred), Corrects: "e-1"},
		}
		s.post(shed, sent...)
		got := s.all(s.field(), shed)
		slices.SortFunc(got, func(a, b *sitelogv1.Entry) int { return int(a.GetPosition() - b.GetPosition()) })
		for i, e := range sent {
			e.Author, e.Position, e.AcceptTime = "person-1", int32(i+1), timestamppb.New(s.clock.Now())
		}
		sent[0].OccurTime = timestamppb.New(occurred) // kept to the microsecond
		if diff := cmp.Diff(sent, got, protocmp.Transform()); diff != "" {
			t.Errorf("(-sent +got):\n%s", diff)
		}
	})
}

func TestEveryEntryHasItsOutcome(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		s.post(shed, s.note("old"))
		other := s.note("old")
		other.Note = "Deck not swept."
		future := s.note("future")
		future.OccurTime = timestamppb.New(s.clock.Now().Add(6 * time.Minute))
		zero := s.note("zero")
		zero.Note = "a\x00b"
		timeless := s.note("timeless")
		timeless.OccurTime = nil
		broken := s.note("broken")
		broken.OccurTime = &timestamppb.Timestamp{Seconds: 1 << 60}
		res, err := s.tryPost(s.field(), shed,
			s.note("a"), other, s.note("b"), s.note("old"), future, &sitelogv1.Entry{}, zero, timeless, broken, s.note("a"), s.note("c"),
			&sitelogv1.Entry{Id: "fix", Kind: sitelogv1.EntryKind_ENTRY_KIND_CORRECTION, OccurTime: timestamppb.New(s.clock.Now()), Corrects: "c"},
		)
		if err != nil {
			t.Fatal(err)
		}
		want := []*sitelogv1.Outcome{
			{Id: "a", Kind: accepted, Position: 2},
			{Id: "old", Kind: refused, Field: "id"},
			{Id: "b", Kind: accepted, Position: 3},
			{Id: "old", Kind: repeated, Position: 1},
			{Id: "future", Kind: refused, Field: "occur_time"},
			{Kind: refused, Field: "id"},
			{Id: "zero", Kind: refused, Field: "note"},
			{Id: "timeless", Kind: refused, Field: "occur_time"},
			{Id: "broken", Kind: refused, Field: "occur_time"},
			{Id: "a", Kind: repeated, Position: 2},
			{Id: "c", Kind: accepted, Position: 4},
			{Id: "fix", Kind: accepted, Position: 5},
		}
		ignore := protocmp.IgnoreFields(&sitelogv1.Outcome{}, "message")
		if diff := cmp.Diff(want, res.GetOutcomes(), protocmp.Transform(), ignore); diff != "" {
			t.Errorf("outcomes (-want +got):\n%s", diff)
		}
		for _, o := range res.GetOutcomes() {
			if (o.GetKind() == refused) != (o.GetMessage() != "") {
				t.Errorf("%v: a message goes with a refusal and only with one", o)
			}
		}
		if got := s.all(s.field(), shed); len(got) != 5 {
			t.Errorf("the log has %d entries, want 5", len(got))
		}
	})
}

func TestBatchesOutOfBounds(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		_, err := s.tryPost(s.field(), shed)
		wantFault(t, "an empty batch", err, codes.InvalidArgument, fault.ReasonInvalid)
		var many []*sitelogv1.Entry
		for i := range 501 {
			many = append(many, s.note(fmt.Sprint("n", i)))
		}
		_, err = s.tryPost(s.field(), shed, many...)
		wantFault(t, "501 entries", err, codes.InvalidArgument, fault.ReasonInvalid)
		if got := s.all(s.field(), shed); len(got) != 0 {
			t.Errorf("the log has %d entries, want none", len(got))
		}
		s.post(shed, many[:500]...)
		if got := s.all(s.field(), shed); len(got) != 500 {
			t.Errorf("the log has %d entries, want 500", len(got))
		}
		for name, job := range map[string]string{"an unknown job": "job-none", "an id with a slash": "a/b", "a zero byte": "job\x00", "a long id": strings.Repeat("j", 65), "an endless id": strings.Repeat("j", 1<<20)} {
			_, err := s.tryPost(s.field(), job, s.note("x"))
			wantFault(t, name, err, codes.NotFound, "JOB_NOT_FOUND")
		}
		_, err = s.tryPost(s.field(), "", s.note("x"))
		wantFault(t, "no job", err, codes.InvalidArgument, fault.ReasonInvalid)
	})
}

// TestManyPostAtOnce posts the same entries from several hands in different batches: each is accepted once, and positions
// have no gaps.
func TestManyPostAtOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		const hands, entries = 6, 60
		var took atomic.Int32
		var all sync.WaitGroup
		for hand := range hands {
			all.Go(func() {
				for at := 0; at < entries; {
					n := min(1+(at+hand)%7, entries-at)
					var batch []*sitelogv1.Entry
					for i := at; i < at+n; i++ {
						batch = append(batch, s.note(fmt.Sprint("e", i)))
					}
					res, err := s.tryPost(s.field(), shed, batch...)
					if err != nil {
						t.Errorf("post: %v", err)
						return
					}
					for _, o := range res.GetOutcomes() {
						if o.GetKind() == accepted {
							took.Add(1)
						}
						if o.GetKind() == refused || o.GetPosition() == 0 {
							t.Errorf("outcome: %v", o)
						}
					}
					at += n
				}
			})
		}
		all.Wait()
		if n := took.Load(); n != entries {
			t.Errorf("%d entries were accepted, want %d", n, entries)
		}
		positions := map[int32]bool{}
		for _, e := range s.all(s.field(), shed) {
			positions[e.GetPosition()] = true
		}
		for p := int32(1); p <= entries; p++ {
			if !positions[p] {
				t.Errorf("nothing stands at position %d", p)
			}
		}
	})
}

// TestAFailingStoreAcknowledgesNothing breaks the store under a post, repeats the post, and finds each entry once.
func TestAFailingStoreAcknowledgesNothing(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		var broken atomic.Bool
		s := openSite(t, url, options{before: func(op string) error {
			if op == "write" && broken.Load() {
				return errors.New("the disk is full")
			}
			return nil
		}})
		broken.Store(true)
		if _, err := s.tryPost(s.field(), shed, s.note("a"), s.note("b")); err == nil {
			t.Error("a post to a broken store is acknowledged")
		}
		broken.Store(false)
		s.post(shed, s.note("a"), s.note("b"))
		if got := s.all(s.field(), shed); len(got) != 2 {
			t.Errorf("the log has %d entries, want 2", len(got))
		}
	})
}

// TestTheFeedTellsOfEachBatch reads the company's feed: one event for what a batch added, none for what it only repeated.
func TestTheFeedTellsOfEachBatch(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		s.post(shed, s.note("a"), s.note("b"))
		if _, err := s.tryPost(s.field(), shed, s.note("a")); err != nil {
			t.Fatal(err)
		}
		s.post(bare, s.note("a"))
		var events []outbox.Event
		err := s.db.Read(context.Background(), func(ctx context.Context, tx *store.Tx) (err error) {
			events, err = outbox.After(ctx, tx, ours, 0, 10)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, e := range events {
			var res sitelogv1.PostEntriesResponse
			if err := proto.Unmarshal(e.Payload, &res); err != nil {
				t.Fatal(err)
			}
			got = append(got, fmt.Sprint(e.Position, e.Kind, e.Job, e.Subject, len(res.GetOutcomes())))
		}
		want := []string{fmt.Sprint(int64(1), "entries.accepted", shed, "1-2", 2), fmt.Sprint(int64(2), "entries.accepted", bare, "1-1", 1)}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("feed (-want +got):\n%s", diff)
		}
	})
}

// TestTheJobIsAskedOnceAMinute also shows that a job that is not there is asked for again, since it may come.
func TestTheJobIsAskedOnceAMinute(t *testing.T) {
	t.Parallel()
	s := openSite(t, storetest.SQLite(t), options{})
	s.post(shed, s.note("a"))
	s.post(shed, s.note("b"))
	if n := s.neighbours.asked(); n != 1 {
		t.Errorf("asked %d times, want once", n)
	}
	s.clock.pass(time.Minute)
	s.post(shed, s.note("c"))
	if n := s.neighbours.asked(); n != 2 {
		t.Errorf("asked %d times after a minute, want twice", n)
	}
	if _, err := s.tryPost(s.as(theirs, identity.Field), shed, s.note("d")); err == nil {
		t.Error("what one company may see lets another in")
	}
	s.neighbours.setAway(fault.New(fault.Unavailable, fault.ReasonUpstream, "Away."))
	s.post(shed, s.note("e"))
	_, err := s.tryPost(s.field(), bare, s.note("a"))
	wantFault(t, "a job that cannot be asked for", err, codes.Unavailable, fault.ReasonUpstream)
}
