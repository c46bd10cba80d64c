package server

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
	"github.com/pikepole/pikepole/services/platform/suite"
)

// probe is a service whose handlers a test writes.
type probe struct {
	sitelogv1.UnimplementedSitelogServiceServer
	unary  func(context.Context, *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error)
	watch  func(*sitelogv1.WatchEntriesRequest, grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error
	policy policy.Table
}

var _ suite.Service = (*probe)(nil)

func (p *probe) Name() string                     { return "probe" }
func (p *probe) Register(r grpc.ServiceRegistrar) { sitelogv1.RegisterSitelogServiceServer(r, p) }
func (p *probe) Policy() policy.Table             { return p.policy }
func (p *probe) Migrate(context.Context) error    { return nil }
func (p *probe) Close() error                     { return nil }

func (p *probe) GetProgress(ctx context.Context, r *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
	if p.unary == nil {
		return &sitelogv1.Progress{}, nil
	}
	return p.unary(ctx, r)
}

func (p *probe) WatchEntries(r *sitelogv1.WatchEntriesRequest, s grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
	if p.watch == nil {
		return nil
	}
	return p.watch(r, s)
}

func probePolicy() policy.Table {
	return policy.Table{
		sitelogv1.SitelogService_GetProgress_FullMethodName:  {Roles: []identity.Role{identity.Lead}},
		sitelogv1.SitelogService_WatchEntries_FullMethodName: {Roles: []identity.Role{identity.Lead}, Timeout: time.Hour},
		sitelogv1.SitelogService_PostEntries_FullMethodName:  {Roles: []identity.Role{identity.Field, identity.Admin}, Write: true},
		sitelogv1.SitelogService_ListEntries_FullMethodName:  {Public: true},
	}
}

// keys is a key source of one key.
type keys struct{ key identity.Key }

func (k keys) SigningKeys(context.Context) ([]identity.Key, error) { return []identity.Key{k.key}, nil }

// kit is a served probe and a client for it.
type kit struct {
	*Server
	probe    *probe
	client   sitelogv1.SitelogServiceClient
	conn     *grpc.ClientConn
	signer   *identity.Signer
	logs     *observer.ObservedLogs
	registry *prometheus.Registry
	served   chan error
}

func start(t testing.TB, p *probe, change func(*Config)) *kit {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	core, logs := observer.New(zapcore.DebugLevel)
	k := &kit{probe: p, signer: identity.NewSigner("k1", private), logs: logs, registry: prometheus.NewPedanticRegistry(), served: make(chan error, 1)}
	if p.policy == nil {
		p.policy = probePolicy()
	}
	c := Config{
		Logger: zap.New(core), Registry: k.registry, Services: []suite.Service{p},
		Verifier: identity.NewVerifier(keys{identity.Key{ID: "k1", Public: public, Start: now.Add(-time.Hour), Expire: now.Add(time.Hour)}}, nil),
	}
	if change != nil {
		change(&c)
	}
	k.Server, err = New(c)
	if err != nil {
		t.Fatal(err)
	}
	pipe := dial.NewPipe()
	go func() { k.served <- k.Serve(pipe) }()
	k.conn, err = pipe.Conn(dial.Options{})
	if err != nil {
		t.Fatal(err)
	}
	k.client = sitelogv1.NewSitelogServiceClient(k.conn)
	t.Cleanup(func() {
		_ = k.conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		_ = k.Stop(ctx)
	})
	return k
}

// as is a context that calls as a person with these roles.
func (k *kit) as(t testing.TB, roles ...identity.Role) context.Context {
	t.Helper()
	token, _, err := k.signer.Sign(identity.Caller{Company: "ash", Person: "p1", Roles: roles}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	return identity.WithToken(t.Context(), token)
}

// line is the access line of the only call that was logged with this method.
func (k *kit) line(t *testing.T, method string) observer.LoggedEntry {
	t.Helper()
	lines := k.logs.FilterMessage("call").FilterField(zap.String("method", method)).All()
	if len(lines) != 1 {
		t.Fatalf("%d access lines for %s, want 1", len(lines), method)
	}
	return lines[0]
}
