package storetest

import (
	"bytes"
	"context"
	"errors"
	"math"
	"testing"
	"testing/fstest"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store"
)

func testSettings(t *testing.T, b *bench) {
	got, err := b.Settings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]map[string]string{
		"sqlite": {"journal_mode": "wal", "synchronous": "full", "foreign_keys": "on", "busy_timeout": "5000 ms"},
		"postgres": {
			"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on",
			"transaction_isolation": "read committed", "search_path": "contract",
		},
	}[got["engine"]]
	if want == nil || got["version"] == "" {
		t.Errorf("engine %q, version %q", got["engine"], got["version"])
	}
	for name, value := range want {
		if got[name] != value {
			t.Errorf("%s is %q, want %q", name, got[name], value)
		}
	}
}

func testSnapshot(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		first, err := namesIn(ctx, tx)
		if err != nil {
			return err
		}
		// A write beside a read neither waits for it nor shows in it.
		if err := b.Write(t.Context(), insert("post", 1)); err != nil {
			return err
		}
		second, err := namesIn(ctx, tx)
		if len(first) != 1 || len(second) != 1 {
			t.Errorf("the read saw %v, then %v", first, second)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	b.expect(t, "beam post")
}

func testReadOnly(t *testing.T, b *bench) {
	b.put(t, "beam", 1)
	for _, statement := range []string{
		"INSERT INTO thing (name) VALUES ('post')", "DELETE FROM thing", "CREATE TABLE other (n BIGINT)",
	} {
		err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.Exec(ctx, statement)
			return err
		})
		expectKind(t, err, store.ReadOnly)
		err = b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_, _ = tx.Exec(ctx, statement) // hidden
			return nil
		})
		expectKind(t, err, store.ReadOnly)
	}
	err := b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error { return tx.Notify(ctx, "x") })
	expectKind(t, err, store.ReadOnly)
	b.expect(t, "beam")
}

func testTypes(t *testing.T, b *bench) {
	body := []byte{0, 1, 0xff, '\''}
	share := math.Nextafter(1.0/3, 1)
	text := "3½″ – 'quoted' ?"
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "INSERT INTO thing (name, count, share, body, flag, text) VALUES (?, ?, ?, ?, ?, ?)",
			"beam", int64(math.MaxInt64), share, body, true, text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var (
			count    int64
			gotShare float64
			gotBody  []byte
			flag     bool
			gotText  string
		)
		row := tx.QueryRow(ctx, "SELECT count, share, body, flag, text FROM thing")
		if err := row.Scan(&count, &gotShare, &gotBody, &flag, &gotText); err != nil {
			return err
		}
		if count != math.MaxInt64 || gotShare != share || !bytes.Equal(gotBody, body) || !flag || gotText != text {
			t.Errorf("came back as %d %v %v %v %q", count, gotShare, gotBody, flag, gotText)
		}
		var wrong time.Time
		if err := tx.QueryRow(ctx, "SELECT text FROM thing").Scan(&wrong); err == nil {
			t.Error("a text was read as a time")
		}
		return nil
	})
	if err == nil {
		t.Error("a failed Scan did not fail the transaction")
	}
	micros := store.Micros(clock)
	if !store.Time(micros).Equal(clock.Truncate(time.Microsecond)) || store.Time(micros).Location() != time.UTC {
		t.Errorf("time comes back as %v", store.Time(micros))
	}
}

func testBytewise(t *testing.T, b *bench) {
	for _, name := range []string{"b", "a", "B", "A", "a-b", "ab", "é", "_"} {
		b.put(t, name, 1)
	}
	b.expect(t, "A B _ a a-b ab b é")
}

func testPlaceholders(t *testing.T, b *bench) {
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO thing (name, text) -- why?
			VALUES (?, 'it''s ?') /* or ? */`, "beam")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = b.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		var text string
		err := tx.QueryRow(ctx, `SELECT text AS "a?" FROM thing WHERE name = ? AND text <> ?`, "beam", "").Scan(&text)
		if text != "it's ?" {
			t.Errorf("text is %q", text)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

func testCancelledRead(t *testing.T, b *bench) {
	ctx, cancel := context.WithCancel(t.Context())
	err := b.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		cancel()
		var n int64
		return tx.QueryRow(ctx, "SELECT 1").Scan(&n)
	})
	expectError(t, err, context.Canceled)
	expectError(t, b.Read(ctx, func(context.Context, *store.Tx) error { return nil }), context.Canceled)
	// A statement under way is interrupted.
	ctx, cancel = context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	err = b.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		var n int64
		return tx.QueryRow(ctx, `WITH RECURSIVE c (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c WHERE n < 500000000)
			SELECT count(*) FROM c`).Scan(&n)
	})
	expectError(t, err, context.DeadlineExceeded)
	b.put(t, "beam", 1)
	b.expect(t, "beam")
}

func testListen(t *testing.T, b *bench) {
	other := b.open(t)
	here, there, quiet := b.Listen("a"), b.Listen("a"), b.Listen("b")
	var far *store.Listener
	if settings, err := b.Settings(t.Context()); err != nil {
		t.Fatal(err)
	} else if settings["engine"] == "postgres" {
		far = other.Listen("a")
	}
	notify := func() {
		t.Helper()
		err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			return errors.Join(tx.Notify(ctx, "a"), tx.Notify(ctx, "a"))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	drain(quiet)
	notify()
	<-here.C()
	<-there.C()
	if far != nil {
		// The other store may still have been connecting when the first was sent.
		<-far.C()
		notify()
		<-far.C()
	}
	here.Close()
	here.Close()
	for _, topic := range []string{"", string(make([]byte, 201))} {
		err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error { return tx.Notify(ctx, topic) })
		if err == nil {
			t.Errorf("a topic of %d bytes was taken", len(topic))
		}
	}
}

// drain takes a wake-up that may be waiting, as after a connection came up.
func drain(l *store.Listener) {
	select {
	case <-l.C():
	default:
	}
}

func testListenRollback(t *testing.T, b *bench) {
	l := b.Listen("a")
	err := b.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return errors.Join(tx.Notify(ctx, "a"), errTest)
	})
	expectError(t, err, errTest)
	settings, err := b.Settings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if settings["engine"] == "postgres" {
		return // a wake-up without a cause may come while the connection comes up
	}
	select {
	case <-l.C():
		t.Error("a write that was rolled back woke a listener")
	default:
	}
}

func testListenTick(t *testing.T, b *bench) {
	db := Open(t, store.Config{URL: b.url, Schema: "contract", Poll: time.Millisecond})
	l := db.Listen("never")
	for range 3 {
		<-l.C()
	}
}

func testMigrate(t *testing.T, b *bench) {
	if err := b.Migrate(t.Context(), Migrations()); err != nil {
		t.Errorf("second time: %v", err)
	}
	b.put(t, "beam", 1)
	if err := b.Migrate(t.Context(), fstest.MapFS{}); err == nil {
		t.Error("no migrations at all were accepted")
	}
	broken := fstest.MapFS{"migrations/00009_broken.sql": {Data: []byte("-- +goose Up\nCREATE TABLE;")}}
	if err := b.Migrate(t.Context(), broken); err == nil || fault.Is(err, fault.Unavailable) {
		t.Errorf("a broken migration gave %v", err)
	}
	fresh := Open(t, store.Config{URL: b.url, Schema: "fresh"})
	settings, err := b.Settings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if settings["engine"] == "sqlite" {
		return // one schema in a file
	}
	if err := fresh.MigrateTo(t.Context(), Migrations(), 1); err != nil {
		t.Fatal(err)
	}
	addPart := func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "SELECT n FROM part")
		return err
	}
	if err := fresh.Write(t.Context(), addPart); err == nil {
		t.Error("version 1 has a table of version 2")
	}
	if err := fresh.Migrate(t.Context(), Migrations()); err != nil {
		t.Fatal(err)
	}
	if err := fresh.Write(t.Context(), addPart); err != nil {
		t.Error(err)
	}
}
