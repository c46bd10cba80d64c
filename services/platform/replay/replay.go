// Package replay makes a repeat of a call safe: the same request id with the same request gives
// the first answer again, without a second effect; with another request it is refused.
package replay

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
)

// Schema is the table, to be copied into the first migration of every service that writes.
const Schema = `CREATE TABLE replay (
    company     TEXT   NOT NULL,
    person      TEXT   NOT NULL,
    method      TEXT   NOT NULL,
    request_id  TEXT   NOT NULL,
    body_hash   TEXT   NOT NULL,
    response    BLOB   NOT NULL,
    create_time BIGINT NOT NULL,
    PRIMARY KEY (company, method, person, request_id)
);
`

// MaxRequestID is the longest request id, in bytes.
const MaxRequestID = 128

// Once runs fn, which has the call's effect through tx and fills response, unless the same
// person has called the same method with the same request id before. Then it fills response
// with the first answer; when the request was another one, it is a Reused fault. The answer is
// kept in the same transaction as the effect. Without a request id it just runs fn.
//
// method is the RPC's full name. The request's own field request_id does not count as a
// difference. An answer that holds a secret is not to be kept: use OnceOnly.
func Once(
	ctx context.Context, tx *store.Tx, caller identity.Caller, method, requestID string,
	request, response proto.Message, fn func() error,
) error {
	seen, hash, err := look(ctx, tx, caller, method, requestID, request)
	switch {
	case err != nil:
		return err
	case seen != nil:
		proto.Reset(response)
		if err := proto.Unmarshal(seen.response, response); err != nil {
			return fmt.Errorf("read kept answer of %s: %w", method, err)
		}
		return nil
	}
	if err := fn(); err != nil {
		return err
	}
	answer, err := proto.Marshal(response)
	if err != nil {
		return fmt.Errorf("keep answer of %s: %w", method, err)
	}
	return keep(ctx, tx, caller, method, requestID, hash, answer)
}

// ReasonSpent: the request was carried out before, and its answer is shown only once.
const ReasonSpent = "REQUEST_ID_SPENT"

// OnceOnly is Once for calls whose answer holds a secret that is shown once: the answer is not
// kept, and a repeat with the same request is an AlreadyExists fault REQUEST_ID_SPENT.
func OnceOnly(
	ctx context.Context, tx *store.Tx, caller identity.Caller, method, requestID string,
	request proto.Message, fn func() error,
) error {
	seen, hash, err := look(ctx, tx, caller, method, requestID, request)
	switch {
	case err != nil:
		return err
	case seen != nil:
		return fault.New(fault.AlreadyExists, ReasonSpent,
			"This request was carried out before, and its answer is shown only once; use a new request id to make another.")
	}
	if err := fn(); err != nil {
		return err
	}
	return keep(ctx, tx, caller, method, requestID, hash, []byte{})
}

// Kept is how long an answer is kept for repeats.
const Kept = 30 * 24 * time.Hour

// Tidy removes what was kept for longer than Kept. Services call it when they start.
func Tidy(ctx context.Context, db *store.DB, now time.Time) error {
	return db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		if _, err := tx.Exec(ctx, "DELETE FROM replay WHERE create_time < ?", store.Micros(now.Add(-Kept))); err != nil {
			return fmt.Errorf("remove old answers: %w", err)
		}
		return nil
	})
}

// kept is the row of an earlier call.
type kept struct {
	hash     string
	response []byte
}

// look finds the earlier call and refuses one with another body.
func look(
	ctx context.Context, tx *store.Tx, caller identity.Caller, method, requestID string, request proto.Message,
) (*kept, string, error) {
	if requestID == "" {
		return nil, "", nil
	}
	if err := checkID(requestID); err != nil {
		return nil, "", err
	}
	hash, err := bodyHash(method, request)
	if err != nil {
		return nil, "", err
	}
	var k kept
	err = tx.QueryRow(ctx,
		"SELECT body_hash, response FROM replay WHERE company = ? AND method = ? AND person = ? AND request_id = ?",
		caller.Company, method, caller.Person, requestID).Scan(&k.hash, &k.response)
	switch {
	case errors.Is(err, store.ErrNoRows):
		return nil, hash, nil
	case err != nil:
		return nil, "", fmt.Errorf("look for an earlier call of %s: %w", method, err)
	case k.hash != hash:
		return nil, "", fault.New(fault.Reused, fault.ReasonReused,
			"This request id came before with another request; use a new one for a new request.")
	}
	return &k, hash, nil
}

func keep(ctx context.Context, tx *store.Tx, caller identity.Caller, method, requestID, hash string, answer []byte) error {
	if requestID == "" {
		return nil
	}
	if answer == nil {
		answer = []byte{}
	}
	_, err := tx.Exec(ctx,
		"INSERT INTO replay (company, person, method, request_id, body_hash, response, create_time) VALUES (?, ?, ?, ?, ?, ?, ?)",
		caller.Company, caller.Person, method, requestID, hash, answer, store.Micros(tx.Now()))
	if err != nil {
		return fmt.Errorf("keep answer of %s: %w", method, err)
	}
	return nil
}

func checkID(id string) error {
	if len(id) > MaxRequestID {
		return fault.Invalid("request_id", "must be at most %d characters long", MaxRequestID)
	}
	for _, r := range id {
		if r < '!' || r > '~' {
			return fault.Invalid("request_id", "must be of printable ASCII characters without spaces")
		}
	}
	return nil
}

// bodyHash is SHA-256 over the method and the request without its request id.
func bodyHash(method string, request proto.Message) (string, error) {
	body := proto.Clone(request)
	r := body.ProtoReflect()
	if field := r.Descriptor().Fields().ByName("request_id"); field != nil {
		r.Clear(field)
	}
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(body)
	if err != nil {
		return "", fmt.Errorf("hash request of %s: %w", method, err)
	}
	h := sha256.New()
	h.Write([]byte(method))
	h.Write([]byte{0})
	h.Write(text)
	return hex.EncodeToString(h.Sum(nil)), nil
}
