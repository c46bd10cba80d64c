// Package call carries what the gateway knows of an HTTP request to the gRPC calls that it makes
// for it: the caller's token, the request's id, the deadline, Idempotency-Key and If-Match.
package call

import (
	"context"
	"net/http"
	"net/netip"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
)

// Facts are what is known of an HTTP request. The gateway's layers set them one after another, on
// the request's own goroutine; a handler only reads them.
type Facts struct {
	// RequestID is in the log of every program that the request reaches.
	RequestID string
	// Address is where the request comes from.
	Address netip.Addr
	// Route is the template of the path, for logs and metrics.
	Route string
	// Refusal is why the credentials that were sent are not accepted; nil where none were sent.
	Refusal error
	// Forget drops what is remembered of the credentials; nil where none were sent.
	Forget func()
	// Token is the caller's signed token; empty where nobody is signed in.
	Token string
	// TokenEnd is when the token ends.
	TokenEnd time.Time
	// Caller is whom the token speaks for.
	Caller *accessv1.Caller
	// CSRF is the session's CSRF token; empty for a key.
	CSRF string
	// Session is the session's handle; empty for a key.
	Session string
	// IdempotencyKey is the header's value; empty when it was not sent.
	IdempotencyKey string
	// IfMatch is the etag of the header without its quotes; empty when it was not sent.
	IfMatch string
	// MaskGiven says whether the caller named the fields to change.
	MaskGiven bool
	// Head says whether only the head of the answer was asked for.
	Head bool
}

type factsKey struct{}

// With returns a context with the facts.
func With(ctx context.Context, facts *Facts) context.Context {
	return context.WithValue(ctx, factsKey{}, facts)
}

// From gives the facts of the request; never nil.
func From(ctx context.Context) *Facts {
	if facts, ok := ctx.Value(factsKey{}).(*Facts); ok {
		return facts
	}
	return &Facts{}
}

// Answer answers with a message as JSON.
func Answer(w http.ResponseWriter, r *http.Request, json *wire.JSON, message proto.Message) {
	body, err := json.Marshal(message)
	if err != nil {
		Refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", wire.MediaType)
	w.Header().Set("Cache-Control", "no-store")
	// A client who has gone cannot be told.
	_, _ = w.Write(body)
}

// Refuse answers with the problem document of the error of a call.
func Refuse(w http.ResponseWriter, r *http.Request, err error) {
	facts := From(r.Context())
	problem.FromError(err, facts.IfMatch != "").Write(w, facts.RequestID)
}

// RefuseWith answers with a problem document.
func RefuseWith(w http.ResponseWriter, r *http.Request, d *problem.Document) {
	d.Write(w, From(r.Context()).RequestID)
}
