// Package run puts services and gateway together into a running program: any of them alone
// over the network, or all of them in one process over an in-memory listener with the same
// interceptors.
package run

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/policy"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/suite"
)

// Config says what to run.
type Config struct {
	// Parts are the services to serve, and the gateway; empty means all of them.
	Parts []string
	// Settings must have passed Check.
	Settings config.Settings
	// Logger is required.
	Logger *zap.Logger
	// Now is the clock; nil means the system's.
	Now func() time.Time
}

// Suite is what runs. Its addresses are final once Start has returned.
type Suite struct {
	// URL is where pages and REST are; empty without the gateway.
	URL string
	// AdminURL is where metrics and health are.
	AdminURL string
	// GRPC is the address of all services of this process; empty without services.
	GRPC string

	config   Config
	registry *prometheus.Registry
	tracer   trace.TracerProvider
	pipe     *dial.Pipe
	server   *server.Server
	services []suite.Service
	access   *access.Service
	peers    map[string]*grpc.ClientConn
	ready    map[string]func(context.Context) error
	admin    *http.Server
	public   *front

	serving *errgroup.Group
	failed  context.Context
	// closers run in reverse order when the suite stops.
	closers []func(context.Context) error
}

// Start brings everything up and returns once it answers. On an error everything that was
// started is stopped again. ctx bounds the start alone; the suite runs until Stop.
func Start(ctx context.Context, c Config) (*Suite, error) {
	if c.Logger == nil {
		return nil, errors.New("run: Config.Logger is required")
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	parts, err := config.Serves(c.Parts)
	if err != nil {
		return nil, err
	}
	if err := c.Settings.Check(parts); err != nil {
		return nil, err
	}
	c.Parts = parts
	s := &Suite{
		config: c, registry: prometheus.NewRegistry(), pipe: dial.NewPipe(),
		peers: map[string]*grpc.ClientConn{}, ready: map[string]func(context.Context) error{},
	}
	s.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	if err := s.start(ctx); err != nil {
		stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), c.Settings.StopTimeout)
		defer cancel()
		return nil, errors.Join(err, s.Stop(stopping))
	}
	return s, nil
}

func (s *Suite) start(ctx context.Context) error {
	s.serving, s.failed = errgroup.WithContext(context.WithoutCancel(ctx))
	listeners, err := s.listen()
	if err != nil {
		return err
	}
	if err := s.trace(ctx); err != nil {
		return err
	}
	if err := s.connect(); err != nil {
		return err
	}
	if err := s.build(ctx); err != nil {
		return err
	}
	if err := s.serve(listeners); err != nil {
		return err
	}
	return s.answering(ctx)
}

func (s *Suite) serves(part string) bool { return slices.Contains(s.config.Parts, part) }

func (s *Suite) closing(f func(context.Context) error) { s.closers = append(s.closers, f) }

type listeners struct{ grpc, admin, public net.Listener }

// listen takes the ports before anything else, so that a port that is in use is told at once.
func (s *Suite) listen() (l listeners, err error) {
	take := func(setting, addr string) net.Listener {
		if err != nil {
			return nil
		}
		var taken net.Listener
		if taken, err = net.Listen("tcp", addr); err != nil {
			err = fmt.Errorf("--%s: %w", setting, err)
			return nil
		}
		s.closing(func(context.Context) error {
			if err := taken.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
				return err
			}
			return nil
		})
		return taken
	}
	set := s.config.Settings
	if slices.ContainsFunc(s.config.Parts, func(p string) bool { return p != "gateway" }) {
		if l.grpc = take("grpc-listen", set.GRPCListen); l.grpc != nil {
			s.GRPC = l.grpc.Addr().String()
		}
	}
	if l.admin = take("admin-listen", set.AdminListen); l.admin != nil {
		s.AdminURL = "http://" + l.admin.Addr().String()
	}
	if s.serves("gateway") {
		if l.public = take("listen", set.Listen); l.public != nil {
			s.URL = "http://" + l.public.Addr().String()
		}
	}
	return l, err
}

// connect makes one connection for each service that is called from here: through the pipe
// when it is served here, else to its address.
func (s *Suite) connect() error {
	options := dial.Options{Tracer: s.tracer}
	for _, name := range config.Names() {
		if name == "gateway" {
			continue
		}
		target := s.config.Settings.Target(name)
		var conn *grpc.ClientConn
		var err error
		switch {
		case s.serves(name):
			conn, err = s.pipe.Conn(options)
		case target != "":
			conn, err = dial.Conn(target, options)
			s.ready["service "+name] = answers(conn)
		default:
			continue
		}
		if err != nil {
			return fmt.Errorf("connect to %s: %w", name, err)
		}
		s.peers[name] = conn
		s.closing(func(context.Context) error { return conn.Close() })
	}
	return nil
}

// open opens the store of a service.
func (s *Suite) open(ctx context.Context, service string) (*store.DB, error) {
	db, err := OpenStore(ctx, s.config.Settings.Storage, service, s.config.Logger, s.registry)
	if err != nil {
		return nil, err
	}
	s.closing(func(context.Context) error { return db.Close() })
	s.ready["store "+service] = db.Ping
	return db, nil
}

// OpenStore opens the store of a service: its file in the data folder, which is made when it
// is missing, or its schema in PostgreSQL.
func OpenStore(ctx context.Context, where config.Storage, service string, logger *zap.Logger, registry prometheus.Registerer) (*store.DB, error) {
	address := where.Store
	if address == "" {
		if err := os.MkdirAll(where.Data, 0o700); err != nil {
			return nil, fmt.Errorf("data folder: %w", err)
		}
		address = "sqlite:" + filepath.Join(where.Data, service+".db")
	}
	db, err := store.Open(ctx, store.Config{URL: address, Schema: service, Logger: logger.Named("store"), Registry: registry})
	if err != nil {
		return nil, fmt.Errorf("store of %s: %w", service, err)
	}
	return db, nil
}

func (s *Suite) pool() *compute.Pool {
	cores := s.config.Settings.Cores
	if cores == 0 {
		cores = processors()
	}
	const queuedPerCore = 16
	return compute.NewPool(cores, queuedPerCore*cores, s.registry)
}

// Access is the access service of this process; nil when it is served elsewhere.
func (s *Suite) Access() *access.Service { return s.access }

// Conn connects to a service over the pipe. The token of a call comes from its context, or
// from the options. The caller closes it.
func (s *Suite) Conn(o dial.Options) (*grpc.ClientConn, error) { return s.pipe.Conn(o) }

// Policies are the tables of the services that are served here, together.
func (s *Suite) Policies() (policy.Table, error) {
	tables := make([]policy.Table, len(s.services))
	for i, service := range s.services {
		tables[i] = service.Policy()
	}
	return policy.Merge(tables...)
}

// Failed ends when something that should be serving has stopped by itself.
func (s *Suite) Failed() <-chan struct{} { return s.failed.Done() }

// Stop takes no new calls, ends streams, lets the calls under way finish until ctx ends, and
// closes everything. It returns what went wrong while serving or while stopping.
func (s *Suite) Stop(ctx context.Context) error {
	var errs []error
	if s.public != nil {
		errs = append(errs, s.public.stop(ctx))
	}
	if s.server != nil {
		errs = append(errs, s.server.Stop(ctx))
	}
	if s.admin != nil {
		errs = append(errs, s.admin.Shutdown(ctx))
	}
	if s.serving != nil {
		errs = append(errs, s.serving.Wait())
	}
	for _, service := range slices.Backward(s.services) {
		errs = append(errs, service.Close())
	}
	for _, closer := range slices.Backward(s.closers) {
		errs = append(errs, closer(ctx))
	}
	return errors.Join(errs...)
}
