package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
	sqlite3 "modernc.org/sqlite/lib"

	"github.com/pikepole/pikepole/services/platform/fault"
)

func TestNumbered(t *testing.T) {
	t.Parallel()
	cases := map[string]string{
		"SELECT 1":                              "SELECT 1",
		"SELECT a FROM b WHERE c = ? AND d = ?": "SELECT a FROM b WHERE c = $1 AND d = $2",
		"VALUES (?,?,?)":                        "VALUES ($1,$2,$3)",
		"SELECT '?' || ?":                       "SELECT '?' || $1",
		"SELECT 'it''s ?', ?":                   "SELECT 'it''s ?', $1",
		`SELECT "a?" FROM b = ?`:                `SELECT "a?" FROM b = $1`,
		"SELECT ? -- why?\n, ?":                 "SELECT $1 -- why?\n, $2",
		"SELECT /* ? */ ?":                      "SELECT /* ? */ $1",
		"SELECT ? -- unended ?":                 "SELECT $1 -- unended ?",
		"SELECT ?, 'unended ?":                  "SELECT $1, 'unended ?",
		strings.Repeat("?", 12):                 "$1$2$3$4$5$6$7$8$9$10$11$12",
	}
	for in, want := range cases {
		if got := numbered(in); got != want {
			t.Errorf("%s\nbecame %s\nwant   %s", in, got, want)
		}
	}
}

func TestPostgresTypes(t *testing.T) {
	t.Parallel()
	cases := map[string]string{
		"a BLOB NOT NULL, b TEXT, c REAL, d INTEGER, e BIGINT": `a BYTEA NOT NULL, b TEXT COLLATE "C", c DOUBLE PRECISION, d BIGINT, e BIGINT`,
		"text TEXT, blob BLOB":                                 `text TEXT COLLATE "C", blob BYTEA`,
		"TEXTILE BLOBS MY_TEXT TEXT2":                          "TEXTILE BLOBS MY_TEXT TEXT2",
		"CHECK (a <> 'TEXT') -- TEXT\n/*BLOB*/":                "CHECK (a <> 'TEXT') -- TEXT\n/*BLOB*/",
		") WITHOUT ROWID;":                                     ") ;",
		"TIMESTAMP WITHOUT TIME ZONE":                          "TIMESTAMP WITHOUT TIME ZONE",
		"WITHOUT":                                              "WITHOUT",
		"-- +goose Up\nCREATE":                                 "-- +goose Up\nCREATE",
	}
	for in, want := range cases {
		if got := postgresTypes(in); got != want {
			t.Errorf("%s\nbecame %s\nwant   %s", in, got, want)
		}
	}
}

func FuzzNumberedChangesPlaceholdersOnly(f *testing.F) {
	f.Add("SELECT '?', ? -- ?")
	f.Add(`"a""?" ? /* ? */ ?`)
	f.Fuzz(func(t *testing.T, q string) {
		if joined := strings.Join(pieces(q), ""); joined != q {
			t.Errorf("%q was cut into %q", q, joined)
		}
		if !strings.Contains(q, "?") && numbered(q) != q {
			t.Errorf("%q became %q", q, numbered(q))
		}
	})
}

// Result codes as sqlite.org/rescode.html lists them.
func TestSQLiteKinds(t *testing.T) {
	t.Parallel()
	cases := map[int]ErrorKind{
		2067: Unique, 1555: Unique, 2579: Unique, 787: ForeignKey, 1299: NotNull, 275: Check,
		sqlite3.SQLITE_READONLY: ReadOnly, 5: Busy, 517: Busy, 6: Busy, 13: Down, 10: Down, 266: Down, 14: Down, 7: Down,
		1: Other, 11: Other, 19: Other,
	}
	for code, want := range cases {
		if got := sqliteKind(code); got != want {
			t.Errorf("code %d is %s, want %s", code, got, want)
		}
	}
}

// Codes as the PostgreSQL manual's appendix A lists them.
func TestPostgresKinds(t *testing.T) {
	t.Parallel()
	cases := map[string]ErrorKind{
		"23505": Unique, "23503": ForeignKey, "23502": NotNull, "23514": Check, "25006": ReadOnly,
		"40001": Conflict, "40P01": Conflict, "55P03": Busy, "57014": Busy, "25P03": Down,
		"57P01": Down, "53100": Down, "53300": Down, "08006": Down, "58030": Down, "42601": Other, "22001": Other,
	}
	e := &postgresEngine{}
	for code, want := range cases {
		err := e.wrap(fmt.Errorf("x: %w", &pgconn.PgError{Code: code}))
		if got := KindOf(err); got != want {
			t.Errorf("code %s is %s, want %s", code, got, want)
		}
		if again := e.wrap(err); again != err {
			t.Errorf("%v was wrapped twice", err)
		}
		_, isFault := fault.Of(unavailable(err))
		if isFault != (want == Busy || want == Conflict || want == Down) {
			t.Errorf("code %s becomes a fault: %v", code, isFault)
		}
	}
	for _, err := range []error{driver.ErrBadConn, io.ErrUnexpectedEOF, &pgconn.ConnectError{}} {
		if KindOf(e.wrap(err)) != Down {
			t.Errorf("%v is %s, want %s", err, KindOf(e.wrap(err)), Down)
		}
	}
	for _, err := range []error{context.Canceled, ErrNoRows, nil} {
		if e.wrap(err) != err {
			t.Errorf("%v became %v", err, e.wrap(err))
		}
	}
	if KindOf(e.wrap(errors.New("x"))) != Other || KindOf(sqliteEngine{}.wrap(errors.New("x"))) != Other {
		t.Error("an error without a code is of no kind")
	}
	f := fault.New(fault.Unavailable, "X", "x").Wrap(wrapCode(io.EOF, Down))
	if unavailable(f) != error(f) {
		t.Error("a fault was made into another")
	}
}
