package sitelog

import (
	"context"
	"errors"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/sitelog/entry"
)

// logOf names a job's log.
type logOf struct{ Company, Job string }

// topic is what a watch of the log listens to.
func (l logOf) topic() string { return "entries:" + l.Company + ":" + l.Job }

const (
	entryColumns = `id, kind, occur_time, marks, assembly, move, revision, cause, delay_minutes, note, corrects, author, accept_time, position`
	// rowsAtOnce keeps a statement well below the number of parameters that either database takes.
	rowsAtOnce = 50
)

// lockLog holds the log's counter until the transaction ends, and gives the position of its newest entry.
func lockLog(ctx context.Context, tx *store.Tx, l logOf) (last int32, err error) {
	_, err = tx.Exec(ctx, `INSERT INTO job_log (company, job, position) VALUES (?, ?, 0)
		ON CONFLICT (company, job) DO UPDATE SET position = job_log.position`, l.Company, l.Job)
	if err != nil {
		return 0, err
	}
	return lastPosition(ctx, tx, l)
}

// lastPosition is that of the newest entry, 0 for an empty log.
func lastPosition(ctx context.Context, tx *store.Tx, l logOf) (int32, error) {
	var last int32
	err := tx.QueryRow(ctx, `SELECT position FROM job_log WHERE company = ? AND job = ?`, l.Company, l.Job).Scan(&last)
	if errors.Is(err, store.ErrNoRows) {
		return 0, nil
	}
	return last, err
}

// findKnown tells what the log has under the ids.
func findKnown(ctx context.Context, tx *store.Tx, l logOf, ids []string) (map[string]entry.Known, error) {
	known := make(map[string]entry.Known, len(ids))
	if len(ids) == 0 {
		return known, nil
	}
	args := []any{l.Company, l.Job}
	for _, id := range ids {
		args = append(args, id)
	}
	rows, err := tx.Query(ctx, `SELECT id, digest, kind, position FROM entry WHERE company = ? AND job = ? AND id IN (`+places(len(ids))+`)`, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var id string
		var k entry.Known
		if err := rows.Scan(&id, &k.Digest, &k.Kind, &k.Position); err != nil {
			return nil, err
		}
		known[id] = k
	}
	return known, rows.Err()
}

func places(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }

// appendEntries puts entries at the end of a log whose counter is locked.
func appendEntries(ctx context.Context, tx *store.Tx, l logOf, entries []entry.Accepted) error {
	for rest := entries; len(rest) > 0; {
		n := min(len(rest), rowsAtOnce)
		row := "(" + places(17) + ")"
		var args []any
		for _, e := range rest[:n] {
			args = append(args, l.Company, l.Job, e.Position, e.ID, e.Digest(), int64(e.Kind), store.Micros(e.OccurTime),
				strings.Join(e.Marks, "\n"), e.Assembly, int64(e.Move), int64(e.Revision), int64(e.Cause), int64(e.DelayMinutes),
				e.Note, e.Corrects, e.Author, store.Micros(e.AcceptTime))
		}
		_, err := tx.Exec(ctx, `INSERT INTO entry (company, job, position, id, digest, kind, occur_time, marks, assembly, move, revision, cause, delay_minutes, note, corrects, author, accept_time)
			VALUES `+strings.TrimSuffix(strings.Repeat(row+", ", n), ", "), args...)
		if err != nil {
			return err
		}
		rest = rest[n:]
	}
	last := entries[len(entries)-1].Position
	_, err := tx.Exec(ctx, `UPDATE job_log SET position = ? WHERE company = ? AND job = ?`, last, l.Company, l.Job)
	return err
}

// filter says which entries a list shows. Zero times do not bound.
type filter struct {
	Kinds      []entry.Kind
	Start, End time.Time
	// Before is the last entry of the page before: entries that come behind it are shown.
	Before *spot
}

// spot is a place in the order by time.
type spot struct {
	Micros   int64
	Position int64
}

// listEntries gives at most limit entries, newest first by the time at which they happened, then by position.
func listEntries(ctx context.Context, tx *store.Tx, l logOf, f filter, limit int) ([]entry.Accepted, error) {
	where, args := `company = ? AND job = ?`, []any{l.Company, l.Job}
	if len(f.Kinds) > 0 {
		where += ` AND kind IN (` + places(len(f.Kinds)) + `)`
		for _, k := range f.Kinds {
			args = append(args, int64(k))
		}
	}
	if !f.Start.IsZero() {
		where, args = where+` AND occur_time >= ?`, append(args, store.Micros(f.Start))
	}
	if !f.End.IsZero() {
		where, args = where+` AND occur_time < ?`, append(args, store.Micros(f.End))
	}
	if f.Before != nil {
		where, args = where+` AND (occur_time, position) < (?, ?)`, append(args, f.Before.Micros, f.Before.Position)
	}
	return queryEntries(ctx, tx, where+` ORDER BY occur_time DESC, position DESC LIMIT ?`, append(args, limit)...)
}

// entriesAfter gives at most limit entries behind a position, in the order of positions.
func entriesAfter(ctx context.Context, tx *store.Tx, l logOf, position int32, limit int) ([]entry.Accepted, error) {
	return queryEntries(ctx, tx, `company = ? AND job = ? AND position > ? ORDER BY position LIMIT ?`, l.Company, l.Job, position, limit)
}

func queryEntries(ctx context.Context, tx *store.Tx, where string, args ...any) ([]entry.Accepted, error) {
	rows, err := tx.Query(ctx, `SELECT `+entryColumns+` FROM entry WHERE `+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var entries []entry.Accepted
	for rows.Next() {
		var e entry.Accepted
		var occurred, accepted int64
		var marks string
		if err := rows.Scan(&e.ID, &e.Kind, &occurred, &marks, &e.Assembly, &e.Move, &e.Revision, &e.Cause, &e.DelayMinutes,
			&e.Note, &e.Corrects, &e.Author, &accepted, &e.Position); err != nil {
			return nil, err
		}
		if marks != "" {
			e.Marks = strings.Split(marks, "\n")
		}
		e.OccurTime, e.AcceptTime = store.Time(occurred), store.Time(accepted)
		entries = append(entries, e)
	}
	return entries, rows.Err()
}
