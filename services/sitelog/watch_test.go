package sitelog_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

type stream = grpc.ServerStreamingClient[sitelogv1.WatchEntriesResponse]

// watch begins a watch and waits until it has begun.
func (s *site) watch(ctx context.Context, job string, after int32) stream {
	s.Helper()
	w, err := s.client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{Job: job, AfterPosition: after})
	if err != nil {
		s.Fatalf("watch: %v", err)
	}
	if _, err := w.Header(); err != nil {
		s.Fatalf("watch: %v", err)
	}
	return w
}

// next gives the ids of the next entries of a watch.
func (s *site) next(w stream, n int) (ids []string) {
	s.Helper()
	for range n {
		res, err := w.Recv()
		if err != nil {
			s.Fatalf("watch after %v: %v", ids, err)
		}
		ids = append(ids, res.GetEntry().GetId())
	}
	return ids
}

func TestWatch(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{poll: time.Hour}) // wakes by notice alone
		s.post(shed, s.note("a"), s.note("b"))
		ctx, cancel := context.WithCancel(s.field())
		fromStart, onlyNew, behindA, other := s.watch(ctx, shed, 0), s.watch(ctx, shed, -1), s.watch(ctx, shed, 1), s.watch(ctx, bare, 0)
		if diff := cmp.Diff([]string{"a", "b"}, s.next(fromStart, 2)); diff != "" {
			t.Errorf("from the start (-want +got):\n%s", diff)
		}
		s.post(shed, s.note("c"))
		s.post(bare, s.note("z"))
		for name, c := range map[string]struct {
			stream stream
			want   []string
		}{
			"from the start, going on": {fromStart, []string{"c"}}, "only new": {onlyNew, []string{"c"}},
			"behind a": {behindA, []string{"b", "c"}}, "another job": {other, []string{"z"}},
		} {
			if diff := cmp.Diff(c.want, s.next(c.stream, len(c.want))); diff != "" {
				t.Errorf("%s (-want +got):\n%s", name, diff)
			}
		}
		cancel()
		if _, err := fromStart.Recv(); err == nil {
			t.Error("a watch goes on after its caller left")
		}
		again := s.watch(s.field(), shed, 2)
		res, err := again.Recv()
		if err != nil {
			t.Fatal(err)
		}
		var want *sitelogv1.Entry
		for _, e := range s.all(s.field(), shed) {
			if e.GetId() == "c" {
				want = e
			}
		}
		if diff := cmp.Diff(want, res.GetEntry(), protocmp.Transform()); diff != "" {
			t.Errorf("watched and listed differ (-listed +watched):\n%s", diff)
		}
	})
}

// TestWatchSendsEachEntryOnce posts while a watch is open, more than is read at once, and wants all of it in order.
func TestWatchSendsEachEntryOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{poll: 20 * time.Millisecond})
		var first []*sitelogv1.Entry
		for i := range 500 {
			first = append(first, s.note(fmt.Sprint("first-", i)))
		}
		s.post(shed, first...)
		s.post(shed, s.note("second"))
		w := s.watch(s.field(), shed, 0)
		posted := make(chan error, 1)
		go func() {
			for i := range 100 {
				if _, err := s.tryPost(s.field(), shed, s.note(fmt.Sprint("late-", i)), s.note(fmt.Sprint("later-", i))); err != nil {
					posted <- err
					return
				}
			}
			posted <- nil
		}()
		for position := int32(1); position <= 701; position++ {
			res, err := w.Recv()
			if err != nil {
				t.Fatal(err)
			}
			if got := res.GetEntry().GetPosition(); got != position {
				t.Fatalf("position %d came, want %d", got, position)
			}
		}
		if err := <-posted; err != nil {
			t.Error(err)
		}
	})
}

func TestWatchRefuses(t *testing.T) {
	t.Parallel()
	s := openSite(t, storetest.SQLite(t), options{})
	for _, c := range []struct {
		name   string
		ctx    context.Context
		job    string
		after  int32
		code   codes.Code
		reason string
	}{
		{"a position before the start", s.field(), shed, -2, codes.InvalidArgument, fault.ReasonInvalid},
		{"no job", s.field(), "", 0, codes.InvalidArgument, fault.ReasonInvalid},
		{"an unknown job", s.field(), "job-none", 0, codes.NotFound, "JOB_NOT_FOUND"},
		{"another company's job", s.as(theirs, identity.Lead), shed, 0, codes.NotFound, "JOB_NOT_FOUND"},
		{"no credentials", context.Background(), shed, 0, codes.Unauthenticated, fault.ReasonNoCredentials},
	} {
		w, err := s.client.WatchEntries(c.ctx, &sitelogv1.WatchEntriesRequest{Job: c.job, AfterPosition: c.after})
		if err == nil {
			_, err = w.Recv()
		}
		wantFault(t, c.name, err, c.code, c.reason)
	}
}

// TestWatchEndsWithAHint ends a watch with its token, by stopping the server, and by closing the service.
func TestWatchEndsWithAHint(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		age    time.Duration // of the token when the watch begins
		end    func(*site)
		reason string
	}{
		"the token ends":     {identity.TokenLife - 100*time.Millisecond, func(*site) {}, fault.ReasonReconnect},
		"server stopping":    {0, func(s *site) { go func() { _ = s.server.Stop(context.Background()) }() }, fault.ReasonStopping},
		"the service closed": {0, func(s *site) { _ = s.service.Close() }, fault.ReasonStopping},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := openSite(t, storetest.SQLite(t), options{poll: time.Hour})
			ctx := s.field()
			s.clock.pass(c.age)
			w := s.watch(ctx, shed, 0)
			c.end(s)
			_, err := w.Recv()
			wantFault(t, name, err, codes.Unavailable, c.reason)
			if f := fault.FromStatus(err); f != nil && f.RetryAfter <= 0 {
				t.Errorf("no hint when to connect again: %v", err)
			}
		})
	}
}
