package sitelog_test

import (
	"fmt"
	"testing"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// BenchmarkPostEntries posts to SQLite through client, chain and memory pipe; every call ends with a commit that is synced.
func BenchmarkPostEntries(b *testing.B) {
	for _, size := range []int{1, 100} {
		b.Run(fmt.Sprintf("entries=%d", size), func(b *testing.B) {
			s := openSite(b, storetest.SQLite(b), options{})
			ctx := s.field()
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				batch := make([]*sitelogv1.Entry, size)
				for i := range batch {
					batch[i] = s.note(fmt.Sprint("e", n))
					n++
				}
				if _, err := s.tryPost(ctx, shed, batch...); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "entries/s")
		})
	}
}

// BenchmarkPostEntriesInParallel shows how callers that wait at the same time share commits.
func BenchmarkPostEntriesInParallel(b *testing.B) {
	s := openSite(b, storetest.SQLite(b), options{})
	ctx := s.field()
	ids := make(chan int, 1)
	ids <- 0
	b.SetParallelism(8)
	b.ReportAllocs()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			n := <-ids
			ids <- n + 1
			if _, err := s.tryPost(ctx, shed, s.note(fmt.Sprint("e", n))); err != nil {
				b.Error(err)
				return
			}
		}
	})
	b.ReportMetric(float64(<-ids)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkGetProgress folds a log of 5,000 entries on each call.
func BenchmarkGetProgress(b *testing.B) {
	s := openSite(b, storetest.SQLite(b), options{})
	for n := 0; n < 5000; n += 500 {
		batch := make([]*sitelogv1.Entry, 500)
		for i := range batch {
			batch[i] = s.note(fmt.Sprint("e", n+i))
			batch[i].Kind, batch[i].Marks = sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, []string{"P1", "P2", "T1"}
		}
		s.post(shed, batch...)
	}
	ctx := s.field()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.client.GetProgress(ctx, &sitelogv1.GetProgressRequest{Job: shed}); err != nil {
			b.Fatal(err)
		}
	}
}
