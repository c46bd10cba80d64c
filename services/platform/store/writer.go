package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
)

const (
	// batchTime is how long a batch takes in more writes before it commits.
	batchTime = 20 * time.Millisecond
	// attempts is how often a write is run that others, or a lost connection, undid.
	attempts = 4
)

// writer owns the one connection that writes. It takes waiting writes into a batch, lets each
// run in a savepoint, commits once, and only then answers all of them.
//
// A function runs on its caller's goroutine, while the writer waits: so a panic goes where it
// belongs, and the caller's stack is in its trace.
type writer struct {
	pool    *sql.DB
	engine  engine
	db      *DB
	queue   chan *write
	closing chan struct{}
	closed  chan struct{}
	once    sync.Once
	conn    *sql.Conn // nil until needed, and after it broke
	clean   bool      // nothing has run since the savepoint was set
}

// savepoint marks where the member that runs now began.
const savepoint = "SAVEPOINT member"

// A write waits in the queue until the writer claims it or its caller leaves, whichever is
// first.
const (
	waiting int32 = iota
	claimed
	left
)

type write struct {
	state  atomic.Int32
	turn   chan *Tx     // the writer: run now; possibly more than once
	ran    chan outcome // the caller: it has run
	answer chan error   // the writer: the last word
}

// outcome is how one run of a function ended.
type outcome struct {
	err error
	// gone: the function did not return (it panicked); nobody waits for an answer.
	gone bool
}

// member is a write that ran in a batch.
type member struct {
	w      *write
	err    error
	topics []string
}

func newWriter(pool *sql.DB, e engine, db *DB) *writer {
	w := &writer{
		pool: pool, engine: e, db: db,
		queue: make(chan *write), closing: make(chan struct{}), closed: make(chan struct{}),
	}
	go w.loop()
	return w
}

func (w *writer) close() error {
	w.once.Do(func() { close(w.closing) })
	<-w.closed
	w.discard(false)
	return w.pool.Close()
}

// write is the caller's side.
func (w *writer) write(ctx context.Context, fn func(context.Context, *Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	job := &write{turn: make(chan *Tx), ran: make(chan outcome), answer: make(chan error, 1)}
	// The queue has no buffer: what has been sent has been received, and will be answered.
	select {
	case w.queue <- job:
	case <-ctx.Done():
		return ctx.Err()
	case <-w.closing:
		return ErrClosed
	}
	done := ctx.Done()
	for {
		select {
		case tx := <-job.turn:
			job.run(ctx, tx, fn)
		case err := <-job.answer:
			return err
		case <-done:
			if job.state.CompareAndSwap(waiting, left) {
				return ctx.Err()
			}
			done = nil
		}
	}
}

// run lets the function run and tells the writer how it went, even when it panics.
func (job *write) run(ctx context.Context, tx *Tx, fn func(context.Context, *Tx) error) {
	out := outcome{gone: true}
	defer func() {
		out.err = tx.end(out.err)
		job.ran <- out
	}()
	out.err = fn(ctx, tx)
	out.gone = false
}

func (w *writer) loop() {
	defer close(w.closed)
	for {
		select {
		case first := <-w.queue:
			w.batch(first)
		case <-w.closing:
			return
		}
	}
}

// batch runs a write and those that wait behind it, commits, and answers.
func (w *writer) batch(first *write) {
	if !first.state.CompareAndSwap(waiting, claimed) {
		return
	}
	if err := w.begin(); err != nil {
		first.answer <- fmt.Errorf("begin write: %w", err)
		return
	}
	members, err := w.collect(first)
	w.db.metrics.batch(len(members))
	if err == nil {
		err = w.commit(members)
	}
	if err == nil {
		w.settle(members)
		return
	}
	_ = w.rollback()
	for _, m := range members {
		if uncertain(err) || len(members) == 1 && !lost(err) {
			m.w.answer <- err
			continue
		}
		// The trouble may be another member's. What was not committed may run again.
		w.db.metrics.retried()
		w.alone(m.w)
	}
}

// lost says whether a transaction fell to others or to a broken connection.
func lost(err error) bool {
	kind := KindOf(err)
	return kind == Conflict || kind == Down
}

// uncertain says whether a commit may have been kept although it failed.
func uncertain(err error) bool {
	var c *commitError
	return errors.As(err, &c) && !undone(err)
}

// commitError marks an error of the COMMIT itself.
type commitError struct{ cause error }

func (e *commitError) Error() string { return fmt.Sprintf("commit: %v", e.cause) }
func (e *commitError) Unwrap() error { return e.cause }

// alone runs one write in a transaction of its own, several times if need be.
func (w *writer) alone(job *write) {
	var err error
	for range attempts {
		if err = w.begin(); err != nil {
			break
		}
		m, broken := w.member(job)
		if m == nil {
			// Its function panicked this time.
			_ = w.rollback()
			return
		}
		if broken == nil {
			broken = w.commit([]member{*m})
		}
		if broken == nil {
			w.settle([]member{*m})
			return
		}
		_ = w.rollback()
		err = broken
		if uncertain(err) || !lost(err) {
			break
		}
	}
	job.answer <- err
}

// collect runs writes until none waits, the batch is full, or its time is up. An error means
// that the whole transaction is lost.
func (w *writer) collect(first *write) ([]member, error) {
	var members []member
	end := time.Now().Add(batchTime)
	for job := first; job != nil; job = w.next(len(members), end) {
		m, err := w.member(job)
		if m != nil {
			members = append(members, *m)
		}
		if err != nil {
			return members, err
		}
	}
	return members, nil
}

func (w *writer) next(have int, end time.Time) *write {
	// Its time is up even when more writes wait: those that have run wait for the commit.
	if have >= w.engine.maxBatch() || time.Now().After(end) {
		return nil
	}
	for yielded := false; ; {
		select {
		case job := <-w.queue:
			if job.state.CompareAndSwap(waiting, claimed) {
				return job
			}
		default:
			// Callers that the last commit has just answered get a chance to come again.
			if yielded {
				return nil
			}
			yielded = true
			runtime.Gosched()
		}
	}
}

// member runs one write in a savepoint. It gives nil when the function panicked, and an error
// when the transaction as a whole is lost.
func (w *writer) member(job *write) (*member, error) {
	if !w.clean {
		// One round trip: what has run so far is part of the transaction, and here is a new mark.
		if err := w.exec("RELEASE " + savepoint + "; " + savepoint); err != nil {
			return &member{w: job}, err
		}
	}
	w.clean = false
	tx := &Tx{db: w.db, on: w.conn, shared: true}
	job.turn <- tx
	out := <-job.ran
	var m *member
	if !out.gone {
		m = &member{w: job, err: out.err}
	}
	topics, failed := tx.outcome()
	if out.err == nil && !out.gone {
		m.topics = topics
		return m, nil
	}
	if KindOf(failed) == Conflict {
		// PostgreSQL wants the whole transaction to be run again.
		return m, failed
	}
	if err := w.exec("ROLLBACK TO " + savepoint); err != nil {
		// As when SQLite ran out of disk and has rolled everything back itself.
		if failed != nil {
			err = failed
		}
		return m, err
	}
	w.clean = true
	return m, nil
}

// settle tells everybody, after the commit.
func (w *writer) settle(members []member) {
	for _, m := range members {
		m.w.answer <- m.err
	}
	for _, topic := range topicsOf(members) {
		w.db.hub.wake(topic)
	}
}

func topicsOf(members []member) []string {
	var topics []string
	seen := map[string]bool{}
	for _, m := range members {
		for _, t := range m.topics {
			if !seen[t] {
				seen[t] = true
				topics = append(topics, t)
			}
		}
	}
	return topics
}

// begin starts a transaction, over a new connection when the kept one has gone stale.
func (w *writer) begin() error {
	kept := w.conn != nil
	err := w.tryBegin()
	if kept && KindOf(err) == Down {
		err = w.tryBegin()
	}
	return err
}

func (w *writer) tryBegin() error {
	if err := w.connect(); err != nil {
		return err
	}
	ctx, cancel := w.engine.detach()
	defer cancel()
	err := w.wrap(w.engine.begin(ctx, w.conn))
	w.clean = err == nil
	if err != nil {
		_ = w.rollback()
	}
	return err
}

func (w *writer) connect() error {
	if w.conn != nil {
		return nil
	}
	ctx, cancel := w.engine.detach()
	defer cancel()
	conn, err := w.pool.Conn(ctx)
	if err != nil {
		return w.wrap(err)
	}
	w.conn = conn
	return nil
}

func (w *writer) commit(members []member) error {
	if topics := topicsOf(members); len(topics) > 0 {
		ctx, cancel := w.engine.detach()
		err := w.wrap(w.engine.publish(ctx, w.conn, topics))
		cancel()
		if err != nil {
			return err
		}
	}
	// Releasing the savepoint first makes sure that PostgreSQL does not take a COMMIT of a failed
	// transaction for a rollback, without a word.
	if err := w.exec("RELEASE " + savepoint + "; COMMIT"); err != nil {
		return &commitError{err}
	}
	return nil
}

// rollback leaves the connection outside any transaction, or drops it.
func (w *writer) rollback() error {
	if w.conn == nil {
		return nil
	}
	err := w.exec("ROLLBACK")
	if err != nil {
		// SQLite has already rolled back when a statement ran out of disk; a broken connection
		// has gone. Either way a new connection is certainly in no transaction.
		w.discard(true)
		w.db.config.Logger.Warn("the store's connection for writing is opened anew",
			zap.String("schema", w.db.config.Schema), zap.Error(err))
	}
	return err
}

// discard gives the connection back, or drops it when it is not to be trusted.
func (w *writer) discard(broken bool) {
	if w.conn == nil {
		return
	}
	if broken {
		_ = w.conn.Raw(func(any) error { return driver.ErrBadConn })
	}
	_ = w.conn.Close()
	w.conn = nil
}

func (w *writer) exec(statement string) error {
	ctx, cancel := w.engine.detach()
	defer cancel()
	_, err := w.conn.ExecContext(ctx, statement)
	return w.wrap(err)
}

// wrap is engine.wrap, where a context that ended was the store's own limit.
func (w *writer) wrap(err error) error {
	err = w.engine.wrap(err)
	if isContext(err) {
		return &Error{Kind: Down, Cause: err}
	}
	return err
}
