package store

import (
	"context"
	"database/sql"
	"errors"
	"net/url"
	"os"
	"strings"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// sqliteEngine keeps the rows in one file.
type sqliteEngine struct{ path string }

func newSQLite(rest string) (engine, error) {
	path, query, _ := strings.Cut(strings.TrimPrefix(rest, "//"), "?")
	if path == "" || query != "" || strings.Contains(path, ":memory:") {
		return nil, errors.New(`a SQLite URL is "sqlite:" and the path of a file, without parameters`)
	}
	return sqliteEngine{path: path}, nil
}

func (e sqliteEngine) name() string { return "sqlite" }
func (e sqliteEngine) remote() bool { return false }

func (e sqliteEngine) open(r role) (*sql.DB, error) {
	pragmas := []string{"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)"}
	values := url.Values{}
	if r == roleRead {
		pragmas = append(pragmas, "query_only(1)")
	} else {
		values.Set("_txlock", "immediate")
	}
	if r == roleWrite {
		e.create()
	}
	values["_pragma"] = pragmas
	// The path is escaped, so that "?" and "#" in a folder's name do not end it.
	dsn := "file:" + (&url.URL{Path: e.path}).EscapedPath() + "?" + values.Encode()
	return sql.Open("sqlite", dsn)
}

// create makes the file for its owner alone, before SQLite makes it for everybody to read; the files
// beside it get the same mode. A file that is there already is not touched: to open and close it
// would take this process's locks off it. What goes wrong here goes wrong again in SQLite, which
// says what it is.
func (e sqliteEngine) create() {
	if file, err := os.OpenFile(e.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600); err == nil {
		_ = file.Close()
	}
}

func (e sqliteEngine) begin(ctx context.Context, c *sql.Conn) error {
	_, err := c.ExecContext(ctx, "BEGIN IMMEDIATE; "+savepoint)
	return err
}

// publish has nobody to tell: the file has one process.
func (e sqliteEngine) publish(context.Context, *sql.Conn, []string) error { return nil }

func (e sqliteEngine) readOptions() *sql.TxOptions { return &sql.TxOptions{ReadOnly: true} }

func (e sqliteEngine) query(q string) string  { return q }
func (e sqliteEngine) schema(s string) string { return s }

func (e sqliteEngine) wrap(err error) error {
	var engineErr *sqlite.Error
	var own *Error
	switch {
	case err == nil || errors.As(err, &own) || errors.Is(err, sql.ErrNoRows):
		return err
	case errors.As(err, &engineErr):
		return wrapCode(err, sqliteKind(engineErr.Code()))
	case isContext(err):
		return err
	default:
		return wrapCode(err, Other)
	}
}

func sqliteKind(code int) ErrorKind {
	switch code {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY, sqlite3.SQLITE_CONSTRAINT_ROWID:
		return Unique
	case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return ForeignKey
	case sqlite3.SQLITE_CONSTRAINT_NOTNULL:
		return NotNull
	case sqlite3.SQLITE_CONSTRAINT_CHECK:
		return Check
	}
	switch code & 0xff {
	case sqlite3.SQLITE_READONLY:
		return ReadOnly
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return Busy
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_NOMEM:
		return Down
	default:
		return Other
	}
}

func (e sqliteEngine) settings() map[string]string {
	return map[string]string{
		"version":      "SELECT sqlite_version()",
		"journal_mode": "SELECT journal_mode FROM pragma_journal_mode()",
		"synchronous": `SELECT CASE synchronous WHEN 0 THEN 'off' WHEN 1 THEN 'normal' WHEN 2 THEN 'full' ELSE 'extra' END
			FROM pragma_synchronous()`,
		"foreign_keys": "SELECT CASE foreign_keys WHEN 1 THEN 'on' ELSE 'off' END FROM pragma_foreign_keys()",
		"busy_timeout": "SELECT CAST(timeout AS TEXT) || ' ms' FROM pragma_busy_timeout()",
	}
}

func (e sqliteEngine) dialect() goose.Dialect { return goose.DialectSQLite3 }

func (e sqliteEngine) prepare(context.Context, *sql.DB) ([]goose.ProviderOption, error) {
	return nil, nil
}

func (e sqliteEngine) maxBatch() int { return 256 }

func (e sqliteEngine) detach() (context.Context, context.CancelFunc) {
	return context.Background(), func() {}
}
