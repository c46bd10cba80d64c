package sitelog_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

const (
	noteKind  = sitelogv1.EntryKind_ENTRY_KIND_NOTE
	delayKind = sitelogv1.EntryKind_ENTRY_KIND_DELAY
	bentKind  = sitelogv1.EntryKind_ENTRY_KIND_BENT_RAISED
)

// TestListByTimeAndKind posts in an order that is not that of events: e0 … e9 happened at minutes 0 5 1 6 2 7 3 8 4 9, the
// odd ones are delays; two more share minute 9.
func TestListByTimeAndKind(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		start := s.clock.Now().Add(-time.Hour)
		minute := func(n int) *timestamppb.Timestamp { return timestamppb.New(start.Add(time.Duration(n) * time.Minute)) }
		for i := range 10 {
			e := s.note(fmt.Sprint("e", i))
			e.OccurTime = minute(i / 2)
			if i%2 == 1 {
				e.OccurTime = minute(5 + i/2)
				e.Kind, e.Cause, e.DelayMinutes = delayKind, sitelogv1.DelayCause_DELAY_CAUSE_CREW, 5
			}
			s.post(shed, e)
		}
		for _, id := range []string{"x1", "x2"} {
			e := s.note(id)
			e.OccurTime = minute(9)
			s.post(shed, e)
		}
		for _, c := range []struct {
			name string
			req  *sitelogv1.ListEntriesRequest
			want []string
		}{
			{"all", &sitelogv1.ListEntriesRequest{}, []string{"x2", "x1", "e9", "e7", "e5", "e3", "e1", "e8", "e6", "e4", "e2", "e0"}},
			{"delays", &sitelogv1.ListEntriesRequest{Kinds: []sitelogv1.EntryKind{delayKind}}, []string{"e9", "e7", "e5", "e3", "e1"}},
			{"two kinds, one named twice", &sitelogv1.ListEntriesRequest{Kinds: []sitelogv1.EntryKind{bentKind, delayKind, delayKind}}, []string{"e9", "e7", "e5", "e3", "e1"}},
			{"from minute 8 on", &sitelogv1.ListEntriesRequest{StartTime: minute(8)}, []string{"x2", "x1", "e9", "e7"}},
			{"before minute 2", &sitelogv1.ListEntriesRequest{EndTime: minute(2)}, []string{"e2", "e0"}},
			{"notes from 3 to 9", &sitelogv1.ListEntriesRequest{Kinds: []sitelogv1.EntryKind{noteKind}, StartTime: minute(3), EndTime: minute(9)}, []string{"e8", "e6"}},
			{"a kind that is not there", &sitelogv1.ListEntriesRequest{Kinds: []sitelogv1.EntryKind{bentKind}}, nil},
		} {
			for _, size := range []int32{0, 1, 2, 5, 500} {
				c.req.Job, c.req.PageSize, c.req.PageToken = shed, size, ""
				var got []string
				for {
					res, err := s.client.ListEntries(s.field(), c.req)
					if err != nil {
						t.Fatalf("%s: %v", c.name, err)
					}
					for _, e := range res.GetEntries() {
						got = append(got, e.GetId())
					}
					if c.req.PageToken = res.GetNextPageToken(); c.req.PageToken == "" {
						break
					}
				}
				if diff := cmp.Diff(c.want, got); diff != "" {
					t.Errorf("%s in pages of %d (-want +got):\n%s", c.name, size, diff)
				}
			}
		}
	})
}

func TestListRefusesBadInput(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		s.post(shed, s.note("a"), s.note("b"))
		s.post(bare, s.note("a"), s.note("b"))
		now := timestamppb.New(s.clock.Now())
		first, err := s.client.ListEntries(s.field(), &sitelogv1.ListEntriesRequest{Job: shed, PageSize: 1})
		if err != nil || first.GetNextPageToken() == "" {
			t.Fatalf("first page: %v, %v", first, err)
		}
		token := first.GetNextPageToken()
		for _, c := range []struct {
			name   string
			req    *sitelogv1.ListEntriesRequest
			field  string
			reason string
		}{
			{"no job", &sitelogv1.ListEntriesRequest{}, "job", fault.ReasonInvalid},
			{"a kind not said", &sitelogv1.ListEntriesRequest{Job: shed, Kinds: []sitelogv1.EntryKind{1, 0}}, "kinds[1]", fault.ReasonInvalid},
			{"a kind of tomorrow", &sitelogv1.ListEntriesRequest{Job: shed, Kinds: []sitelogv1.EntryKind{99}}, "kinds[0]", fault.ReasonInvalid},
			{"a time that is none", &sitelogv1.ListEntriesRequest{Job: shed, StartTime: &timestamppb.Timestamp{Nanos: -1}}, "start_time", fault.ReasonInvalid},
			{"another", &sitelogv1.ListEntriesRequest{Job: shed, EndTime: &timestamppb.Timestamp{Seconds: 1 << 60}}, "end_time", fault.ReasonInvalid},
			{"an end before the start", &sitelogv1.ListEntriesRequest{Job: shed, StartTime: now, EndTime: now}, "end_time", fault.ReasonInvalid},
			{"a negative page size", &sitelogv1.ListEntriesRequest{Job: shed, PageSize: -1}, "page_size", fault.ReasonInvalid},
			{"a token that is none", &sitelogv1.ListEntriesRequest{Job: shed, PageToken: "abc"}, "page_token", fault.ReasonPageToken},
			{"a token of another job", &sitelogv1.ListEntriesRequest{Job: bare, PageToken: token}, "page_token", fault.ReasonPageToken},
			{"a token of another filter", &sitelogv1.ListEntriesRequest{Job: shed, PageToken: token, Kinds: []sitelogv1.EntryKind{noteKind}}, "page_token", fault.ReasonPageToken},
			{"a token of other times", &sitelogv1.ListEntriesRequest{Job: shed, PageToken: token, EndTime: now}, "page_token", fault.ReasonPageToken},
		} {
			_, err := s.client.ListEntries(s.field(), c.req)
			wantFault(t, c.name, err, codes.InvalidArgument, c.reason)
			if f := fault.FromStatus(err); f != nil && (len(f.Fields) != 1 || f.Fields[0].Path != c.field) {
				t.Errorf("%s: fields %v, want %s", c.name, f.Fields, c.field)
			}
		}
	})
}
