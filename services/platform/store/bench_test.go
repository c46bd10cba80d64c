package store_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// Writes of one row of about 1 KB, each acknowledged only when its commit is synced. Many
// callers share commits.
func BenchmarkWrite(b *testing.B) {
	for name, url := range map[string]func(testing.TB) string{"sqlite": storetest.SQLite, "postgres": storetest.Postgres} {
		for _, callers := range []int{1, 64} {
			b.Run(fmt.Sprintf("%s/callers=%d", name, callers), func(b *testing.B) {
				db := storetest.Open(b, store.Config{URL: url(b), Schema: "bench"})
				if err := db.Migrate(b.Context(), storetest.Migrations()); err != nil {
					b.Fatal(err)
				}
				body := make([]byte, 1000)
				var next atomic.Int64
				b.ReportAllocs()
				b.ResetTimer()
				var wait sync.WaitGroup
				for range callers {
					wait.Go(func() {
						for n := next.Add(1); n <= int64(b.N); n = next.Add(1) {
							err := db.Write(b.Context(), func(ctx context.Context, tx *store.Tx) error {
								_, err := tx.Exec(ctx, "INSERT INTO thing (name, body) VALUES (?, ?)", fmt.Sprintf("n%09d", n), body)
								return err
							})
							if err != nil {
								b.Error(err)
								return
							}
						}
					})
				}
				wait.Wait()
				b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "writes/s")
			})
		}
	}
}

func BenchmarkRead(b *testing.B) {
	for name, url := range map[string]func(testing.TB) string{"sqlite": storetest.SQLite, "postgres": storetest.Postgres} {
		b.Run(name, func(b *testing.B) {
			db := storetest.Open(b, store.Config{URL: url(b), Schema: "bench"})
			if err := db.Migrate(b.Context(), storetest.Migrations()); err != nil {
				b.Fatal(err)
			}
			if err := db.Write(b.Context(), insert("beam")); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				err := db.Read(b.Context(), func(ctx context.Context, tx *store.Tx) error {
					var n int64
					return tx.QueryRow(ctx, "SELECT count FROM thing WHERE name = ?", "beam").Scan(&n)
				})
				if err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
