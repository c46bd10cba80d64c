// Package gateway is the suite seen from outside: REST with problem documents, documents in the
// form that is asked for, live entries as server-sent events, and server-rendered pages. It speaks
// gRPC to the services and nothing else, and keeps nothing but tokens until shortly before their end.
package gateway

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/gateway/internal/call"
	"github.com/pikepole/pikepole/gateway/internal/limit"
	"github.com/pikepole/pikepole/gateway/internal/live"
	"github.com/pikepole/pikepole/gateway/internal/login"
	"github.com/pikepole/pikepole/gateway/internal/page"
	"github.com/pikepole/pikepole/gateway/internal/route"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// Config says what a gateway works with.
type Config struct {
	// Access to Sitelog are connections to the six services, made by package dial; required. One
	// connection may serve several.
	Access, Frames, Takeoff, Rigging, Sequencing, Sitelog grpc.ClientConnInterface
	// Logger gets one line for each request; none are written when nil.
	Logger *zap.Logger
	// Registry gets the metrics; none are registered when nil.
	Registry prometheus.Registerer
	// PublicURL is where people reach the pages, such as https://frames.example.com; empty when
	// it is the address that the server listens on.
	PublicURL string
	// TLS says that people reach the pages over https even if PublicURL does not say so.
	TLS bool
	// TrustedProxies are the networks whose X-Forwarded-For is believed.
	TrustedProxies []netip.Prefix
	// Now is the clock; the system's when nil.
	Now func() time.Time
	// MaxBodyBytes bounds a request body; 1 MiB when 0.
	MaxBodyBytes int64
	// MaxFrameBytes bounds a request body with a frame; 32 MiB when 0.
	MaxFrameBytes int64
	// CallTimeout is the deadline of each call to a service; 30 s when 0. Searches have at least 55 s.
	CallTimeout time.Duration
	// RequestsPerSecond and RequestBurst bound one address; 50 and 300 when 0.
	RequestsPerSecond float64
	RequestBurst      int
	// MaxStreams bounds the live streams open at once; 1,000 when 0.
	MaxStreams int
	// Heartbeat is how often a quiet live stream shows itself alive; 15 s when 0.
	Heartbeat time.Duration
}

const (
	defaultBodyBytes   = 1 << 20
	defaultFrameBytes  = 32 << 20
	defaultCallTimeout = 30 * time.Second
	defaultRate        = 50
	defaultBurst       = 300
	defaultStreams     = 1000
	// rememberedAddresses and rememberedTokens bound what the gateway keeps in memory.
	rememberedAddresses = 20_000
	rememberedTokens    = 10_000
)

// Gateway answers HTTP requests. Make one with New.
type Gateway struct {
	config   Config
	secure   bool
	services services
	conns    []grpc.ClientConnInterface
	routes   *route.Table
	keeper   *login.Keeper
	limiter  *limit.Limiter
	metrics  *metrics
	origin   *http.CrossOriginProtection
	pages    *page.Site
	handler  http.Handler
	stop     chan struct{}
	stopOnce sync.Once
}

// services are the clients of the six services, each of which adds the facts of the request.
type services struct {
	access     accessv1.AccessServiceClient
	frames     framesv1.FramesServiceClient
	takeoff    takeoffv1.TakeoffServiceClient
	rigging    riggingv1.RiggingServiceClient
	sequencing sequencingv1.SequencingServiceClient
	sitelog    sitelogv1.SitelogServiceClient
}

// New makes a gateway. It makes no call; the services may start later.
func New(config Config) (*Gateway, error) {
	if err := config.fill(); err != nil {
		return nil, err
	}
	routes, err := route.Parse([]byte(description))
	if err != nil {
		return nil, fmt.Errorf("gateway: %w", err)
	}
	g := &Gateway{
		config:   config,
		secure:   config.TLS || strings.HasPrefix(config.PublicURL, "https://"),
		services: newServices(config),
		conns: []grpc.ClientConnInterface{
			config.Access, config.Frames, config.Takeoff, config.Rigging, config.Sequencing, config.Sitelog,
		},
		routes:  routes,
		limiter: limit.New(config.RequestsPerSecond, config.RequestBurst, rememberedAddresses, config.Now),
		origin:  http.NewCrossOriginProtection(),
		stop:    make(chan struct{}),
	}
	if config.PublicURL != "" {
		if err := g.origin.AddTrustedOrigin(strings.TrimSuffix(config.PublicURL, "/")); err != nil {
			return nil, fmt.Errorf("gateway: public address: %w", err)
		}
	}
	g.keeper = login.New(g.services.access, rememberedTokens, config.Now)
	if g.metrics, err = newMetrics(config.Registry); err != nil {
		return nil, fmt.Errorf("gateway: metrics: %w", err)
	}
	if g.pages, err = g.newPages(); err != nil {
		return nil, fmt.Errorf("gateway: pages: %w", err)
	}
	mux, err := g.newMux(live.New(live.Config{
		Log:       g.services.sitelog,
		Gauge:     g.metrics,
		Heartbeat: config.Heartbeat,
		Limit:     config.MaxStreams,
		Stop:      g.stop,
	}))
	if err != nil {
		return nil, fmt.Errorf("gateway: %w", err)
	}
	g.handler = g.chain(mux)
	return g, nil
}

// Handler answers every request.
func (g *Gateway) Handler() http.Handler { return g.handler }

// Close ends the live streams, whose clients then connect elsewhere. It is called before the HTTP
// server is shut down, since a server waits for streams that do not end.
func (g *Gateway) Close() {
	g.stopOnce.Do(func() { close(g.stop) })
}

func (g *Gateway) newPages() (*page.Site, error) {
	return page.New(page.Config{
		Access:     g.services.access,
		Frames:     g.services.frames,
		Takeoff:    g.services.takeoff,
		Rigging:    g.services.rigging,
		Sequencing: g.services.sequencing,
		Sitelog:    g.services.sitelog,
		Sessions:   g.keeper,
		Origin:     g.origin,
		Secure:     g.secure,
		Now:        g.config.Now,
		Logger:     g.config.Logger,
	})
}

// searchTimeout is the deadline of a call that searches: below a minute, after which many clients and proxies give up.
const searchTimeout = 55 * time.Second

// searches are the calls that search, or wait for a search.
func searches() map[string]time.Duration {
	return map[string]time.Duration{
		sequencingv1.SequencingService_CheckRaising_FullMethodName:   searchTimeout,
		sequencingv1.SequencingService_GetStanding_FullMethodName:    searchTimeout,
		sequencingv1.SequencingService_RenderStanding_FullMethodName: searchTimeout,
		sequencingv1.SequencingService_RenderBraces_FullMethodName:   searchTimeout,
		sequencingv1.SequencingService_DrawStand_FullMethodName:      searchTimeout,
	}
}

func newServices(config Config) services {
	conn := func(beneath grpc.ClientConnInterface) *call.Conn {
		return call.NewConn(beneath, config.CallTimeout, searches())
	}
	return services{
		access:     accessv1.NewAccessServiceClient(conn(config.Access)),
		frames:     framesv1.NewFramesServiceClient(conn(config.Frames)),
		takeoff:    takeoffv1.NewTakeoffServiceClient(conn(config.Takeoff)),
		rigging:    riggingv1.NewRiggingServiceClient(conn(config.Rigging)),
		sequencing: sequencingv1.NewSequencingServiceClient(conn(config.Sequencing)),
		sitelog:    sitelogv1.NewSitelogServiceClient(conn(config.Sitelog)),
	}
}

// fill checks what is required and sets the defaults.
func (c *Config) fill() error {
	for _, required := range []struct {
		name string
		conn grpc.ClientConnInterface
	}{
		{"access", c.Access},
		{"frames", c.Frames},
		{"takeoff", c.Takeoff},
		{"rigging", c.Rigging},
		{"sequencing", c.Sequencing},
		{"sitelog", c.Sitelog},
	} {
		if required.conn == nil {
			return errors.New("gateway: no connection to " + required.name)
		}
	}
	if c.Logger == nil {
		c.Logger = zap.NewNop()
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	orDefault(&c.MaxBodyBytes, defaultBodyBytes)
	orDefault(&c.MaxFrameBytes, defaultFrameBytes)
	orDefault(&c.CallTimeout, defaultCallTimeout)
	orDefault(&c.RequestsPerSecond, defaultRate)
	orDefault(&c.RequestBurst, defaultBurst)
	orDefault(&c.MaxStreams, defaultStreams)
	return nil
}

func orDefault[T int | int64 | float64 | time.Duration](value *T, standard T) {
	if *value == 0 {
		*value = standard
	}
}

// Ready asks every service whether it serves; the error names those that do not.
func (g *Gateway) Ready(ctx context.Context) error {
	return g.checkServices(ctx)
}
