package run_test

import (
	"context"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	tracev1 "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"go.uber.org/zap/zaptest"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
)

// collector keeps the names of the spans that it is sent, and of the services that sent them.
type collector struct {
	tracev1.UnimplementedTraceServiceServer

	mu    sync.Mutex
	spans []string
}

func (c *collector) Export(_ context.Context, r *tracev1.ExportTraceServiceRequest) (*tracev1.ExportTraceServiceResponse, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, resource := range r.GetResourceSpans() {
		name := ""
		for _, a := range resource.GetResource().GetAttributes() {
			if a.GetKey() == "service.name" {
				name = a.GetValue().GetStringValue()
			}
		}
		for _, scope := range resource.GetScopeSpans() {
			for _, span := range scope.GetSpans() {
				c.spans = append(c.spans, name+": "+span.GetName())
			}
		}
	}
	return &tracev1.ExportTraceServiceResponse{}, nil
}

func settings(folder string) config.Settings {
	return config.Settings{
		Storage: config.Storage{Data: folder}, Listen: "127.0.0.1:0", GRPCListen: "127.0.0.1:0", AdminListen: "127.0.0.1:0",
		RequestRate: 50, RequestBurst: 300, StopTimeout: 10 * time.Second, LogLevel: "warn",
	}
}

// TestTracesAreExported sends the spans of a call to where the environment says.
func TestTracesAreExported(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c, server := &collector{}, grpc.NewServer()
	tracev1.RegisterTraceServiceServer(server, c)
	var serving sync.WaitGroup
	serving.Go(func() { _ = server.Serve(listener) }) // Stop below ends it
	t.Cleanup(func() {
		server.Stop()
		serving.Wait()
	})
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://"+listener.Addr().String())
	suite, err := run.Start(t.Context(), run.Config{Settings: settings(t.TempDir()), Logger: zaptest.NewLogger(t)})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := suite.Conn(dial.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := accessv1.NewAccessServiceClient(conn).ListSigningKeys(t.Context(), &accessv1.ListSigningKeysRequest{}); err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	// Stopping sends what was not sent yet.
	if err := suite.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if want := "pikepole: pikepole.access.v1.AccessService/ListSigningKeys"; !slices.Contains(c.spans, want) {
		t.Errorf("the collector got %v, not %s", c.spans, want)
	}
}

// TestPortInUse tells which setting is at fault, and leaves nothing running.
func TestPortInUse(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = taken.Close() })
	folder := t.TempDir()
	s := settings(folder)
	s.AdminListen = taken.Addr().String()
	if _, err := run.Start(t.Context(), run.Config{Settings: s, Logger: zaptest.NewLogger(t)}); err == nil || !contains(err, "--admin-listen") {
		t.Errorf("got %v; want it to name --admin-listen", err)
	}
	s.AdminListen = "127.0.0.1:0"
	suite, err := run.Start(t.Context(), run.Config{Settings: s, Logger: zaptest.NewLogger(t)})
	if err != nil {
		t.Fatalf("after the failed start: %v", err)
	}
	if err := suite.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}

func contains(err error, text string) bool { return strings.Contains(err.Error(), text) }
