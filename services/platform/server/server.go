// Package server is the gRPC server that all services stand on, with the chain that every call
// goes through, and the HTTP handler for those who run it.
//
// The chain, outermost first: trace, request id, metrics, access log, error map, recovery,
// authentication, policy table, deadline, rate limit, handler.
package server

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"
	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
	"github.com/pikepole/pikepole/services/platform/suite"
)

// Config says what is served, and how.
type Config struct {
	// Logger is required.
	Logger *zap.Logger
	// Registry takes the metrics and is shown at /metrics; nil makes a new one.
	Registry *prometheus.Registry
	// Verifier checks the tokens of callers; it is required.
	Verifier *identity.Verifier
	// Services are registered, each with its own rows of the policy table.
	Services []suite.Service
	// MaxMessageBytes limits a message either way; default 32 MiB.
	MaxMessageBytes int
	// RatePerSecond and Burst bound the calls of one person; default 200 and 400.
	RatePerSecond float64
	Burst         int
	// Tracer makes server spans; nil makes none.
	Tracer trace.TracerProvider
	// Transport secures the connections; nil is plain text.
	Transport credentials.TransportCredentials
	// Now is the clock that tokens are held against; nil is time.Now.
	Now func() time.Time
	// Ready are the checks behind /readyz, by name.
	Ready map[string]func(context.Context) error
}

const (
	defaultMaxMessageBytes = 32 << 20
	defaultRatePerSecond   = 200
	defaultBurst           = 400
	maxConcurrentStreams   = 1000
)

func (c Config) withDefaults() (Config, error) {
	if c.Logger == nil || c.Verifier == nil {
		return c, errors.New("server: a logger and a verifier are required")
	}
	if c.Registry == nil {
		c.Registry = prometheus.NewRegistry()
	}
	if c.MaxMessageBytes <= 0 {
		c.MaxMessageBytes = defaultMaxMessageBytes
	}
	if c.RatePerSecond <= 0 {
		c.RatePerSecond = defaultRatePerSecond
	}
	if c.Burst <= 0 {
		c.Burst = defaultBurst
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return c, nil
}

// Server serves the services. New makes it; Serve and Stop are called once each.
type Server struct {
	config   Config
	logger   *zap.Logger
	metrics  *rpcMetrics
	table    policy.Table
	buckets  *buckets
	grpc     *grpc.Server
	health   *health.Server
	stopping chan struct{}
	serving  atomic.Bool
	stopped  atomic.Bool
}

// New makes a server of the services. A method without a row in the policy table, or a row
// without a method, is an error.
func New(c Config) (*Server, error) {
	c, err := c.withDefaults()
	if err != nil {
		return nil, err
	}
	tables := []policy.Table{builtIn()}
	for _, service := range c.Services {
		tables = append(tables, service.Policy())
	}
	table, err := policy.Merge(tables...)
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	m, err := newRPCMetrics(c.Registry)
	if err != nil {
		return nil, fmt.Errorf("server: register metrics: %w", err)
	}
	s := &Server{
		config: c, logger: c.Logger, metrics: m, table: table, health: health.NewServer(),
		buckets:  &buckets{perSecond: rate.Limit(c.RatePerSecond), burst: c.Burst, all: map[string]*rate.Limiter{}},
		stopping: make(chan struct{}),
	}
	s.grpc = grpc.NewServer(s.options()...)
	for _, service := range c.Services {
		service.Register(s.grpc)
	}
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	if err := table.Check(s.methods()); err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	s.setHealth(healthpb.HealthCheckResponse_NOT_SERVING)
	return s, nil
}

func (s *Server) options() []grpc.ServerOption {
	unary, stream := s.interceptors()
	options := []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(unary...),
		grpc.ChainStreamInterceptor(stream...),
		grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error {
			return fault.New(fault.Unimplemented, fault.ReasonMethod, "There is no such method.")
		}),
		grpc.ForceServerCodecV2(newBoundedCodec()),
		grpc.MaxRecvMsgSize(s.config.MaxMessageBytes),
		grpc.MaxSendMsgSize(s.config.MaxMessageBytes),
		grpc.MaxConcurrentStreams(maxConcurrentStreams),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: time.Minute, Timeout: 20 * time.Second}),
	}
	if s.config.Tracer != nil {
		options = append(options, grpc.StatsHandler(otelgrpc.NewServerHandler(
			otelgrpc.WithTracerProvider(s.config.Tracer), otelgrpc.WithPropagators(propagation.TraceContext{}))))
	}
	if s.config.Transport != nil {
		options = append(options, grpc.Creds(s.config.Transport))
	}
	return options
}

// methods lists the full names of all methods that are served.
func (s *Server) methods() []string {
	var methods []string
	for service, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			methods = append(methods, "/"+service+"/"+m.Name)
		}
	}
	return methods
}

func (s *Server) setHealth(state healthpb.HealthCheckResponse_ServingStatus) {
	s.health.SetServingStatus("", state)
	for service := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(service, state)
	}
}

// Serve answers on the listeners until Stop; then it returns nil. When one of them fails, it
// stops the rest and returns the error.
func (s *Server) Serve(listeners ...net.Listener) error {
	s.setHealth(healthpb.HealthCheckResponse_SERVING)
	s.serving.Store(true)
	group := errgroup.Group{}
	for _, lis := range listeners {
		group.Go(func() error {
			err := s.grpc.Serve(lis)
			if err != nil && !errors.Is(err, grpc.ErrServerStopped) {
				s.grpc.Stop()
				return fmt.Errorf("serve on %s: %w", lis.Addr(), err)
			}
			return nil
		})
	}
	return group.Wait()
}

// Stop ends the server: it is no longer ready, streams are told through Stopping, and calls
// under way are finished, until the context ends: then they are cut off, and its error is
// returned.
func (s *Server) Stop(ctx context.Context) error {
	if s.stopped.Swap(true) {
		return nil
	}
	s.serving.Store(false)
	s.health.Shutdown()
	close(s.stopping)
	graceful := make(chan struct{})
	go func() {
		defer close(graceful)
		s.grpc.GracefulStop()
	}()
	select {
	case <-graceful:
		return nil
	case <-ctx.Done():
		s.grpc.Stop()
		<-graceful
		return fmt.Errorf("stop server: calls were cut off: %w", ctx.Err())
	}
}
