// Package callid carries the id of a request from the first program that sees it to the last,
// so that one search finds every log line of it.
package callid

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"strings"
)

// Header is the metadata key (and, in lower case, the HTTP header) that carries the id.
const Header = "x-request-id"

const maxLength = 64

type key struct{}

// With returns a context that carries the id.
func With(ctx context.Context, id string) context.Context {
	return context.WithValue(ctx, key{}, id)
}

// From returns the id that the context carries, or "".
func From(ctx context.Context) string {
	id, _ := ctx.Value(key{}).(string)
	return id
}

// New makes a random id: 16 characters of a-z and 2-7.
func New() string {
	var b [10]byte
	// crypto/rand never fails: it ends the program instead.
	_, _ = rand.Read(b[:])
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:]))
}

// Valid says whether an id from outside may be taken over into logs and headers:
// 1 to 64 characters of A-Z, a-z, 0-9, hyphen, underscore and dot.
func Valid(id string) bool {
	if id == "" || len(id) > maxLength {
		return false
	}
	for _, r := range id {
		plain := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.", r)
		if !plain {
			return false
		}
	}
	return true
}
