// Package fault is the one error type that callers are meant to see.
//
// A fault has a kind (what sort of trouble), a reason (a word from the closed list of its
// service), a sentence that is safe to show and says what to do, and a cause that is only logged.
package fault

import (
	"errors"
	"fmt"
	"maps"
	"time"
)

// Kind is the sort of trouble; it decides the status code.
type Kind int

const (
	// Internal is trouble of our own; its message is never shown.
	Internal Kind = iota
	// InvalidArgument is input that can not be right whatever is stored.
	InvalidArgument
	// NotFound is something that does not exist, or not for this company.
	NotFound
	// AlreadyExists is an id that is taken.
	AlreadyExists
	// Conflict is an etag or parent revision that is no longer the newest.
	Conflict
	// Reused is a request id that came before with another body.
	Reused
	// PermissionDenied is a caller whose roles do not suffice.
	PermissionDenied
	// Unauthenticated is a caller that we do not know.
	Unauthenticated
	// Exhausted is a limit reached; RetryAfter says when to come again.
	Exhausted
	// Precondition is a state of things in which the call has no meaning.
	Precondition
	// Unavailable is a passing failure: the same call may work later.
	Unavailable
	// Deadline is time that ran out.
	Deadline
	// Cancelled is a caller who left.
	Cancelled
	// Unimplemented is a method that is not offered.
	Unimplemented
)

// Reasons that more than one service gives.
const (
	// ReasonInvalid: a field is wrong; the fields say which.
	ReasonInvalid = "INVALID_ARGUMENT"
	// ReasonReused: the request id came before with another body.
	ReasonReused = "REQUEST_ID_REUSED"
	// ReasonInternal: trouble of our own; metadata error_id is also in the log.
	ReasonInternal = "INTERNAL"
	// ReasonDeadline: the time given was not enough.
	ReasonDeadline = "DEADLINE_EXCEEDED"
	// ReasonCancelled: the caller left.
	ReasonCancelled = "CANCELLED"
	// ReasonUpstream: a service that was needed did not answer.
	ReasonUpstream = "UPSTREAM_UNAVAILABLE"
	// ReasonStore: the store did not answer.
	ReasonStore = "STORE_UNAVAILABLE"
	// ReasonRole: none of the caller's roles may do this.
	ReasonRole = "ROLE_NOT_ALLOWED"
	// ReasonMethod: there is no such method.
	ReasonMethod = "METHOD_UNKNOWN"
	// ReasonNoCredentials: the call carries no token.
	ReasonNoCredentials = "CREDENTIALS_MISSING"
	// ReasonToken: the token is altered, expired, or signed by a key we do not know.
	ReasonToken = "TOKEN_INVALID"
	// ReasonRate: too many calls; wait and try again.
	ReasonRate = "RATE_LIMITED"
	// ReasonBusy: the pool for heavy computations is full; wait and try again.
	ReasonBusy = "COMPUTE_BUSY"
	// ReasonStopping: the server is being stopped; connect again.
	ReasonStopping = "SERVER_STOPPING"
	// ReasonReconnect: a stream has reached its time limit; open it again from where it was.
	ReasonReconnect = "RECONNECT"
	// ReasonTooLarge: a message is larger than the limit.
	ReasonTooLarge = "MESSAGE_TOO_LARGE"
	// ReasonPageToken: the page token is not from this list with these arguments.
	ReasonPageToken = "INVALID_PAGE_TOKEN"
)

// Domain is the ErrorInfo domain of every reason.
const Domain = "pikepole"

// Field is one wrong field of a request.
type Field struct {
	// Path of the field in the request, in proto names: "frame.timbers[3].width_mm".
	Path string
	// Message says what is wrong and what to do.
	Message string
}

// Error is a fault. It is not changed once it has been returned.
type Error struct {
	Kind Kind
	// Reason is UPPER_SNAKE_CASE, from the closed list of the service.
	Reason string
	// Message is a whole sentence that is safe to show.
	Message string
	// Fields are the wrong fields, when Kind is InvalidArgument.
	Fields []Field
	// Metadata goes out with the reason: short, safe values.
	Metadata map[string]string
	// Cause is logged and never shown.
	Cause error
	// RetryAfter is how long to wait before the same call may succeed; 0 is not said.
	RetryAfter time.Duration
}

// New makes a fault with a message that is safe to show.
func New(kind Kind, reason, format string, args ...any) *Error {
	return &Error{Kind: kind, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Invalid makes a fault for one wrong field; the message says what is wrong and what to do.
func Invalid(path, format string, args ...any) *Error {
	msg := fmt.Sprintf(format, args...)
	return &Error{
		Kind: InvalidArgument, Reason: ReasonInvalid, Message: path + ": " + msg,
		Fields: []Field{{Path: path, Message: msg}},
	}
}

// InvalidFields makes one fault of all wrong fields of a request; fields must not be empty.
func InvalidFields(fields []Field) *Error {
	msg := fields[0].Path + ": " + fields[0].Message
	if n := len(fields) - 1; n > 0 {
		msg = fmt.Sprintf("%s (and %d more)", msg, n)
	}
	return &Error{Kind: InvalidArgument, Reason: ReasonInvalid, Message: msg, Fields: fields}
}

// Error is the reason, the message and the cause: for logs, not for callers.
func (e *Error) Error() string {
	if e.Cause != nil {
		return fmt.Sprintf("%s: %s: %v", e.Reason, e.Message, e.Cause)
	}
	return e.Reason + ": " + e.Message
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Cause }

// With returns a copy with more wrong fields.
func (e *Error) With(fields ...Field) *Error {
	c := *e
	c.Fields = append(append([]Field(nil), e.Fields...), fields...)
	return &c
}

// WithMetadata returns a copy with one more metadata value.
func (e *Error) WithMetadata(key, value string) *Error {
	c := *e
	c.Metadata = maps.Clone(e.Metadata)
	if c.Metadata == nil {
		c.Metadata = map[string]string{}
	}
	c.Metadata[key] = value
	return &c
}

// Wrap returns a copy with a cause.
func (e *Error) Wrap(cause error) *Error {
	c := *e
	c.Cause = cause
	return &c
}

// After returns a copy that says how long to wait.
func (e *Error) After(d time.Duration) *Error {
	c := *e
	c.RetryAfter = d
	return &c
}

// Of finds the fault in an error's chain.
func Of(err error) (*Error, bool) {
	var f *Error
	ok := errors.As(err, &f)
	return f, ok
}

// Is says whether an error's chain has a fault of this kind.
func Is(err error, kind Kind) bool {
	f, ok := Of(err)
	return ok && f.Kind == kind
}

// HasReason says whether an error's chain has a fault with this reason.
func HasReason(err error, reason string) bool {
	f, ok := Of(err)
	return ok && f.Reason == reason
}
