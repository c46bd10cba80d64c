package store

import (
	"context"
	"database/sql"
	"errors"
	"sync"
	"time"
)

// querier is a connection or a transaction of database/sql.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// Tx is a transaction under way. It belongs to the function that it was given to, and is of
// no use after that function returns.
type Tx struct {
	db *DB
	on querier
	// shared is set for writes: the connection goes on to serve others, so the caller's
	// context is asked before a statement but can not interrupt it.
	shared bool

	mu     sync.Mutex
	ended  bool
	failed error // the first error of a statement
	open   *Rows
	topics []string
}

// Now is the store's clock.
func (tx *Tx) Now() time.Time { return tx.db.Now() }

// Notify wakes the listeners of a topic when, and only when, the transaction is committed.
// A topic is short text, at most 200 bytes.
func (tx *Tx) Notify(_ context.Context, topic string) error {
	tx.mu.Lock()
	defer tx.mu.Unlock()
	switch {
	case tx.ended:
		return errEnded
	case !tx.shared:
		return &Error{Kind: ReadOnly, Cause: errors.New("a Read has nothing to notify of")}
	case topic == "" || len(topic) > 200:
		return errors.New("store: a topic has 1 to 200 bytes")
	}
	tx.topics = append(tx.topics, topic)
	return nil
}

// Exec runs a statement and says how many rows it changed.
func (tx *Tx) Exec(ctx context.Context, query string, args ...any) (int64, error) {
	tx.mu.Lock()
	defer tx.mu.Unlock()
	if err := tx.ready(ctx); err != nil {
		return 0, err
	}
	ctx, cancel := tx.statement(ctx)
	defer cancel()
	result, err := tx.on.ExecContext(ctx, tx.db.engine.query(query), args...)
	if err != nil {
		return 0, tx.fail(err)
	}
	n, err := result.RowsAffected()
	if err != nil {
		return 0, tx.fail(err)
	}
	return n, nil
}

// Query runs a statement that gives rows. Close them before the next statement.
func (tx *Tx) Query(ctx context.Context, query string, args ...any) (*Rows, error) {
	tx.mu.Lock()
	defer tx.mu.Unlock()
	if err := tx.ready(ctx); err != nil {
		return nil, err
	}
	ctx, cancel := tx.statement(ctx)
	rows, err := tx.on.QueryContext(ctx, tx.db.engine.query(query), args...)
	if err != nil {
		cancel()
		return nil, tx.fail(err)
	}
	tx.open = &Rows{tx: tx, rows: rows, cancel: cancel}
	return tx.open, nil
}

// QueryRow runs a statement that gives at most one row that matters; Scan it at once.
func (tx *Tx) QueryRow(ctx context.Context, query string, args ...any) *Row {
	rows, err := tx.Query(ctx, query, args...)
	return &Row{rows: rows, err: err}
}

// ready says whether a statement may start. The lock is held.
func (tx *Tx) ready(ctx context.Context) error {
	switch {
	case tx.ended:
		return errEnded
	case tx.failed != nil:
		return tx.failed
	case ctx.Err() != nil:
		tx.failed = ctx.Err()
		return tx.failed
	case tx.open != nil:
		tx.failed = errRowsOpen
		return errRowsOpen
	}
	return nil
}

// statement is the context that a statement runs under.
func (tx *Tx) statement(ctx context.Context) (context.Context, context.CancelFunc) {
	if tx.shared {
		return tx.db.engine.detach()
	}
	return ctx, func() {}
}

// fail keeps the first error: from then on the transaction can only end. The lock is held.
func (tx *Tx) fail(err error) error {
	err = tx.db.engine.wrap(err)
	if tx.shared && isContext(err) {
		// It was the store's own limit, not the caller's.
		err = &Error{Kind: Down, Cause: err}
	}
	if tx.failed == nil {
		tx.failed = err
	}
	return err
}

// end closes what the function left open and gives the error that the transaction ends with.
func (tx *Tx) end(err error) error {
	tx.mu.Lock()
	defer tx.mu.Unlock()
	tx.ended = true
	if tx.open != nil {
		tx.open.close()
		if tx.failed == nil {
			tx.failed = errors.New("store: the transaction's function left rows open")
		}
	}
	if err == nil {
		err = tx.failed
	}
	return err
}

// outcome is what the writer needs to know after end.
func (tx *Tx) outcome() (topics []string, failed error) {
	tx.mu.Lock()
	defer tx.mu.Unlock()
	return tx.topics, tx.failed
}

// Rows are the rows of a Query.
type Rows struct {
	tx     *Tx
	rows   *sql.Rows
	cancel context.CancelFunc
}

// Next goes to the next row and says whether there is one. After the last it closes the rows.
func (r *Rows) Next() bool {
	r.tx.mu.Lock()
	defer r.tx.mu.Unlock()
	if r.tx.ended || r.tx.open != r {
		return false
	}
	if r.rows.Next() {
		return true
	}
	if err := r.rows.Err(); err != nil {
		_ = r.tx.fail(err)
	}
	r.close()
	return false
}

// Scan reads the row's columns.
func (r *Rows) Scan(dest ...any) error {
	r.tx.mu.Lock()
	defer r.tx.mu.Unlock()
	if r.tx.ended {
		return errEnded
	}
	if err := r.rows.Scan(dest...); err != nil {
		return r.tx.fail(err)
	}
	return nil
}

// Err is the error that ended Next early, if any.
func (r *Rows) Err() error {
	r.tx.mu.Lock()
	defer r.tx.mu.Unlock()
	if r.tx.ended {
		return errEnded
	}
	if err := r.rows.Err(); err != nil {
		return r.tx.fail(err)
	}
	return nil
}

// Close ends the rows before the last one. It may be called again.
func (r *Rows) Close() error {
	r.tx.mu.Lock()
	defer r.tx.mu.Unlock()
	if r.tx.open != r {
		return nil
	}
	if err := r.close(); err != nil {
		return r.tx.fail(err)
	}
	return nil
}

func (r *Rows) close() error {
	err := r.rows.Close()
	r.cancel()
	if r.tx.open == r {
		r.tx.open = nil
	}
	return err
}

// Row is the row of a QueryRow.
type Row struct {
	rows *Rows
	err  error
}

// Scan reads the columns of the first row, or gives ErrNoRows.
func (r *Row) Scan(dest ...any) error {
	if r.err != nil {
		return r.err
	}
	if !r.rows.Next() {
		if err := r.rows.Err(); err != nil {
			return err
		}
		return ErrNoRows
	}
	if err := r.rows.Scan(dest...); err != nil {
		return errors.Join(err, r.rows.Close())
	}
	return r.rows.Close()
}
