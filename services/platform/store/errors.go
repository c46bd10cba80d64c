package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
)

// ErrorKind is what an engine's error code means.
type ErrorKind string

// The kinds.
const (
	// Unique: a key or unique index has the value already.
	Unique ErrorKind = "unique"
	// ForeignKey: a row that is referred to is not there, or one that is referred to would go.
	ForeignKey ErrorKind = "foreign_key"
	// NotNull: a value is missing.
	NotNull ErrorKind = "not_null"
	// Check: a value breaks a CHECK.
	Check ErrorKind = "check"
	// ReadOnly: a Read tried to write.
	ReadOnly ErrorKind = "read_only"
	// Busy: another process holds the store for too long.
	Busy ErrorKind = "busy"
	// Conflict: the transaction lost to another and may be run again.
	Conflict ErrorKind = "conflict"
	// Down: the store can not be reached, or its disk does not take the data.
	Down ErrorKind = "down"
	// Other is everything else: as a rule a mistake in the statement.
	Other ErrorKind = "other"
)

// Error is the error of a statement or a commit.
type Error struct {
	Kind  ErrorKind
	Cause error
}

// Error says the kind and the engine's own words.
func (e *Error) Error() string { return fmt.Sprintf("store: %s: %v", e.Kind, e.Cause) }

// Unwrap gives the engine's error.
func (e *Error) Unwrap() error { return e.Cause }

// KindOf is the kind of the first *Error in the chain, or "".
func KindOf(err error) ErrorKind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return ""
}

// IsUnique says whether a row with the same key was there already.
func IsUnique(err error) bool { return KindOf(err) == Unique }

// IsForeignKey says whether a row that is referred to is missing, or still referred to.
func IsForeignKey(err error) bool { return KindOf(err) == ForeignKey }

// retryAfter is what callers are told when the store does not answer.
const retryAfter = time.Second

// errRowsOpen is a mistake of the program that only one of the engines would forgive.
var errRowsOpen = errors.New("store: a statement was started while rows are open; close them first")

var errEnded = errors.New("store: the transaction has ended")

var errNested = errors.New("store: Write was called inside the function of a Write")

// wrapCode makes an *Error of a code that was understood.
func wrapCode(err error, kind ErrorKind) error { return &Error{Kind: kind, Cause: err} }

func isContext(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}

// passing says whether the same transaction may succeed later.
func passing(err error) bool {
	switch KindOf(err) {
	case Busy, Conflict, Down:
		return true
	default:
		return false
	}
}

// undone says whether a failed commit certainly left nothing behind.
func undone(err error) bool {
	switch KindOf(err) {
	case Unique, ForeignKey, NotNull, Check, Conflict:
		return true
	default:
		return false
	}
}

// unavailable makes passing trouble a fault that callers may see.
func unavailable(err error) error {
	if err == nil || !passing(err) {
		return err
	}
	if _, already := fault.Of(err); already {
		return err
	}
	return fault.New(fault.Unavailable, fault.ReasonStore, "The store does not answer; try again in a moment.").Wrap(err).After(retryAfter)
}
