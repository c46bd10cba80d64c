package gateway

import (
	"bytes"
	"crypto/subtle"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/gateway/internal/accept"
	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
	"github.com/pikepole/pikepole/gateway/internal/route"
	"github.com/pikepole/pikepole/gateway/internal/wire"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const headerCSRF = "X-CSRF-Token"

// api checks a REST request against the published description before the mux gets it: the path,
// the method, who is calling, the query, what is accepted, and the body.
func (g *Gateway) api(mux http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		path, found := g.routes.Find(r.URL)
		if !found {
			call.RefuseWith(w, r, problem.New(http.StatusNotFound, problem.ReasonNoRoute, "There is nothing at this address; /openapi.json lists what there is."))
			return
		}
		facts := call.From(r.Context())
		facts.Route = path.Template
		operation, refusal := method(w, r, path)
		if operation == nil {
			if refusal != nil {
				call.RefuseWith(w, r, refusal)
			}
			return
		}
		if err := g.admit(r, facts); err != nil {
			call.Refuse(w, r, err)
			return
		}
		for _, check := range []func() *problem.Document{
			func() *problem.Document { return g.checkOrigin(r, facts) },
			func() *problem.Document { return checkQuery(r, operation) },
			func() *problem.Document { return checkAccept(r, operation) },
			func() *problem.Document { return readPreconditions(r, facts) },
			func() *problem.Document { return g.readBody(w, r, path, operation) },
		} {
			if refusal := check(); refusal != nil {
				call.RefuseWith(w, r, refusal)
				return
			}
		}
		mux.ServeHTTP(w, inner(r, facts))
	})
}

// method gives the operation that is asked for. When there is none, it has answered, or gives
// the refusal.
func method(w http.ResponseWriter, r *http.Request, path *route.Path) (*route.Operation, *problem.Document) {
	wanted := r.Method
	if wanted == http.MethodHead {
		wanted = http.MethodGet
	}
	if operation := path.Operations[wanted]; operation != nil {
		return operation, nil
	}
	w.Header().Set("Allow", path.Allow())
	if r.Method == http.MethodOptions {
		w.WriteHeader(http.StatusNoContent)
		return nil, nil
	}
	return nil, problem.New(http.StatusMethodNotAllowed, problem.ReasonMethod, "This address takes "+path.Allow()+".")
}

// admit refuses someone who is not known.
func (g *Gateway) admit(r *http.Request, facts *call.Facts) error {
	switch {
	case facts.Refusal != nil:
		return facts.Refusal
	case facts.Token == "":
		return fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, "Say who you are: send a key as Authorization: Bearer KEY, or sign in at /signin.")
	}
	return nil
}

// checkOrigin makes sure that a request which a browser sends with the session's cookie comes
// from our own pages.
func (g *Gateway) checkOrigin(r *http.Request, facts *call.Facts) *problem.Document {
	if facts.Session == "" || r.Method == http.MethodGet || r.Method == http.MethodHead {
		return nil
	}
	given := r.Header.Get(headerCSRF)
	same := facts.CSRF != "" && subtle.ConstantTimeCompare([]byte(given), []byte(facts.CSRF)) == 1
	if g.origin.Check(r) != nil || !same {
		return problem.New(http.StatusForbidden, problem.ReasonCSRF, "With a session, send its CSRF token as "+headerCSRF+"; with a key, send no cookie.")
	}
	return nil
}

// checkQuery refuses a parameter that the operation does not know: it would be ignored, and the
// caller would take the answer for another.
func checkQuery(r *http.Request, operation *route.Operation) *problem.Document {
	values, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return problem.New(http.StatusBadRequest, fault.ReasonInvalid, "The query cannot be read; write each part as name=value, with % escapes.")
	}
	known := make([]string, 0, len(operation.Query))
	for name := range operation.Query {
		known = append(known, name)
	}
	slices.Sort(known)
	var refusal *problem.Document
	for _, name := range sortedNames(values) {
		if operation.Query[name] {
			continue
		}
		message := "is no parameter here; there are none"
		if len(known) > 0 {
			message = "is no parameter here; the parameters are " + strings.Join(known, ", ")
		}
		if refusal == nil {
			refusal = problem.New(http.StatusBadRequest, fault.ReasonInvalid, name+" "+message+".")
		}
		refusal.WithField(name, message)
	}
	return refusal
}

func sortedNames(values url.Values) []string {
	names := make([]string, 0, len(values))
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// checkAccept refuses a client that accepts nothing of what it can get. Documents choose among
// several forms and look for themselves.
func checkAccept(r *http.Request, operation *route.Operation) *problem.Document {
	if len(operation.Answers) == 0 || len(operation.Formats) > 0 {
		return nil
	}
	if _, ok := accept.Choose(r.Header.Get("Accept"), operation.Answers); ok {
		return nil
	}
	return problem.New(http.StatusNotAcceptable, problem.ReasonNotAcceptable, "This can be had as "+strings.Join(operation.Answers, ", ")+"; ask for it in Accept.")
}

// readPreconditions takes Idempotency-Key and If-Match over.
func readPreconditions(r *http.Request, facts *call.Facts) *problem.Document {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return nil
	}
	facts.IdempotencyKey = r.Header.Get("Idempotency-Key")
	header := strings.TrimSpace(r.Header.Get("If-Match"))
	if header == "" {
		return nil
	}
	etag, ok := unquote(header)
	if !ok {
		message := `must be one etag in quotes, as in "abc"`
		return problem.New(http.StatusBadRequest, fault.ReasonInvalid, "If-Match "+message+".").WithField("If-Match", message)
	}
	facts.IfMatch = etag
	return nil
}

// unquote gives the one strong etag of an If-Match header.
func unquote(header string) (string, bool) {
	inner, opened := strings.CutPrefix(header, `"`)
	inner, closed := strings.CutSuffix(inner, `"`)
	return inner, opened && closed && inner != "" && !strings.Contains(inner, `"`)
}

// readBody reads the whole body, within its limit, so that the handlers find all of it.
func (g *Gateway) readBody(w http.ResponseWriter, r *http.Request, path *route.Path, operation *route.Operation) *problem.Document {
	if !operation.Body {
		r.Body = http.NoBody
		return nil
	}
	limit := g.config.MaxBodyBytes
	if strings.Contains(path.Template, "/frames") {
		limit = g.config.MaxFrameBytes
	}
	tooLarge := problem.New(http.StatusRequestEntityTooLarge, problem.ReasonBodyTooLarge, "The body is larger than the "+megabytes(limit)+" that this address takes.")
	if r.ContentLength > limit {
		return tooLarge
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, limit))
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		return tooLarge
	case err != nil:
		return problem.New(http.StatusBadRequest, problem.ReasonBodyNotRead, "The body did not arrive whole; send it again.")
	case len(body) > 0 && !isJSON(r.Header):
		return problem.New(http.StatusUnsupportedMediaType, problem.ReasonMediaType, "The body must be "+wire.MediaType+" in UTF-8, not encoded otherwise; set Content-Type.")
	}
	if bytes.Count(body, []byte("{")) > mostObjects || bytes.Count(body, []byte(",")) > mostValues {
		return problem.New(http.StatusRequestEntityTooLarge, problem.ReasonBodyTooLarge, "The body has more parts than any that this address takes; send less.")
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	return nil
}

// mostObjects and mostValues bound what a body may hold, as its braces and commas count it. In memory
// an empty object takes a hundred times its two letters, so the limit of bytes alone would let one
// request take gigabytes. The largest frame that is taken has less than half as many objects, and
// hardly room for so many values.
const (
	mostObjects = 1_000_000
	mostValues  = 3_000_000
)

func isJSON(header http.Header) bool {
	mediaType, params, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err != nil || mediaType != wire.MediaType {
		return false
	}
	charset, encoding := params["charset"], header.Get("Content-Encoding")
	return (charset == "" || strings.EqualFold(charset, "utf-8")) && (encoding == "" || encoding == "identity")
}

// inner gives the request as the mux is to see it: of the headers only those that handlers read,
// and HEAD as the GET whose answer's body the server leaves out.
func inner(r *http.Request, facts *call.Facts) *http.Request {
	facts.MaskGiven = r.URL.Query().Has("updateMask")
	facts.Head = r.Method == http.MethodHead
	clone := r.Clone(r.Context())
	clone.Header = http.Header{}
	for _, name := range []string{"Accept", "Content-Type", "If-None-Match", "Last-Event-Id"} {
		if values := r.Header.Values(name); len(values) > 0 {
			clone.Header[name] = values
		}
	}
	if facts.Head {
		clone.Method = http.MethodGet
	}
	return clone
}
