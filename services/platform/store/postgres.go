package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

const (
	// statementTimeout bounds one statement of a write; the server enforces the shorter one.
	statementTimeout       = 30 * time.Second
	serverStatementTimeout = "20s"
	// connectTimeout bounds a new connection, unless the URL says otherwise.
	connectTimeout = 5 * time.Second
	// lockTimeout is how long a write waits for the writers of other processes.
	lockTimeout = "10s"
	// idleTimeout frees the write lock when the process that holds it has hung.
	idleTimeout = "30s"
	// notifyChannel carries "schema/topic" to every process.
	notifyChannel = "pikepole"
)

// postgresEngine keeps the rows in one schema of a database.
//
// Writers take turns on a transaction-level advisory lock named after the schema, so that a
// write means the same as on SQLite: what it has read can not change before it commits. Under
// READ COMMITTED each statement behind the lock sees all that was committed before.
type postgresEngine struct {
	config *pgx.ConnConfig
	direct *pgx.ConnConfig
	schem  string
}

func newPostgres(c Config) (engine, error) {
	config, err := pgx.ParseConfig(c.URL)
	if err != nil {
		return nil, fmt.Errorf("read URL: %w", err)
	}
	direct, err := pgx.ParseConfig(c.DirectURL)
	if err != nil {
		return nil, fmt.Errorf("read direct URL: %w", err)
	}
	for _, one := range []*pgx.ConnConfig{config, direct} {
		if one.ConnectTimeout == 0 {
			one.ConnectTimeout = connectTimeout
		}
		one.RuntimeParams["search_path"] = c.Schema
		one.RuntimeParams["application_name"] = "pikepole " + c.Schema
	}
	return &postgresEngine{config: config, direct: direct, schem: c.Schema}, nil
}

func (e *postgresEngine) name() string { return "postgres" }
func (e *postgresEngine) remote() bool { return true }

func (e *postgresEngine) open(r role) (*sql.DB, error) {
	config := e.config.Copy()
	switch r {
	case roleMigrate:
		config = e.direct.Copy()
	case roleWrite:
		config.RuntimeParams["synchronous_commit"] = "on"
		config.RuntimeParams["lock_timeout"] = lockTimeout
		config.RuntimeParams["idle_in_transaction_session_timeout"] = idleTimeout
		config.RuntimeParams["statement_timeout"] = serverStatementTimeout
	case roleRead:
		config.RuntimeParams["statement_timeout"] = serverStatementTimeout
	}
	return stdlib.OpenDB(*config), nil
}

func (e *postgresEngine) begin(ctx context.Context, c *sql.Conn) error {
	// One round trip. The statement has no arguments, so it goes by the simple protocol,
	// which takes several statements at once.
	_, err := c.ExecContext(ctx, fmt.Sprintf("BEGIN ISOLATION LEVEL READ COMMITTED; SELECT pg_advisory_xact_lock(%d); %s", e.lockID("write"), savepoint))
	return err
}

func (e *postgresEngine) publish(ctx context.Context, c *sql.Conn, topics []string) error {
	payloads := make([]string, len(topics))
	for i, t := range topics {
		payloads[i] = e.schem + "/" + t
	}
	_, err := c.ExecContext(ctx, "SELECT pg_notify($1, p) FROM unnest($2::text[]) AS p", notifyChannel, payloads)
	return err
}

func (e *postgresEngine) readOptions() *sql.TxOptions {
	return &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead}
}

func (e *postgresEngine) query(q string) string  { return numbered(q) }
func (e *postgresEngine) schema(s string) string { return postgresTypes(s) }

func (e *postgresEngine) wrap(err error) error {
	var engineErr *pgconn.PgError
	var own *Error
	switch {
	case err == nil || errors.As(err, &own) || errors.Is(err, sql.ErrNoRows):
		return err
	case errors.As(err, &engineErr):
		return wrapCode(err, postgresKind(engineErr.Code))
	case isContext(err):
		return err
	case isConnection(err):
		return wrapCode(err, Down)
	default:
		return wrapCode(err, Other)
	}
}

func isConnection(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	return errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, driver.ErrBadConn) ||
		errors.Is(err, sql.ErrConnDone) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		pgconn.SafeToRetry(err)
}

// postgresKind reads the codes of the manual's appendix "PostgreSQL Error Codes".
func postgresKind(code string) ErrorKind {
	switch code {
	case "23505":
		return Unique
	case "23503":
		return ForeignKey
	case "23502":
		return NotNull
	case "23514":
		return Check
	case "25006":
		return ReadOnly
	case "40001", "40P01":
		return Conflict
	case "55P03", "57014":
		return Busy
	case "25P03":
		return Down
	}
	// Classes: connection exception, insufficient resources, operator intervention, system error.
	for _, class := range []string{"08", "53", "57", "58"} {
		if strings.HasPrefix(code, class) {
			return Down
		}
	}
	return Other
}

func (e *postgresEngine) settings() map[string]string {
	return map[string]string{
		"version":               "SELECT current_setting('server_version')",
		"fsync":                 "SELECT current_setting('fsync')",
		"synchronous_commit":    "SELECT current_setting('synchronous_commit')",
		"full_page_writes":      "SELECT current_setting('full_page_writes')",
		"transaction_isolation": "SELECT current_setting('transaction_isolation')",
		"search_path":           "SELECT current_setting('search_path')",
	}
}

func (e *postgresEngine) dialect() goose.Dialect { return goose.DialectPostgres }

// prepare makes the schema. Two processes that start at once take turns.
func (e *postgresEngine) prepare(ctx context.Context, db *sql.DB) ([]goose.ProviderOption, error) {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer func() { _ = tx.Rollback() }()
	if _, err := tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock($1)", e.lockID("schema")); err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "CREATE SCHEMA IF NOT EXISTS "+pgx.Identifier{e.schem}.Sanitize()); err != nil {
		return nil, err
	}
	if err := tx.Commit(); err != nil {
		return nil, err
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockID(e.lockID("migrate")), lock.WithLockTimeout(1, 120))
	if err != nil {
		return nil, err
	}
	return []goose.ProviderOption{goose.WithSessionLocker(locker)}, nil
}

// lockID names an advisory lock of the schema's own.
func (e *postgresEngine) lockID(purpose string) int64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte("pikepole/" + e.schem + "/" + purpose))
	return int64(h.Sum64())
}

// maxBatch stays within the 64 subtransactions that PostgreSQL tracks in memory per session.
func (e *postgresEngine) maxBatch() int { return 60 }

func (e *postgresEngine) detach() (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.Background(), statementTimeout)
}
