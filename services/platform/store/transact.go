package store

import (
	"context"
	"errors"
	"fmt"
	"time"
)

type writing struct{}

// Write runs fn in a transaction that no other write overlaps, and returns once it is on disk.
// When fn, a statement or the commit fails, nothing of it is kept and the error is returned.
// A caller whose context ends while it waits for its turn gets the context's error; once fn has
// run, Write sees the commit through.
func (db *DB) Write(ctx context.Context, fn func(ctx context.Context, tx *Tx) error) error {
	if ctx.Value(writing{}) == db {
		return errNested
	}
	start := time.Now()
	err := db.before("write")
	if err == nil {
		err = db.writer.write(context.WithValue(ctx, writing{}, db), fn)
	}
	db.metrics.done("write", start, err)
	return unavailable(err)
}

// Read runs fn on one snapshot of the committed rows. Whatever fn does, it is rolled back; a
// statement that tries to write fails with kind ReadOnly.
func (db *DB) Read(ctx context.Context, fn func(ctx context.Context, tx *Tx) error) error {
	start := time.Now()
	err := db.before("read")
	if err == nil {
		err = db.read(ctx, fn)
	}
	db.metrics.done("read", start, err)
	return unavailable(err)
}

func (db *DB) read(ctx context.Context, fn func(ctx context.Context, tx *Tx) error) error {
	on, err := db.reads.BeginTx(ctx, db.engine.readOptions())
	if err != nil {
		return db.contextFirst(ctx, fmt.Errorf("begin read: %w", db.engine.wrap(err)))
	}
	tx := &Tx{db: db, on: on}
	// Also when fn panics. A rollback that fails makes database/sql drop the connection.
	defer func() {
		_ = tx.end(nil)
		_ = on.Rollback()
	}()
	return db.contextFirst(ctx, tx.end(fn(ctx, tx)))
}

// contextFirst puts a context that ended in front of what the engine made of it.
func (db *DB) contextFirst(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil && !errors.Is(err, ctx.Err()) {
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	}
	return err
}

func (db *DB) before(op string) error {
	if db.config.Before == nil {
		return nil
	}
	return db.config.Before(op)
}
