package rigging

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/store"
)

// shelf is one part of the company book: cranes or gear, all of one message type.
type shelf[T item] struct {
	// table names the table; noun is one item in words.
	table, noun string
	// most is how many a company may hold.
	most int
	// missing is the reason of an id that is not there; put is the kind of the feed's event.
	missing, put string
	// empty makes an item to read into; tag gives it an etag.
	empty func() T
	tag   func(item T, etag string)
}

// item is a message of the book.
type item interface {
	proto.Message
	GetId() string
	GetEtag() string
}

func cranes() shelf[*riggingv1.Crane] {
	return shelf[*riggingv1.Crane]{
		table: "crane", noun: "crane", most: 500, missing: ReasonCraneNotFound, put: "crane.put",
		empty: func() *riggingv1.Crane { return &riggingv1.Crane{} },
		tag:   func(c *riggingv1.Crane, etag string) { c.Etag = etag },
	}
}

func gears() shelf[*riggingv1.Gear] {
	return shelf[*riggingv1.Gear]{
		table: "gear", noun: "gear", most: 500, missing: ReasonGearNotFound, put: "gear.put",
		empty: func() *riggingv1.Gear { return &riggingv1.Gear{} },
		tag:   func(g *riggingv1.Gear, etag string) { g.Etag = etag },
	}
}

// get gives one item of a company, with its etag; one that is not there is a NotFound fault.
func (sh shelf[T]) get(ctx context.Context, tx *store.Tx, company, id string) (T, error) {
	var version int64
	var body []byte
	err := tx.QueryRow(ctx, "SELECT version, body FROM "+sh.table+" WHERE company = ? AND id = ?", company, id).Scan(&version, &body)
	if errors.Is(err, store.ErrNoRows) {
		var none T
		return none, fault.New(fault.NotFound, sh.missing, "There is no %s %s in the company book; list what it holds.", sh.noun, strconv.Quote(id))
	}
	if err != nil {
		var none T
		return none, fmt.Errorf("read %s %s: %w", sh.noun, id, err)
	}
	return sh.read(version, body)
}

func (sh shelf[T]) read(version int64, body []byte) (T, error) {
	it := sh.empty()
	if err := proto.Unmarshal(body, it); err != nil {
		return it, fmt.Errorf("read kept %s: %w", sh.noun, err)
	}
	sh.tag(it, strconv.FormatInt(version, 10))
	return it, nil
}

// list gives up to limit items of a company with ids after the given one, by id.
func (sh shelf[T]) list(ctx context.Context, tx *store.Tx, company, after string, limit int) ([]T, error) {
	rows, err := tx.Query(ctx, "SELECT version, body FROM "+sh.table+
		" WHERE company = ? AND id > ? ORDER BY id LIMIT ?", company, after, limit)
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", sh.noun, err)
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		var version int64
		var body []byte
		if err := rows.Scan(&version, &body); err != nil {
			return nil, fmt.Errorf("list %s: %w", sh.noun, err)
		}
		it, err := sh.read(version, body)
		if err != nil {
			return nil, err
		}
		out = append(out, it)
	}
	return out, rows.Err()
}

// store puts an item in place of the old one or as a new one and tells the company's feed. With an etag
// it has to replace that very version, else it is a Conflict fault. Putting what is there already
// changes nothing, so a put may be repeated.
func (sh shelf[T]) store(ctx context.Context, tx *store.Tx, company string, given T, now int64) (T, error) {
	var none T
	plain := proto.CloneOf(given)
	sh.tag(plain, "")
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(plain)
	if err != nil {
		return none, fmt.Errorf("write %s: %w", sh.noun, err)
	}
	before, err := sh.get(ctx, tx, company, given.GetId())
	version := int64(1)
	switch {
	case fault.HasReason(err, sh.missing):
		err = sh.insert(ctx, tx, company, given, body, now)
	case err != nil:
	case sh.same(before, plain):
		return before, nil
	default:
		version, err = sh.replace(ctx, tx, company, before, given, body, now)
	}
	if err != nil {
		return none, err
	}
	sh.tag(plain, strconv.FormatInt(version, 10))
	return plain, outbox.Add(ctx, tx, company, sh.put, "", given.GetId(), body)
}

func (sh shelf[T]) same(before, plain T) bool {
	stripped := proto.CloneOf(before)
	sh.tag(stripped, "")
	return proto.Equal(stripped, plain)
}

func (sh shelf[T]) insert(ctx context.Context, tx *store.Tx, company string, given T, body []byte, now int64) error {
	if given.GetEtag() != "" {
		return sh.conflict(given.GetId(), given.GetEtag(), "it is not in the book")
	}
	var count int
	if err := tx.QueryRow(ctx, "SELECT COUNT(*) FROM "+sh.table+" WHERE company = ?", company).Scan(&count); err != nil {
		return fmt.Errorf("count %s: %w", sh.noun, err)
	}
	if count >= sh.most {
		return fault.New(fault.Precondition, ReasonBookFull, "The company book holds %d entries of this kind, as many as it may; put the new one in place of an old one.", sh.most)
	}
	_, err := tx.Exec(ctx, "INSERT INTO "+sh.table+" (company, id, version, body, update_time) VALUES (?, ?, 1, ?, ?)",
		company, given.GetId(), body, now)
	if store.IsUnique(err) {
		return sh.conflict(given.GetId(), "", "another put it in at the same moment")
	}
	if err != nil {
		return fmt.Errorf("put %s: %w", sh.noun, err)
	}
	return nil
}

func (sh shelf[T]) replace(ctx context.Context, tx *store.Tx, company string, before, given T, body []byte, now int64) (int64, error) {
	if tag := given.GetEtag(); tag != "" && tag != before.GetEtag() {
		return 0, sh.conflict(given.GetId(), tag, "it is now "+strconv.Quote(before.GetEtag()))
	}
	version, err := strconv.ParseInt(before.GetEtag(), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("version of %s %s: %w", sh.noun, given.GetId(), err)
	}
	rows, err := tx.Exec(ctx, "UPDATE "+sh.table+" SET version = version + 1, body = ?, update_time = ? WHERE company = ? AND id = ? AND version = ?",
		body, now, company, given.GetId(), version)
	if err != nil {
		return 0, fmt.Errorf("put %s: %w", sh.noun, err)
	}
	if rows == 0 {
		return 0, sh.conflict(given.GetId(), before.GetEtag(), "another changed it at the same moment")
	}
	return version + 1, nil
}

func (sh shelf[T]) conflict(id, etag, why string) error {
	return fault.New(fault.Conflict, ReasonEtag, "The %s %s is not the one that was read (etag %s): %s. Read it again and repeat the change.",
		sh.noun, strconv.Quote(id), strconv.Quote(etag), why)
}
