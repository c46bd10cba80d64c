package sequencing

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// leaf is a message of which each company keeps one in its book: rates, rules, stock.
type leaf[T tagged] struct {
	// table names the table; noun is the message in words, in the plural.
	table, noun string
	// put is the kind of the feed's event.
	put string
	// fallback is what a company has that has put none; empty makes a message to read into.
	fallback, empty func() T
	// tag gives a message its etag.
	tag func(T, string)
}

// tagged is a message with an etag.
type tagged interface {
	proto.Message
	GetEtag() string
}

func workLeaf() leaf[*sequencingv1.Work] {
	return leaf[*sequencingv1.Work]{
		table: "work", noun: "rates of work", put: "work.put",
		fallback: func() *sequencingv1.Work { return workPB(defaultRates()) },
		empty:    func() *sequencingv1.Work { return &sequencingv1.Work{} },
		tag:      func(w *sequencingv1.Work, etag string) { w.Etag = etag },
	}
}

func rulesLeaf() leaf[*sequencingv1.StandRules] {
	return leaf[*sequencingv1.StandRules]{
		table: "stand_rules", noun: "rules of the stand check", put: "stand_rules.put",
		fallback: func() *sequencingv1.StandRules { return rulesPB(standing.DefaultRules()) },
		empty:    func() *sequencingv1.StandRules { return &sequencingv1.StandRules{} },
		tag:      func(r *sequencingv1.StandRules, etag string) { r.Etag = etag },
	}
}

func stockLeaf() leaf[*sequencingv1.BraceStock] {
	return leaf[*sequencingv1.BraceStock]{
		table: "brace_stock", noun: "lumber, fastenings and anchors", put: "brace_stock.put",
		fallback: func() *sequencingv1.BraceStock { return stockPB(brace.DefaultStock()) },
		empty:    func() *sequencingv1.BraceStock { return &sequencingv1.BraceStock{} },
		tag:      func(s *sequencingv1.BraceStock, etag string) { s.Etag = etag },
	}
}

// get gives the caller's leaf.
func (l leaf[T]) get(ctx context.Context, db *store.DB) (T, error) {
	var got T
	caller, err := identity.From(ctx)
	if err != nil {
		return got, err
	}
	err = db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		got, _, err = l.read(ctx, tx, caller.Company)
		return err
	})
	return got, err
}

// set puts a leaf in place of the caller's old one.
func (l leaf[T]) set(ctx context.Context, db *store.DB, given T, now int64) (T, error) {
	var put T
	caller, err := identity.From(ctx)
	if err != nil {
		return put, err
	}
	err = db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		put, err = l.write(ctx, tx, caller.Company, given, now)
		return err
	})
	return put, err
}

// read gives a company's leaf with its version as etag, or the fallback with the etag "0" when it has put
// none.
func (l leaf[T]) read(ctx context.Context, tx *store.Tx, company string) (T, int64, error) {
	var none T
	var version int64
	var body []byte
	err := tx.QueryRow(ctx, "SELECT version, body FROM "+l.table+" WHERE company = ?", company).Scan(&version, &body)
	if errors.Is(err, store.ErrNoRows) {
		w := l.fallback()
		l.tag(w, "0")
		return w, 0, nil
	}
	if err != nil {
		return none, 0, fmt.Errorf("read %s: %w", l.noun, err)
	}
	w := l.empty()
	if err := proto.Unmarshal(body, w); err != nil {
		return none, 0, fmt.Errorf("read kept %s: %w", l.noun, err)
	}
	l.tag(w, strconv.FormatInt(version, 10))
	return w, version, nil
}

// write puts a company's leaf in place of the old one and tells the company's feed. With an etag it
// has to replace that very version, else it is a Conflict fault. Putting what is there already
// changes nothing, so a put may be repeated.
func (l leaf[T]) write(ctx context.Context, tx *store.Tx, company string, given T, now int64) (T, error) {
	var none T
	before, version, err := l.read(ctx, tx, company)
	if err != nil {
		return none, err
	}
	plain := proto.CloneOf(given)
	l.tag(plain, before.GetEtag())
	if version > 0 && proto.Equal(before, plain) {
		return before, nil
	}
	if tag := given.GetEtag(); tag != "" && tag != before.GetEtag() {
		return none, l.conflict(tag, before.GetEtag())
	}
	l.tag(plain, "")
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(plain)
	if err != nil {
		return none, fmt.Errorf("write %s: %w", l.noun, err)
	}
	var rows int64
	if version == 0 {
		rows, err = tx.Exec(ctx, "INSERT INTO "+l.table+" (company, version, body, update_time) VALUES (?, 1, ?, ?)", company, body, now)
		if store.IsUnique(err) {
			return none, l.conflict(before.GetEtag(), "1")
		}
	} else {
		rows, err = tx.Exec(ctx, "UPDATE "+l.table+" SET version = version + 1, body = ?, update_time = ? WHERE company = ? AND version = ?",
			body, now, company, version)
	}
	if err != nil {
		return none, fmt.Errorf("write %s: %w", l.noun, err)
	}
	next := strconv.FormatInt(version+1, 10)
	if rows == 0 {
		return none, l.conflict(before.GetEtag(), next)
	}
	l.tag(plain, next)
	return plain, outbox.Add(ctx, tx, company, l.put, "", l.table, body)
}

func (l leaf[T]) conflict(given, have string) error {
	return fault.New(fault.Conflict, ReasonEtag,
		"The %s are not the ones that were read (etag %q): they are now %q. Read them again and repeat the change.", l.noun, given, have)
}
