package storetest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

// Run is the contract of package store: every promise of its documents, on a store whose URL is
// made by newURL (SQLite or Postgres).
func Run(t *testing.T, newURL func(testing.TB) string) {
	t.Helper()
	parts := []struct {
		name string
		test func(*testing.T, *bench)
	}{
		{"settings say that commits are synced", testSettings},
		{"write is kept and read back", testWriteRead},
		{"failing function keeps nothing", testFailing},
		{"failed statement fails the transaction", testPoisoned},
		{"panic keeps nothing and hurts nobody", testPanic},
		{"goexit keeps nothing and hurts nobody", testGoexit},
		{"write inside a write is refused", testNested},
		{"transaction is of no use after its function", testEnded},
		{"open rows stop the next statement", testRowsOpen},
		{"read is a snapshot and rolled back", testSnapshot},
		{"read can not write", testReadOnly},
		{"errors have kinds", testKinds},
		{"types come back", testTypes},
		{"text keys compare bytewise", testBytewise},
		{"placeholders skip literals", testPlaceholders},
		{"caller that left while waiting", testLeftWaiting},
		{"caller that left while running", testLeftRunning},
		{"cancelled read", testCancelledRead},
		{"commits are shared and each failure is its own", testBatch},
		{"commit that fails fails its own member only", testCommitFails},
		{"counter loses no increment", testCounter},
		{"two stores on the same rows take turns", testTwoStores},
		{"listeners wake", testListen},
		{"rolled back write wakes nobody", testListenRollback},
		{"listener ticks", testListenTick},
		{"closed store", testClosed},
		{"migrations are numbered and safe to repeat", testMigrate},
		{"faults in place of transactions", testFaults},
		{"replay gives the first answer", testReplay},
		{"replay of another request", testReplayOther},
		{"replay is of one person and method", testReplayScope},
		{"replay keeps nothing of a failure", testReplayFailure},
		{"replay of a secret answer", testReplaySecret},
		{"replay forgets", testReplayTidy},
		{"outbox counts without gaps", testOutbox},
		{"outbox gives back a failed position", testOutboxRollback},
		{"outbox wakes", testOutboxWakes},
	}
	for _, part := range parts {
		t.Run(strings.ReplaceAll(part.name, " ", "-"), func(t *testing.T) {
			t.Parallel()
			b := &bench{url: newURL(t)}
			b.DB = b.open(t)
			if err := b.DB.Migrate(t.Context(), Migrations()); err != nil {
				t.Fatal(err)
			}
			part.test(t, b)
		})
	}
}

// bench is a store with the suite's tables, and its URL to open it again.
type bench struct {
	*store.DB
	url    string
	faults Faults
}

// clock is what the suite's stores take for the time: a fixed moment.
var clock = time.Date(2031, time.March, 4, 5, 6, 7, 8000, time.UTC)

func (b *bench) open(t *testing.T) *store.DB {
	t.Helper()
	return Open(t, store.Config{
		URL: b.url, Schema: "contract", Poll: time.Hour, Before: b.faults.Before,
		Now: func() time.Time { return clock },
	})
}

// Migrations are the suite's tables, with those of replay and outbox among them.
func Migrations() fs.FS {
	return fstest.MapFS{
		"migrations/00001_first.sql": {Data: []byte("-- +goose Up\n" + replay.Schema + outbox.Schema + `
			CREATE TABLE thing (
				name  TEXT    NOT NULL PRIMARY KEY CHECK (name <> 'TEXT and "BLOB"'), -- a TEXT
				count INTEGER NOT NULL DEFAULT 0,
				share REAL    NOT NULL DEFAULT 0,
				body  BLOB,
				flag  BOOLEAN NOT NULL DEFAULT FALSE,
				text  TEXT    NOT NULL DEFAULT ''
			) WITHOUT ROWID;`)},
		"migrations/00002_second.sql": {Data: []byte(`-- +goose Up
			CREATE TABLE part (
				thing TEXT   NOT NULL REFERENCES thing (name) DEFERRABLE INITIALLY DEFERRED,
				n     BIGINT NOT NULL,
				PRIMARY KEY (thing, n)
			);`)},
	}
}

// errTest is what failing functions of the suite return.
var errTest = errors.New("the function's own error")

func (b *bench) put(t *testing.T, name string, count int64) {
	t.Helper()
	if err := b.Write(t.Context(), insert(name, count)); err != nil {
		t.Fatalf("put %s: %v", name, err)
	}
}

func insert(name string, count int64) func(context.Context, *store.Tx) error {
	return func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "INSERT INTO thing (name, count) VALUES (?, ?)", name, count)
		return err
	}
}

func (b *bench) names(t *testing.T) string {
	t.Helper()
	var names []string
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var err error
		names, err = namesIn(ctx, tx)
		return err
	})
	if err != nil {
		t.Fatalf("list names: %v", err)
	}
	return strings.Join(names, " ")
}

func namesIn(ctx context.Context, tx *store.Tx) ([]string, error) {
	rows, err := tx.Query(ctx, "SELECT name FROM thing ORDER BY name")
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

func (b *bench) expect(t *testing.T, want string) {
	t.Helper()
	if got := b.names(t); got != want {
		t.Errorf("rows are %q, want %q", got, want)
	}
}

func expectKind(t *testing.T, err error, want store.ErrorKind) {
	t.Helper()
	if got := store.KindOf(err); got != want {
		t.Errorf("kind is %q, want %q: %v", got, want, err)
	}
}

func expectError(t *testing.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("error is %v, want %v", err, want)
	}
}

func numbered(prefix string, n int) string { return fmt.Sprintf("%s%03d", prefix, n) }
