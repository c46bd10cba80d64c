package access_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/platform/suite"
)

const (
	ours   = "alder-frames"
	theirs = "birch-joiners"
)

// clock is a clock that tests set.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *clock { return &clock{now: time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)} }

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// house is one instance of the service behind the full server chain, and a client of it.
type house struct {
	*testing.T
	db      *store.DB
	clock   *clock
	service *access.Service
	conn    *grpc.ClientConn
	client  accessv1.AccessServiceClient
}

// openHouse starts an instance on a new store, with a company of ours and one of theirs, each with an admin.
func openHouse(t *testing.T, url string) (h *house, admin, theirAdmin context.Context) {
	t.Helper()
	h = startHouse(t, openStore(t, url, nil), newClock())
	for id, name := range map[string]string{ours: "Alder Frames", theirs: "Birch Joiners"} {
		if err := h.service.CreateCompany(t.Context(), id, name); err != nil {
			t.Fatalf("create company: %v", err)
		}
	}
	return h, h.member(ours, "Ada Quill", identity.Admin), h.member(theirs, "Bo Harrow", identity.Admin)
}

func openStore(t *testing.T, url string, before func(op string) error) *store.DB {
	t.Helper()
	return storetest.Open(t, store.Config{URL: url, Schema: "access", Before: before})
}

func startHouse(t *testing.T, db *store.DB, c *clock) *house {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	svc, err := access.New(access.Config{DB: db, Now: c.Now, Registry: registry, FlushEvery: time.Hour})
	if err != nil {
		t.Fatalf("new service: %v", err)
	}
	if err := svc.Migrate(t.Context()); err != nil {
		t.Fatalf("migrate: %v", err)
	}
	srv, err := server.New(server.Config{
		Logger:   zap.NewNop(),
		Verifier: identity.NewVerifier(svc, c.Now), Services: []suite.Service{svc}, Now: c.Now, RatePerSecond: 1e6, Burst: 1e6,
	})
	if err != nil {
		t.Fatalf("new server: %v", err)
	}
	pipe := dial.NewPipe()
	served := make(chan error, 1)
	go func() { served <- srv.Serve(pipe) }()
	conn, err := pipe.Conn(dial.Options{})
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	t.Cleanup(func() {
		_ = conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := srv.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
		<-served
		_ = svc.Close()
	})
	return &house{T: t, db: db, clock: c, service: svc, conn: conn, client: accessv1.NewAccessServiceClient(conn)}
}

// person adds a person by the operator's hand.
func (h *house) person(company, name string, roles ...identity.Role) string {
	h.Helper()
	id, err := h.service.CreatePersonIn(h.Context(), company, name, roles)
	if err != nil {
		h.Fatalf("create person: %v", err)
	}
	return id
}

func (h *house) key(company, person string) string {
	h.Helper()
	key, err := h.service.CreateKeyIn(h.Context(), company, person, "test key")
	if err != nil {
		h.Fatalf("create key: %v", err)
	}
	return key
}

// member adds a person and gives a context that carries their token.
func (h *house) member(company, name string, roles ...identity.Role) context.Context {
	h.Helper()
	return h.as(h.key(company, h.person(company, name, roles...)))
}

// as gives a context that carries a token made from a key.
func (h *house) as(key string) context.Context {
	h.Helper()
	token, err := h.client.ExchangeKey(h.Context(), &accessv1.ExchangeKeyRequest{ApiKey: key})
	if err != nil {
		h.Fatalf("exchange key: %v", err)
	}
	return identity.WithToken(h.Context(), token.GetAccessToken())
}

// me is the person that a context speaks for.
func (h *house) me(ctx context.Context) string {
	h.Helper()
	caller, err := h.client.GetCaller(ctx, &accessv1.GetCallerRequest{})
	if err != nil {
		h.Fatalf("get caller: %v", err)
	}
	return caller.GetPerson()
}

// wantFault checks code and reason of a failed call.
func wantFault(t testing.TB, what string, err error, code codes.Code, reason string) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: no error, want %s %s", what, code, reason)
		return
	}
	if f := fault.FromStatus(err); status.Code(err) != code || f.Reason != reason {
		t.Errorf("%s: %s %s (%v), want %s %s", what, status.Code(err), f.Reason, err, code, reason)
	}
}
