package gateway

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/problem"
)

// probeTimeout is how long the services together may take to say that they serve.
const probeTimeout = 3 * time.Second

func healthz(w http.ResponseWriter, _ *http.Request) {
	plain(w, "It runs.\n")
}

func (g *Gateway) readyz(w http.ResponseWriter, r *http.Request) {
	if err := g.Ready(r.Context()); err != nil {
		d := problem.New(http.StatusServiceUnavailable, "NOT_READY", "A service does not answer yet; try again in a moment.")
		d.RetryAfter = 1
		call.RefuseWith(w, r, d)
		return
	}
	plain(w, "Every service answers.\n")
}

func openapi(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-cache")
	// A client who has gone cannot be told.
	_, _ = io.WriteString(w, description)
}

func plain(w http.ResponseWriter, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = io.WriteString(w, text)
}

// checkServices asks the health service behind every connection, each connection once.
func (g *Gateway) checkServices(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, probeTimeout)
	defer cancel()
	names := []string{"access", "frames", "takeoff", "rigging", "sequencing", "sitelog"}
	var faults []error
	for i, conn := range g.conns {
		if slices.Contains(g.conns[:i], conn) {
			continue
		}
		if err := serves(ctx, conn); err != nil {
			faults = append(faults, fmt.Errorf("%s: %w", names[i], err))
		}
	}
	return errors.Join(faults...)
}

func serves(ctx context.Context, conn grpc.ClientConnInterface) error {
	answer, err := grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{})
	switch {
	case status.Code(err) == codes.Unimplemented:
		// A server without a health service answers, which is all that can be asked of it.
		return nil
	case err != nil:
		return fmt.Errorf("ask for health: %w", err)
	case answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING:
		return fmt.Errorf("it is %s", answer.GetStatus())
	}
	return nil
}
