// Package servicetest serves services to tests as they are served for real: through a real client, the
// codec and the full chain, over a pipe in memory, with signed tokens. It also has a frames service that
// holds what a test puts into it, for tests of services that stand on the real one.
package servicetest

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"net"
	"testing"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/suite"
)

// Kit makes servers whose tokens one key signs.
type Kit struct {
	t        testing.TB
	signer   *identity.Signer
	verifier *identity.Verifier
}

// New makes a kit for a test.
func New(t testing.TB) *Kit {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	key := identity.Key{ID: "test", Public: public, Start: now.Add(-time.Hour), Expire: now.Add(time.Hour)}
	return &Kit{
		t: t, signer: identity.NewSigner("test", private),
		verifier: identity.NewVerifier(keys{key}, nil),
	}
}

type keys []identity.Key

func (k keys) SigningKeys(context.Context) ([]identity.Key, error) { return k, nil }

// As gives a context whose calls are made by a person of a company with these roles.
func (k *Kit) As(company string, roles ...identity.Role) context.Context {
	k.t.Helper()
	token, _, err := k.signer.Sign(identity.Caller{
		Company: company, CompanyName: company, Person: "person-1", PersonName: "Person One", Roles: roles,
	}, time.Now())
	if err != nil {
		k.t.Fatal(err)
	}
	return identity.WithToken(k.t.Context(), token)
}

// Serve migrates services, serves them together, and gives a connection that forwards the token of each
// call's context. All of it ends with the test.
func (k *Kit) Serve(services ...suite.Service) *grpc.ClientConn {
	k.t.Helper()
	for _, s := range services {
		if err := s.Migrate(k.t.Context()); err != nil {
			k.t.Fatalf("migrate %s: %v", s.Name(), err)
		}
	}
	srv, err := server.New(server.Config{
		Logger: zap.NewNop(), Verifier: k.verifier, Services: services, RatePerSecond: 1e6, Burst: 1e6,
	})
	if err != nil {
		k.t.Fatal(err)
	}
	pipe := dial.NewPipe()
	served := make(chan error, 1)
	go func() { served <- srv.Serve(pipe) }()
	conn, err := pipe.Conn(dial.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	k.t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			k.t.Errorf("close connection: %v", err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		if err := srv.Stop(ctx); err != nil {
			k.t.Errorf("stop: %v", err)
		}
		if err := <-served; err != nil && !errors.Is(err, net.ErrClosed) && !errors.Is(err, grpc.ErrServerStopped) {
			k.t.Errorf("serve: %v", err)
		}
		for _, s := range services {
			if err := s.Close(); err != nil {
				k.t.Errorf("close %s: %v", s.Name(), err)
			}
		}
	})
	return conn
}

// CheckPolicy makes every call of a table without credentials and with each role: without, it has to be
// unauthenticated; with a role that its row does not name, denied; with one that it names, neither. Each
// row needs a call.
func (k *Kit) CheckPolicy(table policy.Table, calls map[string]func(ctx context.Context) error) {
	k.t.Helper()
	for method := range calls {
		if _, ok := table[method]; !ok {
			k.t.Errorf("%s is called and has no row", method)
		}
	}
	for method, rule := range table {
		call, ok := calls[method]
		if !ok {
			k.t.Errorf("%s has a row and no call", method)
			continue
		}
		if f := fault.FromStatus(call(k.t.Context())); f == nil || f.Kind != fault.Unauthenticated {
			k.t.Errorf("%s without credentials: %v", method, f)
		}
		for _, role := range identity.Roles() {
			f := fault.FromStatus(call(k.As("company-a", role)))
			denied := f != nil && (f.Kind == fault.PermissionDenied || f.Kind == fault.Unauthenticated)
			if allowed := rule.Allows(identity.Caller{Roles: []identity.Role{role}}); allowed == denied {
				k.t.Errorf("%s as %s: allowed %v, answered %v", method, role, allowed, f)
			}
		}
	}
}
