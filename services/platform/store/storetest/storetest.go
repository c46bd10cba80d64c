// Package storetest opens throw-away stores for tests, on SQLite and on a real PostgreSQL, and
// holds the contract suite that both must pass.
package storetest

import (
	"context"
	"crypto/rand"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/pikepole/pikepole/services/platform/store"
)

const (
	// ServerVariable names a throw-away PostgreSQL server: the URL of a superuser's database.
	ServerVariable = "PIKEPOLE_TEST_POSTGRES"
	// WithoutVariable lists, by commas, what tests may do without: "postgres".
	WithoutVariable = "PIKEPOLE_TEST_WITHOUT"
)

// SQLite returns the URL of a new SQLite file that goes with the test.
func SQLite(t testing.TB) string {
	t.Helper()
	return "sqlite:" + filepath.Join(t.TempDir(), "store.db")
}

// Postgres returns the URL of a new database on the server that PIKEPOLE_TEST_POSTGRES names;
// it is dropped with the test. Without a server the test fails, unless PIKEPOLE_TEST_WITHOUT
// says that it may be skipped.
func Postgres(t testing.TB) string {
	t.Helper()
	server := os.Getenv(ServerVariable)
	if server == "" {
		for word := range strings.SplitSeq(os.Getenv(WithoutVariable), ",") {
			if strings.TrimSpace(word) == "postgres" {
				t.Skip("told to do without PostgreSQL")
			}
		}
		t.Fatalf("set %s to the URL of a throw-away PostgreSQL server, or %s=postgres to do without", ServerVariable, WithoutVariable)
	}
	name := "test_" + strings.ToLower(rand.Text())
	administer(t, server, "CREATE DATABASE "+name+" TEMPLATE template0")
	t.Cleanup(func() { administer(t, server, "DROP DATABASE "+name+" WITH (FORCE)") })
	u, err := url.Parse(server)
	if err != nil {
		t.Fatalf("%s: %v", ServerVariable, err)
	}
	u.Path = "/" + name
	return u.String()
}

func administer(t testing.TB, server, statement string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		t.Fatalf("connect to the PostgreSQL server for tests: %v", err)
	}
	defer func() { _ = conn.Close(ctx) }()
	if _, err := conn.Exec(ctx, statement); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

// Each runs a test twice, as "sqlite" and as "postgres", with the URL of a new store.
func Each(t *testing.T, test func(t *testing.T, url string)) {
	t.Helper()
	for name, newURL := range map[string]func(testing.TB) string{"sqlite": SQLite, "postgres": Postgres} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, newURL(t))
		})
	}
}

// Open opens a store and closes it with the test.
func Open(t testing.TB, c store.Config) *store.DB {
	t.Helper()
	db, err := store.Open(t.Context(), c)
	if err != nil {
		t.Fatalf("open store: %v", err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Errorf("close store: %v", err)
		}
	})
	return db
}

// Faults is a queue of errors that a store gives in place of transactions, by operation
// ("write", "read"). Its Before belongs into store.Config.
type Faults struct {
	mu    sync.Mutex
	queue map[string][]error
}

// Push adds errors for the next transactions of an operation; nil lets one through.
func (f *Faults) Push(op string, errs ...error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.queue == nil {
		f.queue = map[string][]error{}
	}
	f.queue[op] = append(f.queue[op], errs...)
}

// Before gives the next error of the queue.
func (f *Faults) Before(op string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	waiting := f.queue[op]
	if len(waiting) == 0 {
		return nil
	}
	f.queue[op] = waiting[1:]
	return waiting[0]
}

// Left says how many errors of an operation have not been given yet.
func (f *Faults) Left(op string) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.queue[op])
}
