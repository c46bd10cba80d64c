package store_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func insert(name string) func(context.Context, *store.Tx) error {
	return func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "INSERT INTO thing (name) VALUES (?)", name)
		return err
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	cases := map[string]store.Config{
		"no URL":            {},
		"unknown scheme":    {URL: "mysql://x"},
		"no path":           {URL: "sqlite:"},
		"memory":            {URL: "sqlite::memory:"},
		"parameters":        {URL: "sqlite:/tmp/x.db?mode=ro"},
		"folder is missing": {URL: "sqlite:" + filepath.Join(folder, "none", "x.db")},
		"path is a folder":  {URL: "sqlite:" + folder},
		"bad schema":        {URL: "sqlite:" + filepath.Join(folder, "x.db"), Schema: `x"; DROP`},
		"unreadable URL":    {URL: "postgres://a b"},
		"unreadable direct": {URL: "postgres://127.0.0.1/x", DirectURL: "postgres://a b"},
		"nobody listens":    {URL: "postgres://postgres@127.0.0.1:1/x?sslmode=disable"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if db, err := store.Open(t.Context(), c); err == nil {
				t.Error("it was opened")
				_ = db.Close()
			}
		})
	}
}

func TestOddPaths(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"a b.db", "a#b.db", "a%20b.db", "ä.db"} {
		path := filepath.Join(t.TempDir(), name)
		for _, url := range []string{"sqlite:" + path, "sqlite://" + path} {
			db := storetest.Open(t, store.Config{URL: url})
			if err := db.Ping(t.Context()); err != nil {
				t.Errorf("%s: %v", url, err)
			}
		}
		if _, err := os.Stat(path); err != nil {
			t.Errorf("the file is elsewhere: %v", err)
		}
	}
}

func TestMetrics(t *testing.T) {
	t.Parallel()
	registry := prometheus.NewPedanticRegistry()
	db := storetest.Open(t, store.Config{URL: storetest.SQLite(t), Schema: "one", Registry: registry})
	storetest.Open(t, store.Config{URL: storetest.SQLite(t), Schema: "two", Registry: registry})
	if err := db.Migrate(t.Context(), storetest.Migrations()); err != nil {
		t.Fatal(err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	_ = db.Write(t.Context(), insert("a"))
	_ = db.Write(t.Context(), insert("a"))
	_ = db.Write(gone, insert("b"))
	_ = db.Write(t.Context(), func(context.Context, *store.Tx) error { return errors.New("x") })
	_ = db.Write(t.Context(), func(context.Context, *store.Tx) error { return fault.Invalid("a", "b") })
	want := `
		# HELP pikepole_store_transactions_total Transactions by how they ended.
		# TYPE pikepole_store_transactions_total counter
		pikepole_store_transactions_total{operation="write",outcome="context",store="one"} 1
		pikepole_store_transactions_total{operation="write",outcome="function",store="one"} 1
		pikepole_store_transactions_total{operation="write",outcome="ok",store="one"} 1
		pikepole_store_transactions_total{operation="write",outcome="refused",store="one"} 1
		pikepole_store_transactions_total{operation="write",outcome="unique",store="one"} 1
	`
	if err := testutil.GatherAndCompare(registry, strings.NewReader(want), "pikepole_store_transactions_total"); err != nil {
		t.Error(err)
	}
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("promlint: %v, %v", problems, err)
	}
	if _, err := store.Open(t.Context(), store.Config{URL: storetest.SQLite(t), Schema: "one", Registry: registry}); err == nil {
		t.Error("two stores share their metrics")
	}
}

// One writer: while a write runs, another process's write waits, and then goes through.
func TestSQLiteHasOneWriter(t *testing.T) {
	t.Parallel()
	url := storetest.SQLite(t)
	one, two := storetest.Open(t, store.Config{URL: url}), storetest.Open(t, store.Config{URL: url})
	if err := one.Migrate(t.Context(), storetest.Migrations()); err != nil {
		t.Fatal(err)
	}
	var running int
	var mu sync.Mutex
	var wait sync.WaitGroup
	for i := range 20 {
		wait.Go(func() {
			err := []*store.DB{one, two}[i%2].Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				mu.Lock()
				running++
				if running > 1 {
					t.Error("two writes run at once")
				}
				mu.Unlock()
				_, err := tx.Exec(ctx, "INSERT INTO thing (name) VALUES (?)", string(rune('a'+i)))
				runtime.Gosched()
				mu.Lock()
				running--
				mu.Unlock()
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
}

// A disk that is full fails what does not fit, keeps all that was acknowledged, and hurts nobody
// else.
func TestSQLiteDiskFull(t *testing.T) {
	t.Parallel()
	db := storetest.Open(t, store.Config{URL: storetest.SQLite(t)})
	if err := db.Migrate(t.Context(), storetest.Migrations()); err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	for i := range 6 {
		wait.Go(func() {
			err := db.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
				if i%3 != 0 {
					return insert(string(rune('a'+i)))(ctx, tx)
				}
				// The engine reports a full disk when the file would grow beyond this. The limit
				// is the connection's, so each run sets it.
				var pages int64
				if err := tx.QueryRow(ctx, "PRAGMA max_page_count = 64").Scan(&pages); err != nil {
					return err
				}
				_, err := tx.Exec(ctx, "INSERT INTO thing (name, body) VALUES (?, ?)", "big", make([]byte, 1<<20))
				return err
			})
			if i%3 != 0 {
				if err != nil {
					t.Errorf("a small write was hurt: %v", err)
				}
				return
			}
			if !fault.HasReason(err, fault.ReasonStore) || store.KindOf(err) != store.Down {
				t.Errorf("a write that does not fit gave %v", err)
			}
		})
	}
	wait.Wait()
	var n int64
	err := db.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.QueryRow(ctx, "SELECT count(*) FROM thing").Scan(&n)
	})
	if err != nil || n != 4 {
		t.Errorf("%d rows, %v, want 4", n, err)
	}
}

// terminate ends all other sessions on a database, as when the server is restarted.
func terminate(t *testing.T, url string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(context.Background()) }()
	// The last argument waits until they are gone.
	_, err = conn.Exec(t.Context(), `SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity
		WHERE datname = current_database() AND pid <> pg_backend_pid()`)
	if err != nil {
		t.Fatal(err)
	}
}

func TestPostgresConnectionsAreMadeAnew(t *testing.T) {
	t.Parallel()
	url := storetest.Postgres(t)
	core, logs := observer.New(zap.WarnLevel)
	ear := store.NewEar(url, zap.New(core))
	defer ear.Close()
	db := storetest.Open(t, store.Config{URL: url, Schema: "one", Ear: ear, Logger: zap.New(core), Poll: time.Hour})
	if err := db.Migrate(t.Context(), storetest.Migrations()); err != nil {
		t.Fatal(err)
	}
	l := db.Listen("a")
	<-l.C() // the connection has come up
	if err := db.Write(t.Context(), insert("a")); err != nil {
		t.Fatal(err)
	}
	terminate(t, url)
	<-l.C() // it has come up again, and something may have been missed
	if err := db.Write(t.Context(), insert("b")); err != nil {
		t.Errorf("the first write afterwards: %v", err)
	}
	if err := db.Ping(t.Context()); err != nil {
		t.Errorf("the first read afterwards: %v", err)
	}
	// Lost in the middle of a transaction, which is run again as a whole.
	runs := 0
	err := db.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		runs++
		if err := insert("c")(ctx, tx); err != nil {
			return err
		}
		if runs == 1 {
			terminate(t, url)
		}
		return insert("d")(ctx, tx)
	})
	if err != nil || runs != 2 {
		t.Errorf("got %v after %d runs", err, runs)
	}
	if logs.Len() == 0 {
		t.Error("lost connections were not logged")
	}
}

func TestPostgresConflictIsRunAgain(t *testing.T) {
	t.Parallel()
	db := storetest.Open(t, store.Config{URL: storetest.Postgres(t), Schema: "one"})
	if err := db.Migrate(t.Context(), storetest.Migrations()); err != nil {
		t.Fatal(err)
	}
	runs := 0
	err := db.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		runs++
		if err := insert("a")(ctx, tx); err != nil {
			return err
		}
		if runs < 3 {
			// The code that a lost race has.
			_, err := tx.Exec(ctx, "DO $$ BEGIN RAISE EXCEPTION 'lost' USING ERRCODE = '40001'; END $$")
			return err
		}
		return nil
	})
	if err != nil || runs != 3 {
		t.Errorf("got %v after %d runs", err, runs)
	}
	err = db.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "DO $$ BEGIN RAISE EXCEPTION 'lost' USING ERRCODE = '40001'; END $$")
		return err
	})
	if !fault.HasReason(err, fault.ReasonStore) || store.KindOf(err) != store.Conflict {
		t.Errorf("a conflict that does not end gave %v", err)
	}
}

func TestPostgresMigratesOnceForAll(t *testing.T) {
	t.Parallel()
	url := storetest.Postgres(t)
	var wait sync.WaitGroup
	for range 3 {
		wait.Go(func() {
			db := storetest.Open(t, store.Config{URL: url, Schema: "one"})
			if err := db.Migrate(t.Context(), storetest.Migrations()); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
}

// An ear that can not connect does not keep anybody from listening: polling goes on.
func TestEarWithoutServer(t *testing.T) {
	t.Parallel()
	url := storetest.Postgres(t)
	ear := store.NewEar("postgres://postgres@127.0.0.1:1/x?sslmode=disable", nil)
	defer ear.Close()
	db := storetest.Open(t, store.Config{URL: url, Schema: "one", Ear: ear, Poll: time.Millisecond})
	l := db.Listen("a")
	<-l.C()
	<-l.C()
}
