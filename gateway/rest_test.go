package gateway_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/pikepole/pikepole/gateway"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// problemDocument is a problem document as RFC 9457 names its members, and ours.
type problemDocument struct {
	Type, Title, Detail, Instance, Reason string
	Status, RetryAfter                    int
	Errors                                []struct{ Field, Message string }
}

func problemOf(t *testing.T, a answer) problemDocument {
	t.Helper()
	if got := a.Header.Get("Content-Type"); got != "application/problem+json" {
		t.Fatalf("status %d with content type %q and body %q, want a problem document", a.StatusCode, got, a.Text)
	}
	var p problemDocument
	if err := json.Unmarshal([]byte(a.Text), &p); err != nil {
		t.Fatal(err)
	}
	if p.Status != a.StatusCode {
		t.Errorf("the document says status %d, the answer %d", p.Status, a.StatusCode)
	}
	return p
}

// refusal is a request and the problem that it must get.
type refusal struct {
	request
	status        int
	reason, field string
	// detail is a part of the sentence.
	detail string
}

func check(t *testing.T, s *suite, cases map[string]refusal) {
	t.Helper()
	for name, tc := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := problemOf(t, s.send(t, tc.request))
			if p.Status != tc.status || p.Reason != tc.reason {
				t.Errorf("status %d, reason %s; want %d, %s (%s)", p.Status, p.Reason, tc.status, tc.reason, p.Detail)
			}
			if want := "urn:pikepole:problem:" + strings.ReplaceAll(strings.ToLower(tc.reason), "_", "-"); p.Type != want {
				t.Errorf("type %s, want %s", p.Type, want)
			}
			if tc.field != "" && (len(p.Errors) != 1 || p.Errors[0].Field != tc.field || p.Errors[0].Message == "") {
				t.Errorf("errors %v, want one of field %s", p.Errors, tc.field)
			}
			if !strings.Contains(p.Detail, tc.detail) {
				t.Errorf("detail %q does not say %q", p.Detail, tc.detail)
			}
			if !strings.HasPrefix(p.Instance, "urn:pikepole:request:") || p.Title == "" {
				t.Errorf("instance %q, title %q", p.Instance, p.Title)
			}
		})
	}
}

func TestWhatCannotBeReadIsRefused(t *testing.T) {
	t.Parallel()
	s := start(t)
	post := func(path, body string) request { return request{method: http.MethodPost, path: path, body: body} }
	with := func(r request, header map[string]string) request { r.header = header; return r }
	check(t, s, map[string]refusal{
		"an unknown field":         {post("/v1/jobs", `{"job":{"title":"A","colour":"red"}}`), 400, "INVALID_ARGUMENT", "job.colour", "latestRevision"},
		"one deep in a frame":      {post("/v1/frames:check", `{"frame":{"timbers":[{"mark":"A"},{"mark":"B","widthInches":8}]}}`), 400, "INVALID_ARGUMENT", "frame.timbers[1].widthInches", "is no field"},
		"a text for a number":      {post("/v1/frames:check", `{"frame":{"timbers":[{"widthMm":"wide"}]}}`), 400, "INVALID_ARGUMENT", "frame.timbers[0].widthMm", "must be a number"},
		"a fraction of a revision": {post("/v1/jobs/job-a/frames", `{"parentRevision":1.5}`), 400, "INVALID_ARGUMENT", "parentRevision", "whole number"},
		"an unknown role":          {post("/v1/frames:check", `{"frame":{"timbers":[{"role":"ROLE_FLAGPOLE"}]}}`), 400, "INVALID_ARGUMENT", "frame.timbers[0].role", "ROLE_POST"},
		"a list for an object":     {post("/v1/jobs", `{"job":[]}`), 400, "INVALID_ARGUMENT", "job", "must be an object"},
		"an object for a list":     {post("/v1/frames:check", `{"frame":{"timbers":{}}}`), 400, "INVALID_ARGUMENT", "frame.timbers", "must be a list"},
		"a time that is none":      {post("/v1/jobs/job-a/entries:post", `{"entries":[{"occurTime":"noon"}]}`), 400, "INVALID_ARGUMENT", "entries[0].occurTime", "2030-05-14T08:30:00Z"},
		"a list as the body":       {post("/v1/jobs", `[]`), 400, "INVALID_ARGUMENT", "", "must be an object"},
		"truncated JSON":           {post("/v1/jobs", `{"job":{"title":"A`), 400, "INVALID_ARGUMENT", "", "ends before it is complete"},
		"garbage":                  {post("/v1/jobs", `garbage`), 400, "INVALID_ARGUMENT", "", "line 1, column 1"},
		"something after the JSON": {post("/v1/jobs", `{} {}`), 400, "INVALID_ARGUMENT", "", "follows the JSON"},
		"a field given twice":      {post("/v1/jobs", `{"job":{"title":"A","title":"B"}}`), 400, "INVALID_ARGUMENT", "", "duplicate"},
		"an unknown field to change": {
			request{method: http.MethodPatch, path: "/v1/jobs/job-a", body: `{"titel":"A"}`}, 400, "INVALID_ARGUMENT", "titel", "is no field",
		},
		"an unknown parameter":          {request{path: "/v1/jobs?pagesize=3"}, 400, "INVALID_ARGUMENT", "pagesize", "pageSize, pageToken"},
		"a parameter where none is":     {request{path: "/v1/me?x=1"}, 400, "INVALID_ARGUMENT", "x", "there are none"},
		"a page size that is no number": {request{path: "/v1/jobs?pageSize=many"}, 400, "INVALID_ARGUMENT", "pageSize", "cannot be read"},
		"a broken query":                {request{path: "/v1/jobs?a=%zz"}, 400, "INVALID_ARGUMENT", "", "cannot be read"},
		"another content type":          {with(post("/v1/jobs", `{}`), map[string]string{"Content-Type": "text/plain"}), 415, "MEDIA_TYPE_NOT_SUPPORTED", "", "application/json"},
		"no content type":               {with(post("/v1/jobs", `{}`), map[string]string{"Content-Type": ""}), 415, "MEDIA_TYPE_NOT_SUPPORTED", "", "application/json"},
		"another charset":               {with(post("/v1/jobs", `{}`), map[string]string{"Content-Type": "application/json; charset=utf-16"}), 415, "MEDIA_TYPE_NOT_SUPPORTED", "", "UTF-8"},
		"a compressed body":             {with(post("/v1/jobs", `{}`), map[string]string{"Content-Encoding": "gzip"}), 415, "MEDIA_TYPE_NOT_SUPPORTED", "", "not encoded"},
		"a form":                        {with(post("/v1/jobs", `title=A`), map[string]string{"Content-Type": "application/x-www-form-urlencoded"}), 415, "MEDIA_TYPE_NOT_SUPPORTED", "", "application/json"},
		"an Accept that nothing fits":   {with(request{path: "/v1/jobs"}, map[string]string{"Accept": "application/xml"}), 406, "NOT_ACCEPTABLE", "", "application/json"},
		"an unknown address":            {request{path: "/v1/cabins"}, 404, "ROUTE_UNKNOWN", "", "/openapi.json"},
		"an address with a slash":       {request{path: "/v1/jobs/"}, 404, "ROUTE_UNKNOWN", "", "/openapi.json"},
		"an odd If-Match":               {with(request{method: http.MethodPatch, path: "/v1/jobs/job-a", body: `{}`}, map[string]string{"If-Match": `W/"a"`}), 400, "INVALID_ARGUMENT", "If-Match", "in quotes"},
	})
}

func TestMethods(t *testing.T) {
	t.Parallel()
	s := start(t)
	wrong := s.send(t, request{method: http.MethodDelete, path: "/v1/jobs/job-a"})
	if p := problemOf(t, wrong); p.Status != http.StatusMethodNotAllowed || p.Reason != "METHOD_NOT_ALLOWED" {
		t.Errorf("a wrong method gets %d %s", p.Status, p.Reason)
	}
	if got, want := wrong.Header.Get("Allow"), "GET, HEAD, OPTIONS, PATCH"; got != want {
		t.Errorf("Allow = %q, want %q", got, want)
	}
	if a := s.send(t, request{method: http.MethodOptions, path: "/v1/work"}); a.StatusCode != http.StatusNoContent || a.Header.Get("Allow") != "GET, HEAD, OPTIONS, PUT" {
		t.Errorf("OPTIONS gets %d, Allow %q", a.StatusCode, a.Header.Get("Allow"))
	}
	if a := s.send(t, request{method: http.MethodHead, path: "/v1/jobs/job-a"}); a.StatusCode != http.StatusOK || a.Text != "" || a.Header.Get("ETag") == "" {
		t.Errorf("HEAD gets %d, body %q, headers %v", a.StatusCode, a.Text, a.Header)
	}
	override := request{method: http.MethodPost, path: "/v1/jobs/job-a", body: "{}", header: map[string]string{"X-Http-Method-Override": "PATCH"}}
	if p := problemOf(t, s.send(t, override)); p.Status != http.StatusMethodNotAllowed {
		t.Errorf("a method in a header was taken: %d", p.Status)
	}
}

func TestBodiesAreBounded(t *testing.T) {
	t.Parallel()
	s := start(t, func(_ *backend, c *gateway.Config) { c.MaxBodyBytes, c.MaxFrameBytes = 1000, 5000 })
	long := `{"job":{"title":"` + strings.Repeat("x", 2000) + `"}}`
	if p := problemOf(t, s.send(t, request{method: http.MethodPost, path: "/v1/jobs", body: long})); p.Status != 413 || p.Reason != "BODY_TOO_LARGE" {
		t.Errorf("a large body gets %d %s", p.Status, p.Reason)
	}
	note := `{"note":"` + strings.Repeat("x", 2000) + `"}`
	if a := s.send(t, request{method: http.MethodPost, path: "/v1/jobs/job-a/frames", body: note}); a.StatusCode != http.StatusCreated {
		t.Errorf("a frame of the same size gets %d: %s", a.StatusCode, a.Text)
	}
	if p := problemOf(t, s.send(t, request{method: http.MethodPost, path: "/v1/jobs/job-a/frames", body: strings.Repeat(note, 4)})); p.Status != 413 {
		t.Errorf("a large frame gets %d", p.Status)
	}
}

func TestWhatIsMadeHasAPlace(t *testing.T) {
	t.Parallel()
	s := start(t)
	for path, tc := range map[string]struct{ body, place string }{
		"/v1/jobs":              {`{"job":{"title":"A"}}`, "/v1/jobs/job-b"},
		"/v1/jobs/job-a/frames": {`{}`, "/v1/jobs/job-a/frames/4"},
		"/v1/people":            {`{"person":{"name":"A"}}`, "/v1/people/p-2"},
		"/v1/keys":              {`{"key":{"person":"p-2"}}`, "/v1/keys/k-2"},
	} {
		a := s.send(t, request{method: http.MethodPost, path: path, body: tc.body})
		if a.StatusCode != http.StatusCreated || a.Header.Get("Location") != tc.place {
			t.Errorf("%s: %d at %q, want 201 at %q", path, a.StatusCode, a.Header.Get("Location"), tc.place)
		}
		if !json.Valid([]byte(a.Text)) {
			t.Errorf("%s: the body is no JSON: %q", path, a.Text)
		}
	}
	gone := s.send(t, request{method: http.MethodDelete, path: "/v1/keys/k-2"})
	if gone.StatusCode != http.StatusNoContent || gone.Text != "" || gone.Header.Get("Content-Type") != "" {
		t.Errorf("a delete gets %d with body %q", gone.StatusCode, gone.Text)
	}
}

func TestZeroValuesAreWritten(t *testing.T) {
	t.Parallel()
	s := start(t)
	a := s.send(t, request{path: "/v1/jobs/job-empty"})
	var job map[string]any
	if err := json.Unmarshal([]byte(a.Text), &job); err != nil {
		t.Fatal(err)
	}
	if got, ok := job["latestRevision"]; !ok || got != float64(0) {
		t.Errorf("latestRevision = %v in %s, want 0", got, a.Text)
	}
	if a.Header.Get("ETag") != `"e-7"` || a.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("headers %v, want the etag and no-store", a.Header)
	}
}

func TestIdempotencyKey(t *testing.T) {
	t.Parallel()
	s := start(t)
	send := func(header, body string) answer {
		return s.send(t, request{method: http.MethodPost, path: "/v1/jobs", body: body, header: map[string]string{"Idempotency-Key": header}})
	}
	for name, tc := range map[string]struct{ header, body, want string }{
		"only the header": {"r-1", `{"job":{"title":"A"}}`, "r-1"},
		"only the body":   {"", `{"job":{"title":"A"},"requestId":"r-2"}`, "r-2"},
		"both the same":   {"r-3", `{"job":{"title":"A"},"requestId":"r-3"}`, "r-3"},
	} {
		if a := send(tc.header, tc.body); a.StatusCode != http.StatusCreated {
			t.Fatalf("%s: %d %s", name, a.StatusCode, a.Text)
		}
		if got := last[*framesv1.CreateJobRequest](t, s.backend, "CreateJob").GetRequestId(); got != tc.want {
			t.Errorf("%s: request id %q, want %q", name, got, tc.want)
		}
	}
	before := s.count("CreateJob")
	if p := problemOf(t, send("r-4", `{"requestId":"r-5"}`)); p.Status != 400 || p.Reason != "IDEMPOTENCY_KEY_DIFFERS" || p.Errors[0].Field != "requestId" {
		t.Errorf("two different ones get %d %s %v", p.Status, p.Reason, p.Errors)
	}
	if s.count("CreateJob") != before {
		t.Error("the service was called nevertheless")
	}
}

func TestPatch(t *testing.T) {
	t.Parallel()
	s := start(t)
	patch := func(query, body string, header map[string]string) answer {
		return s.send(t, request{method: http.MethodPatch, path: "/v1/jobs/job-a" + query, body: body, header: header})
	}
	for name, tc := range map[string]struct {
		query, body, ifMatch, etag string
		mask                       []string
	}{
		"the mask follows from the body":     {"", `{"title":"B","crane":"c"}`, "", "", []string{"crane", "title"}},
		"id and etag are no changes":         {"", `{"id":"job-a","etag":"e-1","title":"B"}`, "", "e-1", []string{"title"}},
		"a mask that is given stands":        {"?updateMask=customer", `{"title":"B"}`, "", "", []string{"customer"}},
		"If-Match is the etag":               {"", `{"title":"B"}`, `"e-2"`, "e-2", []string{"title"}},
		"If-Match and the etag may be equal": {"", `{"title":"B","etag":"e-3"}`, `"e-3"`, "e-3", []string{"title"}},
	} {
		if a := patch(tc.query, tc.body, map[string]string{"If-Match": tc.ifMatch}); a.StatusCode != http.StatusOK {
			t.Fatalf("%s: %d %s", name, a.StatusCode, a.Text)
		}
		got := last[*framesv1.UpdateJobRequest](t, s.backend, "UpdateJob")
		if got.GetJob().GetId() != "job-a" || got.GetJob().GetEtag() != tc.etag {
			t.Errorf("%s: job %v", name, got.GetJob())
		}
		paths := map[string]bool{}
		for _, path := range got.GetUpdateMask().GetPaths() {
			paths[path] = true
		}
		want := map[string]bool{}
		for _, path := range tc.mask {
			want[path] = true
		}
		if diff := cmp.Diff(want, paths); diff != "" {
			t.Errorf("%s: mask (-want +got)\n%s", name, diff)
		}
	}
	if p := problemOf(t, patch("", `{"etag":"e-1"}`, map[string]string{"If-Match": `"e-2"`})); p.Status != 400 || p.Reason != "IF_MATCH_DIFFERS" {
		t.Errorf("two different etags get %d %s", p.Status, p.Reason)
	}
	del := request{method: http.MethodDelete, path: "/v1/keys/k-2", header: map[string]string{"If-Match": `"e-2"`}}
	if p := problemOf(t, s.send(t, del)); p.Status != 400 || p.Reason != "IF_MATCH_DIFFERS" {
		t.Errorf("If-Match where there is no etag gets %d %s", p.Status, p.Reason)
	}
}

func TestFaultsOfServices(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		err     error
		ifMatch string
		status  int
		reason  string
		retry   string
	}{
		"a wrong field":               {fault.Invalid("job.deck_outline[2].x_mm", "give a number"), "", 400, "INVALID_ARGUMENT", ""},
		"another company's job":       {fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no such job."), "", 404, "JOB_NOT_FOUND", ""},
		"an etag without If-Match":    {fault.New(fault.Conflict, "ETAG_MISMATCH", "It has changed."), "", 409, "ETAG_MISMATCH", ""},
		"an etag with If-Match":       {fault.New(fault.Conflict, "ETAG_MISMATCH", "It has changed."), `"e-1"`, 412, "ETAG_MISMATCH", ""},
		"a request id used before":    {fault.New(fault.Reused, fault.ReasonReused, "Use another id."), "", 422, "REQUEST_ID_REUSED", ""},
		"a state that does not fit":   {fault.New(fault.Precondition, "NO_FRAME", "Issue a frame first."), "", 409, "NO_FRAME", ""},
		"a role that may not":         {fault.New(fault.PermissionDenied, fault.ReasonRole, "Leads may."), "", 403, "ROLE_NOT_ALLOWED", ""},
		"an ended token":              {fault.New(fault.Unauthenticated, fault.ReasonToken, "The token has ended."), "", 401, "TOKEN_INVALID", ""},
		"too often":                   {fault.New(fault.Exhausted, fault.ReasonRate, "Wait.").After(2500 * time.Millisecond), "", 429, "RATE_LIMITED", "3"},
		"a full pool":                 {fault.New(fault.Exhausted, fault.ReasonBusy, "Wait.").After(time.Second), "", 503, "COMPUTE_BUSY", "1"},
		"a service that is away":      {status.Error(codes.Unavailable, "connection refused to 10.0.0.3"), "", 503, "UPSTREAM_UNAVAILABLE", "1"},
		"time that ran out":           {status.Error(codes.DeadlineExceeded, "slow"), "", 504, "DEADLINE_EXCEEDED", ""},
		"a message that is too large": {status.Error(codes.ResourceExhausted, "trying to send message larger than max"), "", 413, "MESSAGE_TOO_LARGE", ""},
		"trouble of our own":          {status.Error(codes.Internal, "pq: relation secrets does not exist"), "", 500, "INTERNAL", ""},
		"an error of no kind":         {errors.New("secrets"), "", 500, "INTERNAL", ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := start(t, func(b *backend, _ *gateway.Config) { b.fail["UpdateJob"] = tc.err })
			a := s.send(t, request{method: http.MethodPatch, path: "/v1/jobs/job-a", body: `{"title":"B"}`, header: map[string]string{"If-Match": tc.ifMatch}})
			p := problemOf(t, a)
			if p.Status != tc.status || p.Reason != tc.reason || a.Header.Get("Retry-After") != tc.retry {
				t.Errorf("%d %s, Retry-After %q; want %d %s, %q", p.Status, p.Reason, a.Header.Get("Retry-After"), tc.status, tc.reason, tc.retry)
			}
			if p.Status == 401 && a.Header.Get("WWW-Authenticate") == "" {
				t.Error("401 without WWW-Authenticate")
			}
			if strings.Contains(a.Text, "secrets") || strings.Contains(a.Text, "10.0.0.3") {
				t.Errorf("the answer tells what only the log should: %s", a.Text)
			}
			if name == "a wrong field" && p.Errors[0].Field != "job.deckOutline[2].xMm" {
				t.Errorf("field %q, want its name in JSON", p.Errors[0].Field)
			}
		})
	}
}

func TestCredentials(t *testing.T) {
	t.Parallel()
	s := start(t)
	check(t, s, map[string]refusal{
		"none":                         {request{path: "/v1/jobs", key: "-"}, 401, "CREDENTIALS_MISSING", "", "Bearer KEY"},
		"an unknown key":               {request{path: "/v1/jobs", key: "pk_other_1"}, 401, "KEY_INVALID", "", "not one of ours"},
		"an altered token":             {request{path: "/v1/jobs", key: "v1.lead.altered"}, 401, "KEY_INVALID", "", "begins with pk_"},
		"another scheme":               {request{path: "/v1/jobs", key: "-", header: map[string]string{"Authorization": "Basic abc"}}, 401, "CREDENTIALS_MISSING", "", "Bearer KEY"},
		"a session's cookie of nobody": {request{path: "/v1/jobs", key: "-", header: map[string]string{"Cookie": "session=nobody"}}, 401, "KEY_INVALID", "", ""},
	})
}

func TestATokenIsKeptAndTravels(t *testing.T) {
	t.Parallel()
	s := start(t)
	for range 3 {
		s.send(t, request{path: "/v1/me", header: map[string]string{"X-Request-Id": "trace-me-1", "Grpc-Metadata-Authorization": "Bearer v1.forged", "Grpc-Timeout": "1n"}})
	}
	if got := s.count("ExchangeKey"); got != 1 {
		t.Errorf("the key was exchanged %d times, want once", got)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if got := s.headers["GetCaller"].Get("authorization"); len(got) != 1 || got[0] != "Bearer "+leadToken {
		t.Errorf("the service got %v, want the token alone", got)
	}
	if !s.deadlines["GetCaller"] || !s.deadlines["ExchangeKey"] {
		t.Error("a call has no deadline")
	}
}

func TestAnEndedTokenIsForgotten(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) {
		b.fail["GetCaller"] = fault.New(fault.Unauthenticated, fault.ReasonToken, "The token has ended.").GRPCStatus().Err()
	})
	for range 2 {
		s.send(t, request{path: "/v1/me"})
	}
	if got := s.count("ExchangeKey"); got != 2 {
		t.Errorf("the key was exchanged %d times, want anew after the token was refused", got)
	}
}

func TestASessionWritesOnlyWithItsCSRFToken(t *testing.T) {
	t.Parallel()
	s := start(t)
	cookie := map[string]string{"Cookie": "session=" + handle}
	if a := s.send(t, request{path: "/v1/me", key: "-", header: cookie}); a.StatusCode != http.StatusOK {
		t.Fatalf("reading with a session: %d", a.StatusCode)
	}
	write := request{method: http.MethodPost, path: "/v1/people", body: `{}`, key: "-", header: cookie}
	if p := problemOf(t, s.send(t, write)); p.Status != 403 || p.Reason != "CSRF_TOKEN_REQUIRED" {
		t.Errorf("without the token: %d %s", p.Status, p.Reason)
	}
	write.header = map[string]string{"Cookie": "session=" + handle, "X-CSRF-Token": csrfToken}
	if a := s.send(t, write); a.StatusCode != http.StatusCreated {
		t.Errorf("with the token: %d %s", a.StatusCode, a.Text)
	}
	write.header["Sec-Fetch-Site"] = "cross-site"
	if p := problemOf(t, s.send(t, write)); p.Status != 403 {
		t.Errorf("from another site: %d", p.Status)
	}
}

func TestIDsMayHoldWhatAPathEscapes(t *testing.T) {
	t.Parallel()
	s := start(t)
	s.send(t, request{path: "/v1/jobs/a%2Fb%20c"})
	if got := last[*framesv1.GetJobRequest](t, s.backend, "GetJob").GetJob(); got != "a/b c" {
		t.Errorf("job %q, want the id unescaped", got)
	}
	s.send(t, request{method: http.MethodPatch, path: "/v1/people/p:3", body: `{"name":"B"}`})
	if got := last[*accessv1.UpdatePersonRequest](t, s.backend, "UpdatePerson").GetPerson().GetId(); got != "p:3" {
		t.Errorf("person %q", got)
	}
}
