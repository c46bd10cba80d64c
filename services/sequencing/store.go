package sequencing

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
)

// readWork gives a company's rates with their version as etag, or the defaults with the etag "0" when it
// has put none.
func readWork(ctx context.Context, tx *store.Tx, company string) (*sequencingv1.Work, int64, error) {
	var version int64
	var body []byte
	err := tx.QueryRow(ctx, "SELECT version, body FROM work WHERE company = ?", company).Scan(&version, &body)
	if errors.Is(err, store.ErrNoRows) {
		w := workPB(defaultRates())
		w.Etag = "0"
		return w, 0, nil
	}
	if err != nil {
		return nil, 0, fmt.Errorf("read rates of work: %w", err)
	}
	w := &sequencingv1.Work{}
	if err := proto.Unmarshal(body, w); err != nil {
		return nil, 0, fmt.Errorf("read kept rates of work: %w", err)
	}
	w.Etag = strconv.FormatInt(version, 10)
	return w, version, nil
}

// writeWork puts a company's rates in place of the old ones and tells the company's feed. With an etag it
// has to replace that very version, else it is a Conflict fault. Putting what is there already
// changes nothing, so a put may be repeated.
func writeWork(ctx context.Context, tx *store.Tx, company string, given *sequencingv1.Work, now int64) (*sequencingv1.Work, error) {
	before, version, err := readWork(ctx, tx, company)
	if err != nil {
		return nil, err
	}
	plain := proto.CloneOf(given)
	plain.Etag = before.Etag
	if version > 0 && proto.Equal(before, plain) {
		return before, nil
	}
	if tag := given.GetEtag(); tag != "" && tag != before.Etag {
		return nil, conflict(tag, before.Etag)
	}
	plain.Etag = ""
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(plain)
	if err != nil {
		return nil, fmt.Errorf("write rates of work: %w", err)
	}
	var rows int64
	if version == 0 {
		rows, err = tx.Exec(ctx, "INSERT INTO work (company, version, body, update_time) VALUES (?, 1, ?, ?)", company, body, now)
		if store.IsUnique(err) {
			return nil, conflict(before.Etag, "1")
		}
	} else {
		rows, err = tx.Exec(ctx, "UPDATE work SET version = version + 1, body = ?, update_time = ? WHERE company = ? AND version = ?",
			body, now, company, version)
	}
	if err != nil {
		return nil, fmt.Errorf("write rates of work: %w", err)
	}
	next := strconv.FormatInt(version+1, 10)
	if rows == 0 {
		return nil, conflict(before.Etag, next)
	}
	plain.Etag = next
	return plain, outbox.Add(ctx, tx, company, "work.put", "", "work", body)
}

func conflict(given, have string) error {
	return fault.New(fault.Conflict, ReasonEtag,
		"The rates of work are not the ones that were read (etag %q): they are now %q. Read them again and repeat the change.", given, have)
}
