package gateway_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/netip"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/gateway"
	"github.com/pikepole/pikepole/services/platform/fault"
)

func TestAConnectionMissing(t *testing.T) {
	t.Parallel()
	if _, err := gateway.New(gateway.Config{}); err == nil || !strings.Contains(err.Error(), "access") {
		t.Errorf("without connections: %v, want an error that names access", err)
	}
}

func TestProbes(t *testing.T) {
	t.Parallel()
	s := start(t)
	for _, path := range []string{"/healthz", "/readyz", "/openapi.json"} {
		if a := s.send(t, request{path: path, key: "-"}); a.StatusCode != http.StatusOK {
			t.Errorf("%s: %d", path, a.StatusCode)
		}
	}
	down := start(t, func(b *backend, _ *gateway.Config) {
		b.fail["Check"] = fault.New(fault.Unavailable, fault.ReasonStopping, "It stops.")
	})
	if p := problemOf(t, down.send(t, request{path: "/readyz", key: "-"})); p.Status != 503 || p.Reason != "NOT_READY" {
		t.Errorf("with a service away: %d %s", p.Status, p.Reason)
	}
}

func TestAddressesAreHeldBack(t *testing.T) {
	t.Parallel()
	s := start(t, func(_ *backend, c *gateway.Config) {
		c.RequestsPerSecond, c.RequestBurst = 1, 3
		c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}
	})
	from := func(address, accept string) answer {
		return s.send(t, request{path: "/jobs", key: "-", header: map[string]string{"X-Forwarded-For": "203.0.113.9, " + address, "Accept": accept}})
	}
	for range 3 {
		from("192.0.2.1", "")
	}
	a := from("192.0.2.1", "")
	if p := problemOf(t, a); p.Status != 429 || p.Reason != "RATE_LIMITED" || a.Header.Get("Retry-After") != "1" {
		t.Errorf("%d %s, Retry-After %q; want 429 RATE_LIMITED, 1", p.Status, p.Reason, a.Header.Get("Retry-After"))
	}
	if page := from("192.0.2.1", "text/html"); page.StatusCode != 429 || !strings.Contains(page.Text, "Too many requests") || !strings.HasPrefix(page.Header.Get("Content-Type"), "text/html") {
		t.Errorf("a browser gets %d %s", page.StatusCode, page.Header.Get("Content-Type"))
	}
	if other := from("192.0.2.2", ""); other.StatusCode == http.StatusTooManyRequests {
		t.Error("another address is held back as well")
	}
	if got := s.count("ExchangeKey"); got != 0 {
		t.Errorf("%d exchanges, want none", got)
	}
}

func TestGuessingKeysCostsMore(t *testing.T) {
	t.Parallel()
	s := start(t, func(_ *backend, c *gateway.Config) { c.RequestsPerSecond, c.RequestBurst = 1, 40 })
	statuses := map[int]int{}
	for range 20 {
		statuses[s.send(t, request{path: "/v1/me", key: "pk_guess_1"}).StatusCode]++
	}
	if statuses[http.StatusUnauthorized] > 4 || statuses[http.StatusTooManyRequests] == 0 {
		t.Errorf("20 guesses with a burst of 40 requests got %v", statuses)
	}
}

func TestHeaders(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		path, policy string
		secure       bool
	}{
		"a page":            {"/signin", "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'", false},
		"an API answer":     {"/v1/me", "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'", false},
		"a page over https": {"/signin", "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'", true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := start(t, func(_ *backend, c *gateway.Config) { c.TLS = tc.secure })
			header := s.send(t, request{path: tc.path}).Header
			for field, want := range map[string]string{
				"Content-Security-Policy": tc.policy,
				"X-Content-Type-Options":  "nosniff",
				"Referrer-Policy":         "same-origin",
				"X-Frame-Options":         "DENY",
			} {
				if got := header.Get(field); got != want {
					t.Errorf("%s = %q, want %q", field, got, want)
				}
			}
			if got := header.Get("Strict-Transport-Security") != ""; got != tc.secure {
				t.Errorf("Strict-Transport-Security is set: %t", got)
			}
		})
	}
}

func TestRequestIDs(t *testing.T) {
	t.Parallel()
	s := start(t)
	given := s.send(t, request{path: "/v1/nothing", header: map[string]string{"X-Request-Id": "from-the-office-7"}})
	if got := problemOf(t, given).Instance; got != "urn:pikepole:request:from-the-office-7" || given.Header.Get("X-Request-Id") != "from-the-office-7" {
		t.Errorf("a good id becomes %q", got)
	}
	odd := s.send(t, request{path: "/v1/nothing", header: map[string]string{"X-Request-Id": "two words"}})
	if got := odd.Header.Get("X-Request-Id"); got == "" || strings.Contains(got, " ") {
		t.Errorf("an odd id becomes %q", got)
	}
}

func TestTheAccessLogTellsNoSecrets(t *testing.T) {
	t.Parallel()
	core, logs := observer.New(zapcore.InfoLevel)
	s := start(t, func(_ *backend, c *gateway.Config) { c.Logger = zap.New(core) })
	s.send(t, request{path: "/signin?code=" + goodCode, key: "-"})
	s.send(t, request{path: "/v1/jobs/job-x"})
	s.server.Close()
	lines := logs.All()
	if len(lines) != 2 {
		t.Fatalf("%d lines, want one a request", len(lines))
	}
	text, err := json.Marshal([]any{lines[0].ContextMap(), lines[1].ContextMap()})
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{goodCode, leadKey, leadToken} {
		if strings.Contains(string(text), secret) {
			t.Errorf("the log tells %q: %s", secret, text)
		}
	}
	fields := lines[1].ContextMap()
	if fields["route"] != "/v1/jobs/{job}" || fields["status"] != int64(404) || fields["company"] != "hollow-oak" || lines[1].Level != zapcore.InfoLevel {
		t.Errorf("the line says %v at %s", fields, lines[1].Level)
	}
}

func TestMetrics(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.watch, b.ends = notes(2), true })
	s.send(t, request{path: "/v1/jobs/job-a"})
	s.send(t, request{path: "/v1/jobs/job-x"})
	s.send(t, request{path: "/jobs/job-a/takeoff"})
	s.send(t, request{path: "/v1/jobs/job-a/entries:watch"})
	s.server.Close()
	want := `
# HELP pikepole_gateway_requests_total HTTP requests by route, method and status.
# TYPE pikepole_gateway_requests_total counter
pikepole_gateway_requests_total{method="GET",route="/jobs/{job}/takeoff",status="200"} 1
pikepole_gateway_requests_total{method="GET",route="/v1/jobs/{job}",status="200"} 1
pikepole_gateway_requests_total{method="GET",route="/v1/jobs/{job}",status="404"} 1
pikepole_gateway_requests_total{method="GET",route="/v1/jobs/{job}/entries:watch",status="200"} 1
# HELP pikepole_gateway_stream_events_total Entries sent over live streams.
# TYPE pikepole_gateway_stream_events_total counter
pikepole_gateway_stream_events_total 2
# HELP pikepole_gateway_streams Live streams that are open.
# TYPE pikepole_gateway_streams gauge
pikepole_gateway_streams 0
`
	if err := testutil.GatherAndCompare(s.registry, strings.NewReader(want),
		"pikepole_gateway_requests_total", "pikepole_gateway_stream_events_total", "pikepole_gateway_streams"); err != nil {
		t.Error(err)
	}
	problems, err := testutil.GatherAndLint(s.registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, problem := range problems {
		t.Errorf("%s: %s", problem.Metric, problem.Text)
	}
}

// brittle is a connection that panics.
type brittle struct{ grpc.ClientConnInterface }

func (brittle) Invoke(context.Context, string, any, any, ...grpc.CallOption) error {
	panic("it broke")
}

func TestAPanicIsAProblem(t *testing.T) {
	t.Parallel()
	core, logs := observer.New(zapcore.ErrorLevel)
	s := start(t, func(_ *backend, c *gateway.Config) {
		c.Logger, c.Takeoff = zap.New(core), brittle{c.Takeoff}
	})
	if p := problemOf(t, s.send(t, request{path: "/v1/jobs/job-a/frames/latest/takeoff"})); p.Status != 500 || p.Reason != "INTERNAL" {
		t.Errorf("an API request gets %d %s", p.Status, p.Reason)
	}
	if a := s.signedIn(t).get(t, "/jobs/job-a"); a.StatusCode != http.StatusInternalServerError {
		t.Errorf("a page gets %d", a.StatusCode)
	}
	if got := logs.FilterMessage("panic").Len(); got != 2 {
		t.Errorf("%d lines in the log, want 2", got)
	}
}
