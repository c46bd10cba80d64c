package server

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

func TestDeadline(t *testing.T) {
	t.Parallel()
	var left time.Duration
	k := start(t, &probe{unary: func(ctx context.Context, _ *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
		deadline, _ := ctx.Deadline()
		left = time.Until(deadline)
		return &sitelogv1.Progress{}, nil
	}}, nil)
	cases := []struct {
		name      string
		asked     time.Duration
		low, high time.Duration
	}{
		{"longer than the rule allows", time.Hour, 8 * time.Second, policy.DefaultTimeout},
		{"none, so the client's default", 0, 8 * time.Second, policy.DefaultTimeout},
		{"shorter", 5 * time.Second, 0, 5 * time.Second},
	}
	for _, c := range cases {
		ctx := k.as(t, identity.Lead)
		if c.asked > 0 {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, c.asked)
			defer cancel()
		}
		if err := get(ctx, k); err != nil {
			t.Fatal(err)
		}
		if left < c.low || left > c.high {
			t.Errorf("%s: %v was left", c.name, left)
		}
	}
}

func TestTooLittleTimeIsRefused(t *testing.T) {
	t.Parallel()
	ran := false
	k := start(t, &probe{}, nil)
	ctx, cancel := context.WithTimeout(t.Context(), leastTime-time.Millisecond)
	defer cancel()
	err := k.limitTime(ctx, &call{}, func(context.Context) error { ran = true; return nil })
	if !fault.Is(err, fault.Deadline) || ran {
		t.Errorf("got %v, ran %v", err, ran)
	}
}

// blocked is a watch that only a context's end or the server's stop ends.
func blocked(_ *sitelogv1.WatchEntriesRequest, s grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
	if err := s.Send(&sitelogv1.WatchEntriesResponse{}); err != nil {
		return err
	}
	select {
	case <-s.Context().Done():
		return s.Context().Err()
	case <-Stopping(s.Context()):
		return fault.New(fault.Unavailable, fault.ReasonStopping, "The server is being stopped; connect again.")
	}
}

func TestStreamIsToldToConnectAgain(t *testing.T) {
	t.Parallel()
	table := probePolicy()
	table[sitelogv1.SitelogService_WatchEntries_FullMethodName] = policy.Rule{Roles: identity.Roles(), Timeout: 200 * time.Millisecond}
	k := start(t, &probe{watch: blocked, policy: table}, nil)
	expectFault(t, watch(k.as(t, identity.Lead), k), fault.Unavailable, fault.ReasonReconnect)
	if line := k.line(t, sitelogv1.SitelogService_WatchEntries_FullMethodName); line.Level != zapcore.InfoLevel {
		t.Errorf("logged at %v", line.Level)
	}
}

// A stream does not outlive the token that opened it.
func TestStreamEndsWithItsToken(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	open := &call{stream: true, rule: policy.Rule{Timeout: time.Hour}, expires: time.Now().Add(100 * time.Millisecond)}
	err := k.limitTime(t.Context(), open, func(ctx context.Context) error {
		<-ctx.Done()
		return ctx.Err()
	})
	expectFault(t, err, fault.Unavailable, fault.ReasonReconnect)
}

func TestCallerWhoLeavesIsNeitherErrorNorInfo(t *testing.T) {
	t.Parallel()
	ended := make(chan struct{})
	k := start(t, &probe{watch: func(r *sitelogv1.WatchEntriesRequest, s grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
		defer close(ended)
		return blocked(r, s)
	}}, nil)
	ctx, cancel := context.WithCancel(k.as(t, identity.Lead))
	stream, err := k.client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	cancel()
	<-ended
	if err := k.Stop(context.WithoutCancel(t.Context())); err != nil { // waits until the line is written
		t.Fatal(err)
	}
	line := k.line(t, sitelogv1.SitelogService_WatchEntries_FullMethodName)
	if line.Level != zapcore.DebugLevel || line.ContextMap()["code"] != "Canceled" {
		t.Errorf("logged at %v with code %v", line.Level, line.ContextMap()["code"])
	}
}

func TestRequestIDComesBack(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	for sent, want := range map[string]string{"abc-1": "abc-1", "": "", "bad id": ""} {
		ctx := k.as(t, identity.Lead)
		if sent != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "x-request-id", sent)
		}
		var header metadata.MD
		if _, err := k.client.GetProgress(ctx, &sitelogv1.GetProgressRequest{}, grpc.Header(&header)); err != nil {
			t.Fatal(err)
		}
		got := header.Get("x-request-id")
		if len(got) != 1 || want != "" && got[0] != want || want == "" && (got[0] == sent || len(got[0]) != 16) {
			t.Errorf("sent %q, got back %q", sent, got)
		}
	}
}

func TestHealthAndReflection(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	health := grpc_health_v1.NewHealthClient(k.conn)
	for service, want := range map[string]codes.Code{"": codes.OK, "pikepole.sitelog.v1.SitelogService": codes.OK, "none": codes.NotFound} {
		answer, err := health.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: service})
		if status.Code(err) != want || err == nil && answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			t.Errorf("%q: %v, %v", service, answer, err)
		}
	}
	if line := k.logs.FilterMessage("call").All()[0]; line.Level > zapcore.InfoLevel {
		t.Errorf("a probe is logged at %v", line.Level)
	}
	watching, err := health.Watch(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if first, err := watching.Recv(); err != nil || first.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
		t.Fatal(first, err)
	}
	info, err := reflectionv1.NewServerReflectionClient(k.conn).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	err = info.Send(&reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}})
	if err != nil {
		t.Fatal(err)
	}
	list, err := info.Recv()
	if err != nil || len(list.GetListServicesResponse().GetService()) < 3 {
		t.Errorf("reflection lists %v, %v", list, err)
	}
	// Neither of the two open streams keeps the server from stopping.
	if err := k.Stop(t.Context()); err != nil {
		t.Error(err)
	}
	if err := <-k.served; err != nil {
		t.Error(err)
	}
	for err == nil {
		_, err = watching.Recv()
	}
	if errors.Is(err, io.EOF) {
		t.Error("a health watch ended as if all were well")
	}
}

func TestStop(t *testing.T) {
	t.Parallel()
	begun, release := make(chan struct{}), make(chan struct{})
	k := start(t, &probe{
		watch: blocked,
		unary: func(context.Context, *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
			close(begun)
			<-release
			return &sitelogv1.Progress{}, nil
		},
	}, nil)
	ctx := k.as(t, identity.Lead)
	stream, err := k.client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	called, stopped := make(chan error), make(chan error)
	go func() { called <- get(ctx, k) }()
	<-begun
	go func() { stopped <- k.Stop(context.WithoutCancel(t.Context())) }()
	// Its own streams end at once, with a hint.
	_, err = stream.Recv()
	expectFault(t, err, fault.Unavailable, fault.ReasonStopping)
	if code := visit(k, "/readyz").Code; code != http.StatusServiceUnavailable {
		t.Errorf("a server that stops is ready: %d", code)
	}
	// The call under way is finished.
	close(release)
	if err := <-called; err != nil {
		t.Errorf("the call under way got %v", err)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
	if err := k.Stop(t.Context()); err != nil {
		t.Errorf("a second Stop gave %v", err)
	}
}

func TestStopCutsOffWhatDoesNotEnd(t *testing.T) {
	t.Parallel()
	begun := make(chan struct{})
	k := start(t, &probe{unary: func(ctx context.Context, _ *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
		close(begun)
		<-ctx.Done()
		return nil, ctx.Err()
	}}, nil)
	ctx := k.as(t, identity.Lead)
	called := make(chan error)
	go func() { called <- get(ctx, k) }()
	<-begun
	soon, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if err := k.Stop(soon); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("stop gave %v", err)
	}
	if err := <-called; err == nil {
		t.Error("the call that was cut off succeeded")
	}
}

func visit(k *kit, path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	k.Admin().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w
}

func TestAdmin(t *testing.T) {
	t.Parallel()
	var broken error
	k := start(t, &probe{}, func(c *Config) {
		c.Ready = map[string]func(context.Context) error{"store": func(context.Context) error { return broken }}
	})
	if err := get(k.as(t, identity.Lead), k); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		"/healthz": "ok", "/readyz": "ready", "/debug/pprof/": "goroutine", "/debug/pprof/cmdline": "server",
		"/metrics": `pikepole_rpc_handled_total{code="OK",method="GetProgress",service="pikepole.sitelog.v1.SitelogService"} 1`,
	} {
		if w := visit(k, path); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: %d %.200s", path, w.Code, w.Body)
		}
	}
	broken = errors.New("no disk")
	if w := visit(k, "/readyz"); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "store: no disk") {
		t.Errorf("with a broken store: %d %s", w.Code, w.Body)
	}
}

func TestMetricsAreWellNamed(t *testing.T) {
	t.Parallel()
	k := start(t, &probe{}, nil)
	if err := get(k.as(t, identity.Lead), k); err != nil {
		t.Fatal(err)
	}
	problems, err := testutil.GatherAndLint(k.registry)
	if err != nil || len(problems) > 0 {
		t.Errorf("promlint: %v, %v", problems, err)
	}
	families, err := k.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		if !strings.HasPrefix(f.GetName(), "pikepole_rpc_") {
			t.Errorf("%s is not of the RPC metrics", f.GetName())
		}
		for _, m := range f.GetMetric() {
			if len(m.GetLabel()) > 4 {
				t.Errorf("%s has %d labels", f.GetName(), len(m.GetLabel()))
			}
		}
	}
}
