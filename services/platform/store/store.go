// Package store keeps a service's rows in SQLite or PostgreSQL, with one meaning on both.
//
// A transaction is a function. Write runs it alone: no other write of the same store, in this
// process or another, is between its first statement and its commit, so that what it reads is
// what it changes. Writes that wait for one another share a commit: each runs in a savepoint
// of its own, a function that fails undoes only its own savepoint, and Write returns only when
// the commit that holds it has reached the disk. Read sees one snapshot, never waits for a
// writer, and is always rolled back.
//
// What holds in either engine:
//
//   - A function may run more than once, so it changes nothing outside but variables that it
//     assigns afresh each time. It must be short, and may not call Write again.
//   - A failed statement fails its transaction: later statements are refused, and Write returns
//     the error even when the function does not. Statements do not run while rows are open.
//   - A statement's error is an *Error whose kind comes from the engine's code. A store that
//     does not answer, is busy, or lost a conflict is an Unavailable fault, STORE_UNAVAILABLE;
//     when a commit's outcome is unknown it is the same, and a repeat under the same request id
//     tells.
//   - Text keys compare bytewise; BIGINT and INTEGER hold int64; times are microseconds (Micros,
//     Time). Placeholders are "?". Lists order by their key and end with LIMIT.
//   - Not the same on both, hence not to be used: LIKE, the place of NULL in an order,
//     implicit conversion between text and numbers.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
)

// Config says where the rows are kept.
type Config struct {
	// URL is "sqlite:/path/to/file.db" or "postgres://…".
	URL string
	// Schema is the PostgreSQL schema that holds the tables, by custom the service's name:
	// a-z, 0-9 and underscore. On SQLite it only names the store in metrics.
	Schema string
	// DirectURL reaches PostgreSQL without a pooler in between, for migrations and for
	// listening; default URL.
	DirectURL string
	// Ear is shared by the stores of one process so that they listen over one connection;
	// nil gives the store its own.
	Ear *Ear
	// Logger takes lost connections and retries; nil logs nothing.
	Logger *zap.Logger
	// Registry takes the metrics; nil keeps none.
	Registry prometheus.Registerer
	// Now is the clock of Tx.Now; nil is time.Now.
	Now func() time.Time
	// Poll is how often a Listener's channel ticks with nothing heard; default 2 s.
	Poll time.Duration
	// Readers is how many reads run at once; default 8.
	Readers int
	// Before is called ahead of each transaction with "write" or "read"; an error that it
	// gives is returned in place of the transaction. Tests use it to see a failing store.
	Before func(op string) error
}

const (
	defaultPoll    = 2 * time.Second
	defaultReaders = 8
)

// ErrNoRows is what Row.Scan gives when there is no row.
var ErrNoRows = sql.ErrNoRows

// ErrClosed is what a store gives after Close.
var ErrClosed = errors.New("store: closed")

// DB is an open store. It is safe for concurrent use.
type DB struct {
	config  Config
	engine  engine
	reads   *sql.DB
	writer  *writer
	hub     *hub
	ear     *Ear
	metrics *metrics

	closing sync.Once
}

var schemaName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

// Open opens a store. It makes the SQLite file when it is not there; it does not make tables:
// that is Migrate's work, and comes next.
func Open(ctx context.Context, c Config) (*DB, error) {
	if c.Schema == "" {
		c.Schema = "main"
	}
	if !schemaName.MatchString(c.Schema) {
		return nil, fmt.Errorf("open store: schema %q is not of a-z, 0-9 and underscore", c.Schema)
	}
	if c.Logger == nil {
		c.Logger = zap.NewNop()
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Poll <= 0 {
		c.Poll = defaultPoll
	}
	if c.Readers <= 0 {
		c.Readers = defaultReaders
	}
	if c.DirectURL == "" {
		c.DirectURL = c.URL
	}
	e, err := newEngine(c)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	return open(ctx, c, e)
}

func newEngine(c Config) (engine, error) {
	scheme, rest, _ := strings.Cut(c.URL, ":")
	switch scheme {
	case "sqlite":
		return newSQLite(rest)
	case "postgres", "postgresql":
		return newPostgres(c)
	default:
		return nil, errors.New(`the URL must start with "sqlite:" or "postgres:"`)
	}
}

func open(ctx context.Context, c Config, e engine) (*DB, error) {
	m, err := newMetrics(c.Registry, c.Schema)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	// The writer comes first: it makes the SQLite file and sets its journal mode.
	writes, err := e.open(roleWrite)
	if err != nil {
		return nil, fmt.Errorf("open store for writing: %w", err)
	}
	writes.SetMaxOpenConns(1)
	if err := writes.PingContext(ctx); err != nil {
		return nil, errors.Join(unavailable(fmt.Errorf("open store: %w", e.wrap(err))), writes.Close())
	}
	reads, err := e.open(roleRead)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open store for reading: %w", err), writes.Close())
	}
	reads.SetMaxOpenConns(c.Readers)
	reads.SetMaxIdleConns(c.Readers)
	db := &DB{config: c, engine: e, reads: reads, metrics: m}
	db.hub = newHub(c.Poll)
	if e.remote() {
		db.ear = c.Ear
		if db.ear == nil {
			db.ear = NewEar(c.DirectURL, c.Logger)
		}
		db.ear.add(c.Schema, db.hub)
	}
	db.writer = newWriter(writes, e, db)
	return db, nil
}

// Close ends the store. Writes under way are finished; waiting ones get ErrClosed.
func (db *DB) Close() error {
	var err error
	db.closing.Do(func() {
		err = errors.Join(db.writer.close(), db.reads.Close())
		db.hub.close()
		if db.ear != nil {
			db.ear.remove(db.config.Schema, db.hub)
			if db.config.Ear == nil {
				db.ear.Close()
			}
		}
	})
	return err
}

// Now is the store's clock.
func (db *DB) Now() time.Time { return db.config.Now() }

// Listen gives a listener that is woken after each commit that notified the topic, in this
// process or, on PostgreSQL, in any other. A wake-up may come without a cause, and one may
// stand for several: the listener reads again from where it was. Close it when done.
func (db *DB) Listen(topic string) *Listener {
	if db.ear != nil {
		db.ear.start()
	}
	return db.hub.listen(topic)
}

// Ping says whether the store can be read.
func (db *DB) Ping(ctx context.Context) error {
	return db.Read(ctx, func(ctx context.Context, tx *Tx) error {
		var one int64
		return tx.QueryRow(ctx, "SELECT 1").Scan(&one)
	})
}

// Settings reads back from the engine, over the connection that writes, how it keeps what it
// has acknowledged. Always there: engine ("sqlite" or "postgres") and version. On SQLite:
// journal_mode, synchronous, foreign_keys, busy_timeout. On PostgreSQL: fsync,
// synchronous_commit, full_page_writes, transaction_isolation, search_path.
func (db *DB) Settings(ctx context.Context) (map[string]string, error) {
	settings := map[string]string{}
	err := db.Write(ctx, func(ctx context.Context, tx *Tx) error {
		for name, query := range db.engine.settings() {
			var value string
			if err := tx.QueryRow(ctx, query).Scan(&value); err != nil {
				return fmt.Errorf("read setting %s: %w", name, err)
			}
			settings[name] = value
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	settings["engine"] = db.engine.name()
	return settings, nil
}

// Micros is a time as it is kept: microseconds since 1970, UTC.
func Micros(t time.Time) int64 { return t.UnixMicro() }

// Time is the way back from Micros.
func Time(micros int64) time.Time { return time.UnixMicro(micros).UTC() }
