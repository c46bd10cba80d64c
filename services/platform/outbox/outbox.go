// Package outbox keeps what happened in a company, in order, for those who follow it.
//
// An event is added in the transaction that makes it true. Its position comes from a counter
// of the company that is locked in that same transaction, so positions have no gaps and become
// visible in order: whoever has read up to a position has missed nothing before it.
package outbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/pikepole/pikepole/services/platform/store"
)

// Schema is the two tables, to be copied into the first migration of every service that writes.
const Schema = `CREATE TABLE outbox_head (
    company  TEXT   NOT NULL PRIMARY KEY,
    position BIGINT NOT NULL
);
CREATE TABLE outbox (
    company     TEXT   NOT NULL,
    position    BIGINT NOT NULL,
    kind        TEXT   NOT NULL,
    job         TEXT   NOT NULL,
    subject     TEXT   NOT NULL,
    payload     BLOB   NOT NULL,
    create_time BIGINT NOT NULL,
    PRIMARY KEY (company, position)
);
`

// Event is one thing that happened.
type Event struct {
	Company string
	// Position is 1, 2, 3, … within the company and service.
	Position int64
	// Kind is a word from the service's list: "frame.issued".
	Kind string
	// Job is the job's id, or "".
	Job string
	// Subject is the id of what it happened to: a revision, a crane.
	Subject    string
	Payload    []byte
	CreateTime time.Time
}

// Add adds an event at the next position of the company, and wakes listeners of Topic when
// the transaction is committed. job and payload may be empty.
func Add(ctx context.Context, tx *store.Tx, company, kind, job, subject string, payload []byte) error {
	if company == "" || kind == "" {
		return errors.New("add to outbox: company and kind must be named")
	}
	var position int64
	err := tx.QueryRow(ctx, `INSERT INTO outbox_head (company, position) VALUES (?, 1)
		ON CONFLICT (company) DO UPDATE SET position = outbox_head.position + 1 RETURNING position`, company).Scan(&position)
	if err != nil {
		return fmt.Errorf("add to outbox: next position: %w", err)
	}
	if payload == nil {
		payload = []byte{}
	}
	_, err = tx.Exec(ctx, `INSERT INTO outbox (company, position, kind, job, subject, payload, create_time)
		VALUES (?, ?, ?, ?, ?, ?, ?)`, company, position, kind, job, subject, payload, store.Micros(tx.Now()))
	if err != nil {
		return fmt.Errorf("add to outbox: %w", err)
	}
	return tx.Notify(ctx, Topic(company))
}

// After lists the company's events behind a position, in order, at most limit of them.
func After(ctx context.Context, tx *store.Tx, company string, position int64, limit int) ([]Event, error) {
	rows, err := tx.Query(ctx, `SELECT position, kind, job, subject, payload, create_time FROM outbox
		WHERE company = ? AND position > ? ORDER BY position LIMIT ?`, company, position, limit)
	if err != nil {
		return nil, fmt.Errorf("read outbox: %w", err)
	}
	defer func() { _ = rows.Close() }()
	var events []Event
	for rows.Next() {
		e := Event{Company: company}
		var micros int64
		if err := rows.Scan(&e.Position, &e.Kind, &e.Job, &e.Subject, &e.Payload, &micros); err != nil {
			return nil, fmt.Errorf("read outbox: %w", err)
		}
		e.CreateTime = store.Time(micros)
		events = append(events, e)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read outbox: %w", err)
	}
	return events, nil
}

// Head is the position of the company's newest event, 0 when there is none.
func Head(ctx context.Context, tx *store.Tx, company string) (int64, error) {
	var position int64
	err := tx.QueryRow(ctx, "SELECT position FROM outbox_head WHERE company = ?", company).Scan(&position)
	if err != nil && !errors.Is(err, store.ErrNoRows) {
		return 0, fmt.Errorf("read head of outbox: %w", err)
	}
	return position, nil
}

// Topic is what to listen to for a company's events.
func Topic(company string) string { return "outbox:" + company }
