package storetest

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"testing"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store"
)

func testWriteRead(t *testing.T, b *bench) {
	b.put(t, "beam", 3)
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var n int64
		if err := tx.QueryRow(ctx, "SELECT count FROM thing WHERE name = ?", "beam").Scan(&n); err != nil {
			return err
		}
		if n != 3 {
			t.Errorf("count is %d, want 3", n)
		}
		expectError(t, tx.QueryRow(ctx, "SELECT count FROM thing WHERE name = ?", "none").Scan(&n), store.ErrNoRows)
		if !tx.Now().Equal(clock) {
			t.Errorf("Now is %v, want the store's clock", tx.Now())
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	var changed int64
	err = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var err error
		changed, err = tx.Exec(ctx, "UPDATE thing SET count = count + 1")
		return err
	})
	if err != nil || changed != 1 {
		t.Errorf("update changed %d rows with error %v, want 1 row", changed, err)
	}
}

func testFailing(t *testing.T, b *bench) {
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return errors.Join(insert("beam", 1)(ctx, tx), errTest)
	})
	expectError(t, err, errTest)
	b.expect(t, "")
}

func testPoisoned(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		if err := insert("post", 1)(ctx, tx); err != nil {
			return err
		}
		expectKind(t, insert("beam", 1)(ctx, tx), store.Unique)
		expectKind(t, insert("girt", 1)(ctx, tx), store.Unique) // the first error stays
		return nil
	})
	expectKind(t, err, store.Unique)
	b.expect(t, "beam")
}

func testPanic(t *testing.T, b *bench) {
	func() {
		defer func() {
			if got := recover(); got != "ouch" {
				t.Errorf("recovered %v, want the function's panic", got)
			}
		}()
		_ = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			if err := insert("lost", 1)(ctx, tx); err != nil {
				t.Error(err)
			}
			panic("ouch")
		})
	}()
	func() {
		defer func() { _ = recover() }()
		_ = b.Read(t.Context(), func(context.Context, *store.Tx) error { panic("ouch") })
	}()
	b.put(t, "beam", 1)
	b.expect(t, "beam")
}

func testGoexit(t *testing.T, b *bench) {
	var done sync.WaitGroup
	done.Go(func() {
		_ = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_ = insert("lost", 1)(ctx, tx)
			runtime.Goexit()
			return nil
		})
	})
	done.Wait()
	b.put(t, "beam", 1)
	b.expect(t, "beam")
}

func testNested(t *testing.T, b *bench) {
	err := b.Write(t.Context(), func(ctx context.Context, _ *store.Tx) error {
		return b.Write(ctx, insert("beam", 1))
	})
	if err == nil {
		t.Error("a Write inside a Write was not refused")
	}
	b.expect(t, "")
}

func testEnded(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	var kept *store.Tx
	var rows *store.Rows
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		kept = tx
		var err error
		rows, err = tx.Query(ctx, "SELECT name FROM thing")
		return err
	})
	if err == nil {
		t.Error("rows that were left open went unnoticed")
	}
	if err := insert("post", 1)(t.Context(), kept); err == nil {
		t.Error("a statement ran after the transaction")
	}
	if err := kept.Notify(t.Context(), "x"); err == nil {
		t.Error("a notification was taken after the transaction")
	}
	var name string
	if rows.Next() || rows.Scan(&name) == nil || rows.Err() == nil || rows.Close() != nil {
		t.Error("rows were read after the transaction")
	}
	b.expect(t, "beam")
}

func testRowsOpen(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	b.put(t, "post", 1)
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		rows, err := tx.Query(ctx, "SELECT name FROM thing")
		if err != nil {
			return err
		}
		if err := insert("girt", 1)(ctx, tx); err == nil {
			t.Error("a statement ran while rows are open")
		}
		return rows.Close()
	})
	if err == nil {
		t.Error("the mistake did not fail the transaction")
	}
	err = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		rows, err := tx.Query(ctx, "SELECT name FROM thing")
		if err != nil {
			return err
		}
		if !rows.Next() {
			t.Error("no row")
		}
		// Closed before the last row, and closed again.
		return errors.Join(rows.Close(), rows.Close(), insert("girt", 1)(ctx, tx))
	})
	if err != nil {
		t.Error(err)
	}
	b.expect(t, "beam girt post")
}

func testLeftWaiting(t *testing.T, b *bench) {
	gone, leave := context.WithCancel(t.Context())
	leave()
	expectError(t, b.Write(gone, insert("gone", 1)), context.Canceled)
	ctx, cancel := context.WithCancel(t.Context())
	started, release, finished := make(chan struct{}), make(chan struct{}), make(chan error)
	go func() {
		finished <- b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			close(started)
			<-release
			return insert("beam", 1)(ctx, tx)
		})
	}()
	<-started
	second := make(chan error)
	go func() { second <- b.Write(ctx, insert("lost", 1)) }()
	cancel()
	expectError(t, <-second, context.Canceled)
	close(release)
	if err := <-finished; err != nil {
		t.Error(err)
	}
	b.expect(t, "beam")
}

func testLeftRunning(t *testing.T, b *bench) {
	var wait sync.WaitGroup
	errs := make([]error, 20)
	for i := range errs {
		wait.Go(func() {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			errs[i] = b.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
				if err := insert(numbered("n", i), 1)(ctx, tx); err != nil {
					return err
				}
				if i%2 == 1 {
					cancel()
					_, _ = tx.Exec(ctx, "UPDATE thing SET count = 2") // refused, and that counts
				}
				return nil
			})
		})
	}
	wait.Wait()
	want := ""
	for i, err := range errs {
		if i%2 == 1 {
			expectError(t, err, context.Canceled)
			continue
		}
		if err != nil {
			t.Errorf("write %d was hurt by another's context: %v", i, err)
		}
		want += " " + numbered("n", i)
	}
	b.expect(t, want[1:])
}

func testBatch(t *testing.T, b *bench) {
	b.put(t, "n000", 0)
	var wait sync.WaitGroup
	errs := make([]error, 90)
	for i := range errs {
		wait.Go(func() {
			defer func() { _ = recover() }()
			errs[i] = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				err := insert(numbered("n", i+1), int64(i))(ctx, tx)
				switch {
				case err != nil:
					return err
				case i%3 == 1:
					return errTest
				case i%9 == 2:
					return insert("n000", 1)(ctx, tx)
				case i%9 == 5:
					panic("ouch")
				}
				return nil
			})
		})
	}
	wait.Wait()
	want := "n000"
	for i, err := range errs {
		switch {
		case i%3 == 1:
			expectError(t, err, errTest)
		case i%9 == 2:
			expectKind(t, err, store.Unique)
		case i%9 == 5:
		default:
			if err != nil {
				t.Errorf("write %d was hurt by another: %v", i, err)
			}
			want += " " + numbered("n", i+1)
		}
	}
	b.expect(t, want)
}

// The foreign key of part is checked at the commit, which the members share.
func testCommitFails(t *testing.T, b *bench) {
	var wait sync.WaitGroup
	errs := make([]error, 12)
	for i := range errs {
		wait.Go(func() {
			errs[i] = b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				if i%4 == 3 {
					_, err := tx.Exec(ctx, "INSERT INTO part (thing, n) VALUES (?, ?)", "missing", i)
					return err
				}
				return insert(numbered("n", i), 1)(ctx, tx)
			})
		})
	}
	wait.Wait()
	want := ""
	for i, err := range errs {
		if i%4 == 3 {
			expectKind(t, err, store.ForeignKey)
			continue
		}
		if err != nil {
			t.Errorf("write %d was hurt by another's commit: %v", i, err)
		}
		want += " " + numbered("n", i)
	}
	b.expect(t, want[1:])
}

func increment(ctx context.Context, tx *store.Tx) error {
	var n int64
	if err := tx.QueryRow(ctx, "SELECT count FROM thing WHERE name = 'counter'").Scan(&n); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, "UPDATE thing SET count = ? WHERE name = 'counter'", n+1)
	return err
}

func (b *bench) counter(t *testing.T) (n int64) {
	t.Helper()
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.QueryRow(ctx, "SELECT count FROM thing WHERE name = 'counter'").Scan(&n)
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func testCounter(t *testing.T, b *bench) {
	b.count(t, b.DB, b.DB)
}

func testTwoStores(t *testing.T, b *bench) {
	b.count(t, b.DB, b.open(t))
}

func (b *bench) count(t *testing.T, stores ...*store.DB) {
	t.Helper()
	b.put(t, "counter", 0)
	var wait sync.WaitGroup
	const callers, rounds = 8, 5
	for i := range callers {
		wait.Go(func() {
			for range rounds {
				if err := stores[i%len(stores)].Write(t.Context(), increment); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	if n := b.counter(t); n != callers*rounds {
		t.Errorf("the counter stands at %d, want %d", n, callers*rounds)
	}
}

func testClosed(t *testing.T, b *bench) {
	db := b.open(t)
	l := db.Listen("x")
	if err := errors.Join(db.Close(), db.Close()); err != nil {
		t.Fatal(err)
	}
	l.Close()
	db.Listen("x").Close()
	expectError(t, db.Write(t.Context(), insert("beam", 1)), store.ErrClosed)
	if err := db.Ping(t.Context()); err == nil {
		t.Error("a closed store was read")
	}
}

func testFaults(t *testing.T, b *bench) {
	b.faults.Push("write", nil, errTest)
	b.faults.Push("read", fault.New(fault.Unavailable, "X", "x"))
	b.put(t, "beam", 1)
	expectError(t, b.Write(t.Context(), insert("post", 1)), errTest)
	if err := b.Ping(t.Context()); !fault.Is(err, fault.Unavailable) {
		t.Errorf("read gave %v, want the pushed fault", err)
	}
	if n := b.faults.Left("write") + b.faults.Left("read"); n != 0 {
		t.Errorf("%d faults are left", n)
	}
	b.expect(t, "beam")
}

func testKinds(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	b.put(t, "post", 1)
	cases := []struct {
		query string
		want  store.ErrorKind
	}{
		{"INSERT INTO thing (name) VALUES ('beam')", store.Unique},
		{"INSERT INTO thing (name) VALUES (NULL)", store.NotNull},
		{`INSERT INTO thing (name) VALUES ('TEXT and "BLOB"')`, store.Check},
		{"INSERT INTO part (thing, n) VALUES ('none', 1)", store.ForeignKey},
		{"INSERT INTO nowhere (name) VALUES ('x')", store.Other},
		{"UPDATE thing SET name = 'beam' WHERE name = 'post'", store.Unique},
	}
	for _, c := range cases {
		err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.Exec(ctx, c.query)
			return err
		})
		if store.KindOf(err) != c.want {
			t.Errorf("%s: kind %q, want %q (%v)", c.query, store.KindOf(err), c.want, err)
		}
		wrapped := fmt.Errorf("make thing: %w", err)
		if store.IsUnique(wrapped) != (c.want == store.Unique) || store.IsForeignKey(wrapped) != (c.want == store.ForeignKey) {
			t.Errorf("%s: IsUnique or IsForeignKey is wrong", c.query)
		}
	}
	b.expect(t, "beam post")
}
