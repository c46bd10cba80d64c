// Package problem writes problem documents (RFC 9457).
package problem

import (
	"encoding/json"
	"math"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
)

// MediaType is the media type of a problem document.
const MediaType = "application/problem+json"

// Reasons that the gateway itself gives, besides those of the services.
const (
	ReasonNoRoute          = "ROUTE_UNKNOWN"
	ReasonMethod           = "METHOD_NOT_ALLOWED"
	ReasonBodyTooLarge     = "BODY_TOO_LARGE"
	ReasonMediaType        = "MEDIA_TYPE_NOT_SUPPORTED"
	ReasonNotAcceptable    = "NOT_ACCEPTABLE"
	ReasonBodyNotRead      = "BODY_NOT_READ"
	ReasonIdempotencyKey   = "IDEMPOTENCY_KEY_DIFFERS"
	ReasonIfMatch          = "IF_MATCH_DIFFERS"
	ReasonCSRF             = "CSRF_TOKEN_REQUIRED"
	ReasonTooManyStreams   = "TOO_MANY_STREAMS"
	reasonMessageTooLarge  = "MESSAGE_TOO_LARGE"
	statusClientClosed     = 499
	problemTypePrefix      = "urn:pikepole:problem:"
	instancePrefix         = "urn:pikepole:request:"
	internalDetail         = "Something went wrong on our side and is in our log. Try again; when it stays, report it with the request id."
	defaultRetry           = time.Second
	unauthenticatedScheme  = `Bearer realm="pikepole"`
	retryAfterHeader       = "Retry-After"
	authenticateHeader     = "WWW-Authenticate"
	contentTypeHeader      = "Content-Type"
	contentLanguageHeader  = "Content-Language"
	contentLanguageEnglish = "en"
)

// Field is one field at fault.
type Field struct {
	// Field is the path in the JSON of the request: frame.timbers[3].widthMm.
	Field string `json:"field"`
	// Message says what is wrong and what to do.
	Message string `json:"message"`
}

// Document is a problem document.
type Document struct {
	Type     string  `json:"type"`
	Title    string  `json:"title"`
	Status   int     `json:"status"`
	Detail   string  `json:"detail,omitempty"`
	Instance string  `json:"instance,omitempty"`
	Reason   string  `json:"reason"`
	Errors   []Field `json:"errors,omitempty"`
	// RetryAfter is in seconds; 0 says nothing.
	RetryAfter int `json:"retryAfter,omitempty"`
}

// New makes a document for trouble that the gateway finds itself.
func New(status int, reason, detail string) *Document {
	return &Document{
		Type:   problemTypePrefix + kebab(reason),
		Title:  title(status),
		Status: status,
		Detail: detail,
		Reason: reason,
	}
}

// WithField returns the document with one more field at fault.
func (d *Document) WithField(field, message string) *Document {
	d.Errors = append(d.Errors, Field{Field: field, Message: message})
	return d
}

// FromError makes a document from the error of a call. ifMatch says whether the caller sent
// If-Match, which makes a clash of etags a failed precondition.
func FromError(err error, ifMatch bool) *Document {
	f := fault.FromStatus(err)
	d := New(statusOf(f, ifMatch), f.Reason, f.Message)
	if d.Status >= http.StatusInternalServerError && f.Kind == fault.Internal {
		d.Detail = internalDetail
	}
	for _, field := range f.Fields {
		d.WithField(JSONPath(field.Path), field.Message)
	}
	wait := f.RetryAfter
	if wait == 0 && (d.Status == http.StatusTooManyRequests || d.Status == http.StatusServiceUnavailable) {
		wait = defaultRetry
	}
	if wait > 0 {
		d.RetryAfter = Seconds(wait)
	}
	return d
}

// Seconds rounds a wait up to whole seconds, at least one.
func Seconds(wait time.Duration) int {
	return max(1, int(math.Ceil(wait.Seconds())))
}

// Write answers with the document. requestID is the id of the request; it becomes the instance.
func (d *Document) Write(w http.ResponseWriter, requestID string) {
	if requestID != "" {
		d.Instance = instancePrefix + requestID
	}
	header := w.Header()
	header.Set(contentTypeHeader, MediaType)
	header.Set(contentLanguageHeader, contentLanguageEnglish)
	header.Set("Cache-Control", "no-store")
	header.Del("Content-Length")
	header.Del("Trailer")
	if d.RetryAfter > 0 {
		header.Set(retryAfterHeader, strconv.Itoa(d.RetryAfter))
	}
	if d.Status == http.StatusUnauthorized {
		header.Set(authenticateHeader, unauthenticatedScheme)
	}
	w.WriteHeader(d.Status)
	// A caller who has gone cannot be told; there is nobody to hand this error to.
	_ = json.NewEncoder(w).Encode(d)
}

// statusOf chooses the HTTP status by reason where a code is too coarse, else by kind.
func statusOf(f *fault.Error, ifMatch bool) int {
	switch f.Reason {
	case fault.ReasonReused:
		return http.StatusUnprocessableEntity
	case fault.ReasonBusy:
		return http.StatusServiceUnavailable
	case reasonMessageTooLarge:
		return http.StatusRequestEntityTooLarge
	}
	switch f.Kind {
	case fault.InvalidArgument:
		return http.StatusBadRequest
	case fault.NotFound:
		return http.StatusNotFound
	case fault.Conflict:
		if ifMatch {
			return http.StatusPreconditionFailed
		}
		return http.StatusConflict
	case fault.AlreadyExists, fault.Precondition:
		return http.StatusConflict
	case fault.Reused:
		return http.StatusUnprocessableEntity
	case fault.PermissionDenied:
		return http.StatusForbidden
	case fault.Unauthenticated:
		return http.StatusUnauthorized
	case fault.Exhausted:
		return http.StatusTooManyRequests
	case fault.Unavailable:
		return http.StatusServiceUnavailable
	case fault.Deadline:
		return http.StatusGatewayTimeout
	case fault.Cancelled:
		return statusClientClosed
	case fault.Unimplemented:
		return http.StatusNotImplemented
	default:
		return http.StatusInternalServerError
	}
}

func title(status int) string {
	if status == statusClientClosed {
		return "Client closed the request"
	}
	return http.StatusText(status)
}

func kebab(reason string) string {
	return strings.ReplaceAll(strings.ToLower(reason), "_", "-")
}

// JSONPath turns a path of proto field names into one of JSON names.
func JSONPath(path string) string {
	return regexp.MustCompile(`_[a-z0-9]`).ReplaceAllStringFunc(path, func(s string) string {
		return strings.ToUpper(s[1:])
	})
}
