package dial_test

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/callid"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// echo answers a call and remembers the context that it came with.
type echo struct {
	sitelogv1.UnimplementedSitelogServiceServer
	mu   sync.Mutex
	last context.Context
}

func (e *echo) saw(ctx context.Context) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.last = ctx
}

func (e *echo) header(name string) string {
	e.mu.Lock()
	defer e.mu.Unlock()
	return strings.Join(metadata.ValueFromIncomingContext(e.last, name), ",")
}

func (e *echo) GetProgress(ctx context.Context, _ *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
	e.saw(ctx)
	return &sitelogv1.Progress{}, nil
}

func (e *echo) WatchEntries(_ *sitelogv1.WatchEntriesRequest, s grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
	e.saw(s.Context())
	return nil
}

// serve serves an echo on a listener.
func serve(t testing.TB, lis net.Listener) *echo {
	t.Helper()
	e := &echo{}
	server := grpc.NewServer()
	sitelogv1.RegisterSitelogServiceServer(server, e)
	go func() { _ = server.Serve(lis) }()
	t.Cleanup(server.Stop)
	return e
}

func connect(t testing.TB, conn *grpc.ClientConn, err error) sitelogv1.SitelogServiceClient {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return sitelogv1.NewSitelogServiceClient(conn)
}

func viaPipe(t testing.TB, o dial.Options) (*echo, sitelogv1.SitelogServiceClient) {
	t.Helper()
	pipe := dial.NewPipe()
	e := serve(t, pipe)
	conn, err := pipe.Conn(o)
	return e, connect(t, conn, err)
}

func viaTCP(t testing.TB, o dial.Options) (*echo, sitelogv1.SitelogServiceClient) {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	e := serve(t, lis)
	conn, err := dial.Conn(lis.Addr().String(), o)
	return e, connect(t, conn, err)
}

func TestCallsCarryTokenIDAndDeadline(t *testing.T) {
	t.Parallel()
	for name, via := range map[string]func(testing.TB, dial.Options) (*echo, sitelogv1.SitelogServiceClient){"pipe": viaPipe, "tcp": viaTCP} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e, client := via(t, dial.Options{Timeout: 7 * time.Second})
			ctx := callid.With(identity.WithToken(t.Context(), "tok"), "req-1")
			expect := func() {
				t.Helper()
				if got := e.header("authorization"); got != "Bearer tok" {
					t.Errorf("authorization %q", got)
				}
				if got := e.header("x-request-id"); got != "req-1" {
					t.Errorf("request id %q", got)
				}
			}
			if _, err := client.GetProgress(ctx, &sitelogv1.GetProgressRequest{}); err != nil {
				t.Fatal(err)
			}
			expect()
			if deadline, ok := e.last.Deadline(); !ok || time.Until(deadline) > 7*time.Second {
				t.Errorf("deadline %v, %v", deadline, ok)
			}
			stream, err := client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{})
			if err == nil {
				_, err = stream.Recv()
			}
			if err == nil || err.Error() != "EOF" {
				t.Fatal(err)
			}
			expect()
			own := metadata.AppendToOutgoingContext(ctx, "x-request-id", "mine")
			if _, err := client.GetProgress(own, &sitelogv1.GetProgressRequest{}); err != nil || e.header("x-request-id") != "mine" {
				t.Errorf("request id %q, %v", e.header("x-request-id"), err)
			}
			if _, err := client.GetProgress(t.Context(), &sitelogv1.GetProgressRequest{}); err != nil || e.header("authorization") != "" {
				t.Errorf("authorization %q, %v", e.header("authorization"), err)
			}
		})
	}
}

// fixed is credentials of one token.
type fixed string

func (f fixed) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(f)}, nil
}
func (f fixed) RequireTransportSecurity() bool { return false }

func TestPerRPCCredentialsStandInForTheContextsToken(t *testing.T) {
	t.Parallel()
	e, client := viaPipe(t, dial.Options{PerRPC: fixed("own")})
	if _, err := client.GetProgress(identity.WithToken(t.Context(), "tok"), &sitelogv1.GetProgressRequest{}); err != nil {
		t.Fatal(err)
	}
	if got := e.header("authorization"); got != "Bearer own" {
		t.Errorf("authorization %q", got)
	}
}

func TestMessageLimit(t *testing.T) {
	t.Parallel()
	_, client := viaPipe(t, dial.Options{MaxMessageBytes: 1000})
	_, err := client.GetProgress(t.Context(), &sitelogv1.GetProgressRequest{Job: strings.Repeat("x", 2000)})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("got %v", err)
	}
}

func TestTracing(t *testing.T) {
	t.Parallel()
	recorder := tracetest.NewSpanRecorder()
	e, client := viaPipe(t, dial.Options{Tracer: trace.NewTracerProvider(trace.WithSpanProcessor(recorder))})
	if _, err := client.GetProgress(t.Context(), &sitelogv1.GetProgressRequest{}); err != nil {
		t.Fatal(err)
	}
	if e.header("traceparent") == "" || len(recorder.Started()) != 1 {
		t.Errorf("traceparent %q, %d spans", e.header("traceparent"), len(recorder.Started()))
	}
}

func TestPipe(t *testing.T) {
	t.Parallel()
	pipe := dial.NewPipe()
	accepted := make(chan net.Conn, 1)
	go func() {
		c, err := pipe.Accept()
		if err != nil {
			t.Error(err)
		}
		accepted <- c
	}()
	near, err := pipe.Dial(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	far := <-accepted
	go func() { _, _ = near.Write([]byte("hello")) }()
	buf := make([]byte, 5)
	if _, err := far.Read(buf); err != nil || string(buf) != "hello" {
		t.Errorf("read %q, %v", buf, err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := pipe.Dial(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if err := errors.Join(pipe.Close(), pipe.Close()); err != nil {
		t.Error(err)
	}
	if _, err := pipe.Accept(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("got %v", err)
	}
	if _, err := pipe.Dial(t.Context()); !errors.Is(err, net.ErrClosed) {
		t.Errorf("got %v", err)
	}
	if pipe.Addr().Network() != "pipe" || pipe.Addr().String() != "pipe" {
		t.Error("the address has another name")
	}
}

func TestBadTarget(t *testing.T) {
	t.Parallel()
	if _, err := dial.Conn("dns://%zz/\x00", dial.Options{}); err == nil {
		t.Error("a target that can not be read was taken")
	}
}
