package server

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
	"github.com/pikepole/pikepole/services/platform/suite"
)

const progress = sitelogv1.SitelogService_GetProgress_FullMethodName

func get(ctx context.Context, k *kit) error {
	_, err := k.client.GetProgress(ctx, &sitelogv1.GetProgressRequest{Job: "job-1"})
	return err
}

func watch(ctx context.Context, k *kit) error {
	stream, err := k.client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{Job: "job-1"})
	for err == nil {
		_, err = stream.Recv()
	}
	if err.Error() == "EOF" {
		return nil
	}
	return err
}

func expectFault(t *testing.T, err error, kind fault.Kind, reason string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != kind || f.Reason != reason {
		t.Fatalf("got %v, want kind %v and reason %s", err, kind, reason)
	}
	return f
}

func TestChainOrder(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	var names []string
	for _, l := range k.chain() {
		names = append(names, l.name)
		if l.around == nil {
			t.Errorf("%s does nothing", l.name)
		}
	}
	want := []string{
		"request id", "metrics", "access log", "error map", "recovery", "authentication", "policy table", "deadline", "rate limit",
	}
	if !slices.Equal(names, want) {
		t.Errorf("the chain is %q, want %q", names, want)
	}
	unary, stream := k.interceptors()
	if len(unary) != len(want) || len(stream) != len(want) {
		t.Errorf("%d unary and %d stream halves for %d layers", len(unary), len(stream), len(want))
	}
}

// Each half of each layer calls what it stands around, in the order of the chain.
func TestEachLayerHasBothHalves(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		call func(context.Context, *kit) error
	}{{"unary", get}, {"stream", watch}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var inside string
			see := func(ctx context.Context) error {
				caller, err := identity.From(ctx)
				_, limited := ctx.Deadline()
				inside = fmt.Sprintf("%s %s %v %v %v", caller.Company, caller.Person, limited, Stopping(ctx) != nil, RequestID(ctx))
				return err
			}
			k := start(t, &probe{
				unary: func(ctx context.Context, _ *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
					return &sitelogv1.Progress{}, see(ctx)
				},
				watch: func(_ *sitelogv1.WatchEntriesRequest, s grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
					return see(s.Context())
				},
			}, nil)
			ctx := metadata.AppendToOutgoingContext(k.as(t, identity.Lead), "x-request-id", "req-1")
			if err := c.call(ctx, k); err != nil {
				t.Fatal(err)
			}
			if inside != "ash p1 true true req-1" {
				t.Errorf("the handler saw %q", inside)
			}
			lines := k.logs.FilterMessage("call").All()
			if len(lines) != 1 || lines[0].Level != zapcore.InfoLevel {
				t.Fatalf("logged %v", lines)
			}
			fields := lines[0].ContextMap()
			for name, want := range map[string]any{
				"code": "OK", "company": "ash", "person": "p1", "job": "job-1", "request_id": "req-1",
			} {
				if fields[name] != want {
					t.Errorf("%s is logged as %v, want %v", name, fields[name], want)
				}
			}
			if n := testutil.ToFloat64(k.metrics.inFlight.WithLabelValues("pikepole.sitelog.v1.SitelogService")); n != 0 {
				t.Errorf("%v calls are still counted as under way", n)
			}
		})
	}
}

func TestErrorsAreMapped(t *testing.T) {
	t.Parallel()
	upstream, err := status.New(codes.Internal, "dial 10.1.2.3: secret").WithDetails()
	if err != nil {
		t.Fatal(err)
	}
	made := fault.New(fault.Internal, fault.ReasonInternal, "Name E1.").WithMetadata("error_id", "E1").Status().Err()
	cases := []struct {
		name   string
		in     error
		kind   fault.Kind
		reason string
		level  zapcore.Level
	}{
		{"fault", fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no such job."), fault.NotFound, "JOB_NOT_FOUND", zapcore.InfoLevel},
		{"wrapped", fmt.Errorf("load: %w", fault.New(fault.Conflict, "ETAG", "Changed.")), fault.Conflict, "ETAG", zapcore.InfoLevel},
		{"unknown", errors.New("secret"), fault.Internal, fault.ReasonInternal, zapcore.ErrorLevel},
		{"internal fault", fault.New(fault.Internal, "X", "secret"), fault.Internal, fault.ReasonInternal, zapcore.ErrorLevel},
		{"another service's fault", fmt.Errorf("x: %w", fault.New(fault.NotFound, "JOB_NOT_FOUND", "No.").Status().Err()), fault.NotFound, "JOB_NOT_FOUND", zapcore.InfoLevel},
		{"another service's trouble", made, fault.Internal, fault.ReasonInternal, zapcore.ErrorLevel},
		{"foreign trouble", upstream.Err(), fault.Internal, fault.ReasonInternal, zapcore.ErrorLevel},
		{"broken connection", status.Error(codes.Unavailable, "dial 10.1.2.3: secret"), fault.Unavailable, fault.ReasonUpstream, zapcore.ErrorLevel},
		{"deadline", fmt.Errorf("x: %w", context.DeadlineExceeded), fault.Deadline, fault.ReasonDeadline, zapcore.ErrorLevel},
		{"cancelled by us", context.Canceled, fault.Internal, fault.ReasonInternal, zapcore.ErrorLevel},
		{"store down", fault.New(fault.Unavailable, fault.ReasonStore, "Later."), fault.Unavailable, fault.ReasonStore, zapcore.ErrorLevel},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := start(t, &probe{unary: func(context.Context, *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) { return nil, c.in }}, nil)
			f := expectFault(t, get(k.as(t, identity.Lead), k), c.kind, c.reason)
			if strings.Contains(f.Message, "secret") || strings.Contains(f.Message, "10.1.2.3") {
				t.Errorf("the caller reads %q", f.Message)
			}
			line := k.line(t, progress)
			if line.Level != c.level {
				t.Errorf("logged at %v, want %v", line.Level, c.level)
			}
			if c.kind != fault.Internal {
				return
			}
			id := f.Metadata["error_id"]
			if id == "" || !strings.Contains(f.Message, id) {
				t.Errorf("the message %q does not name the error id %q", f.Message, id)
			}
			if logged := line.ContextMap()["error_id"]; c.in != made && logged != id {
				t.Errorf("the log has error id %v, the caller %q", logged, id)
			}
		})
	}
}

func TestPanicIsCaughtCountedAndLogged(t *testing.T) {
	t.Parallel()
	for _, call := range []func(context.Context, *kit) error{get, watch} {
		k := start(t, &probe{
			unary: func(context.Context, *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) { panic("secret") },
			watch: func(*sitelogv1.WatchEntriesRequest, grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
				panic("secret")
			},
		}, nil)
		f := expectFault(t, call(k.as(t, identity.Lead), k), fault.Internal, fault.ReasonInternal)
		if strings.Contains(f.Message, "secret") {
			t.Errorf("the caller reads %q", f.Message)
		}
		logged := k.logs.FilterMessage("a handler panicked").All()
		if len(logged) != 1 || !strings.Contains(fmt.Sprint(logged[0].ContextMap()["stack"]), "server_test") {
			t.Errorf("logged %v", logged)
		}
		if n := testutil.ToFloat64(k.metrics.panics); n != 1 {
			t.Errorf("%v panics were counted", n)
		}
	}
}

func TestAuthentication(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	old, _, err := k.signer.Sign(identity.Caller{Company: "ash", Person: "p1", Roles: identity.Roles()}, time.Now().Add(-identity.TokenLife))
	if err != nil {
		t.Fatal(err)
	}
	good := identity.Token(k.as(t, identity.Lead))
	cases := []struct{ name, header, reason string }{
		{"none", "", fault.ReasonNoCredentials},
		{"other scheme", "Basic eDp5", fault.ReasonNoCredentials},
		{"empty token", "Bearer ", fault.ReasonNoCredentials},
		{"garbage", "Bearer x", fault.ReasonToken},
		{"expired", "Bearer " + old, fault.ReasonToken},
		{"altered", "Bearer " + good[:len(good)-10] + "AAAAAAAAAA", fault.ReasonToken},
		{"good", "bearer " + good, ""},
	}
	for _, c := range cases {
		for name, call := range map[string]func(context.Context, *kit) error{"unary": get, "stream": watch} {
			ctx := t.Context()
			if c.header != "" {
				ctx = metadata.AppendToOutgoingContext(ctx, "authorization", c.header)
			}
			err := call(ctx, k)
			if c.reason == "" {
				if err != nil {
					t.Errorf("%s, %s: %v", c.name, name, err)
				}
				continue
			}
			if f := fault.FromStatus(err); f == nil || f.Kind != fault.Unauthenticated || f.Reason != c.reason {
				t.Errorf("%s, %s: got %v, want %s", c.name, name, err, c.reason)
			}
		}
	}
	two := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+good, "authorization", "Bearer "+good)
	expectFault(t, get(two, k), fault.Unauthenticated, fault.ReasonNoCredentials)
}

func TestPolicy(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	_, err := k.client.PostEntries(k.as(t, identity.Viewer, identity.Lead), &sitelogv1.PostEntriesRequest{})
	f := expectFault(t, err, fault.PermissionDenied, fault.ReasonRole)
	if !strings.Contains(f.Message, "field, admin") || f.Metadata["roles"] != "field, admin" {
		t.Errorf("the roles that may are not named: %q, %v", f.Message, f.Metadata)
	}
	// Allowed, but the probe does not offer it.
	_, err = k.client.PostEntries(k.as(t, identity.Field), &sitelogv1.PostEntriesRequest{})
	expectFault(t, err, fault.Unimplemented, fault.ReasonMethod)
	// Public needs no credentials, and is not asked for them.
	public := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer garbage")
	_, err = k.client.ListEntries(public, &sitelogv1.ListEntriesRequest{})
	expectFault(t, err, fault.Unimplemented, fault.ReasonMethod)
}

func TestMethodThatIsNotServed(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	for _, method := range []string{"/pikepole.sitelog.v1.SitelogService/Nothing", "/made.Up/Method"} {
		err := k.conn.Invoke(k.as(t, identity.Lead), method, &sitelogv1.GetProgressRequest{}, &sitelogv1.Progress{})
		expectFault(t, err, fault.Unimplemented, fault.ReasonMethod)
	}
	if n := testutil.ToFloat64(k.metrics.handled.WithLabelValues("unknown", "unknown", "Unimplemented")); n != 2 {
		t.Errorf("%v unknown calls were counted, want 2 under one label", n)
	}
}

func TestTableMustFitTheMethods(t *testing.T) {
	t.Parallel()
	table := probePolicy()
	delete(table, progress)
	verifier := identity.NewVerifier(keys{}, nil)
	if _, err := New(Config{Logger: zap.NewNop(), Verifier: verifier, Services: []suite.Service{&probe{policy: table}}}); err == nil {
		t.Error("a gap in the table was not seen")
	}
	leftover := probePolicy()
	leftover["/a/b"] = policy.Rule{Public: true}
	if _, err := New(Config{Logger: zap.NewNop(), Verifier: verifier, Services: []suite.Service{&probe{policy: leftover}}}); err == nil {
		t.Error("a leftover was not seen")
	}
	double := policy.Table{"/grpc.health.v1.Health/Check": {Public: true}}
	if _, err := New(Config{Logger: zap.NewNop(), Verifier: verifier, Services: []suite.Service{&probe{policy: double}}}); err == nil {
		t.Error("a second row was not seen")
	}
	if _, err := New(Config{Logger: zap.NewNop()}); err == nil {
		t.Error("a server without a verifier was made")
	}
	k := start(t, &probe{}, nil)
	if _, err := New(Config{Logger: zap.NewNop(), Verifier: verifier, Registry: k.registry}); err == nil {
		t.Error("two servers share a registry")
	}
}

func TestRateLimit(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, func(c *Config) { c.RatePerSecond, c.Burst = 0.001, 3 })
	ctx := k.as(t, identity.Lead)
	for i := range 3 {
		if err := get(ctx, k); err != nil {
			t.Fatalf("call %d: %v", i, err)
		}
	}
	f := expectFault(t, watch(ctx, k), fault.Exhausted, fault.ReasonRate)
	if f.RetryAfter <= 0 || f.RetryAfter > 1000*time.Second {
		t.Errorf("retry after %v", f.RetryAfter)
	}
	token, _, err := k.signer.Sign(identity.Caller{Company: "elm", Person: "p1", Roles: []identity.Role{identity.Lead}}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if err := get(identity.WithToken(t.Context(), token), k); err != nil {
		t.Errorf("another company pays for it: %v", err)
	}
}

func TestBucketsAreBounded(t *testing.T) {
	t.Parallel()
	now := time.Now()
	b := &buckets{perSecond: 1, burst: 1, all: map[string]*rate.Limiter{}}
	for i := range 3 * maxBuckets {
		now = now.Add(2 * time.Second)
		if wait := b.take(fmt.Sprint(i), now); wait != 0 {
			t.Fatalf("a new bucket is empty: %v", wait)
		}
	}
	if len(b.all) > maxBuckets {
		t.Errorf("%d buckets are kept", len(b.all))
	}
	if b.take("again", now) != 0 || b.take("again", now) != time.Second || b.take("again", now.Add(time.Second)) != 0 {
		t.Error("a bucket does not fill by time, or pays for refused calls")
	}
}

func TestTracing(t *testing.T) {
	t.Parallel()
	recorder := tracetest.NewSpanRecorder()
	provider := trace.NewTracerProvider(trace.WithSpanProcessor(recorder))
	k := start(t, &probe{}, func(c *Config) { c.Tracer = provider })
	if err := get(k.as(t, identity.Lead), k); err != nil {
		t.Fatal(err)
	}
	id, _ := k.line(t, progress).ContextMap()["trace_id"].(string)
	if len(id) != 32 {
		t.Errorf("the access line has trace id %q", id)
	}
}

func TestServeFailsWithItsListener(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := lis.Close(); err != nil {
		t.Fatal(err)
	}
	other, err := New(Config{Logger: zap.NewNop(), Verifier: k.config.Verifier, Services: []suite.Service{&probe{policy: probePolicy()}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Serve(dial.NewPipe(), lis); err == nil {
		t.Error("a closed listener was served")
	}
}
