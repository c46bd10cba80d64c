// Package testkit starts the whole suite for a test, with the demonstration's companies and
// jobs in it, and hands out clients: in one process on SQLite, or as seven processes on
// PostgreSQL. Everything is stopped and removed when the test ends.
package testkit

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/zap/zaptest"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/deploy/demo"
	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Names in the environment that the test command sets.
const (
	// PostgresEnv is the address of a PostgreSQL that tests may make databases in.
	PostgresEnv = "PIKEPOLE_TEST_POSTGRES"
	// ChromiumEnv is the path of a Chromium.
	ChromiumEnv = "PIKEPOLE_TEST_CHROMIUM"
	// WithoutEnv lists what was left out on purpose: postgres, chromium.
	WithoutEnv = "PIKEPOLE_TEST_WITHOUT"
)

// Suite is a running suite.
type Suite struct {
	// URL is where pages and REST are.
	URL string
	// AdminURLs are where the processes show metrics and health.
	AdminURLs []string
	// Keys are the first company's API keys by role, OtherKey is the second company's admin's.
	Keys     map[string]string
	OtherKey string
	// Jobs are the ids of the jobs: cabin, house and barn of the first company, woodshed of the second.
	Jobs map[string]string
	// SignInCode is a one-time code for the first company's lead.
	SignInCode string
	// Policies is the policy table of all services; nil for processes, which keep theirs to themselves.
	Policies policy.Table

	connect func(service string, o dial.Options) (*grpc.ClientConn, error)
}

// Start starts everything in one process on SQLite in a temporary folder.
func Start(t testing.TB) *Suite {
	t.Helper()
	return StartAt(t, time.Now)
}

// StartAt is Start with a clock of the test's own.
func StartAt(t testing.TB, now func() time.Time) *Suite {
	t.Helper()
	folder := t.TempDir()
	settings := config.Settings{
		Storage: config.Storage{Data: folder}, Listen: "127.0.0.1:0", GRPCListen: "127.0.0.1:0", AdminListen: "127.0.0.1:0",
		RequestRate: testRate, RequestBurst: testBurst, StopTimeout: 10 * time.Second, LogLevel: "warn",
	}
	running, err := run.Start(t.Context(), run.Config{Settings: settings, Now: now, Logger: zaptest.NewLogger(t, zaptest.Level(quiet))})
	if err != nil {
		t.Fatalf("start the suite: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), settings.StopTimeout)
		defer cancel()
		if err := running.Stop(ctx); err != nil {
			t.Errorf("stop the suite: %v", err)
		}
	})
	s := &Suite{
		URL: running.URL, AdminURLs: []string{running.AdminURL},
		connect: func(_ string, o dial.Options) (*grpc.ClientConn, error) { return running.Conn(o) },
	}
	if s.Policies, err = running.Policies(); err != nil {
		t.Fatal(err)
	}
	s.load(t, running.Access(), folder, now)
	return s
}

func (s *Suite) load(t testing.TB, operator demo.Operator, folder string, now func() time.Time) {
	t.Helper()
	loaded, err := demo.Load(t.Context(), demo.Target{
		Operator: operator, Connect: s.connect, State: filepath.Join(folder, "demo.json"), Now: now,
	})
	if err != nil {
		t.Fatalf("load the demonstration: %v", err)
	}
	s.Keys, s.OtherKey, s.Jobs, s.SignInCode = loaded.Keys, loaded.OtherKey, loaded.Jobs, loaded.SignInCode
}

// Conn connects to a service in the name of an API key; an empty key is nobody's.
func (s *Suite) Conn(t testing.TB, service, apiKey string) *grpc.ClientConn {
	t.Helper()
	var options dial.Options
	if apiKey != "" {
		options.PerRPC = identity.Credentials(accessv1.NewAccessServiceClient(s.Conn(t, "access", "")), apiKey)
	}
	return s.ConnWith(t, service, options)
}

// ConnWith connects to a service with options of the test's own.
func (s *Suite) ConnWith(t testing.TB, service string, o dial.Options) *grpc.ClientConn {
	t.Helper()
	conn, err := s.connect(service, o)
	if err != nil {
		t.Fatalf("connect to %s: %v", service, err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// Need returns what the environment says under name. Without it the test fails, unless what
// it stands for was left out on purpose.
func Need(t testing.TB, name, what string) string {
	t.Helper()
	if value := os.Getenv(name); value != "" {
		return value
	}
	if slices.Contains(strings.Split(os.Getenv(WithoutEnv), ","), what) {
		t.Skipf("%s is left out on purpose", what)
	}
	t.Fatalf("%s is not set: run ./deploy/test, or leave it out with %s=%s", name, WithoutEnv, what)
	return ""
}
