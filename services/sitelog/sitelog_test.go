package sitelog_test

import (
	"context"
	"crypto/ed25519"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/platform/suite"
	"github.com/pikepole/pikepole/services/sitelog"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

const (
	ours   = "alder-frames"
	theirs = "birch-joiners"
	shed   = "job-shed" // of ours, with a frame
	bare   = "job-bare" // of ours, without a frame
	locked = "job-lock" // of ours, with a frame that has no raising order
	barn   = "job-barn" // of theirs
)

// clock is a clock that tests set.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

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

// site is the service behind the full server chain, its neighbours behind theirs, and a client.
type site struct {
	testing.TB
	db         *store.DB
	clock      *clock
	signer     *identity.Signer
	neighbours *neighbours
	server     *server.Server
	service    *sitelog.Service
	conn       *grpc.ClientConn
	client     sitelogv1.SitelogServiceClient
}

// options are what a test may change.
type options struct {
	poll   time.Duration
	before func(op string) error
}

func openSite(t testing.TB, url string, o options) *site {
	t.Helper()
	s := &site{TB: t, clock: &clock{now: time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)}}
	public, private, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	s.signer = identity.NewSigner("k1", private)
	verifier := identity.NewVerifier(oneKey{identity.Key{ID: "k1", Public: public, Expire: s.clock.Now().AddDate(1, 0, 0)}}, s.clock.Now)
	s.neighbours = newNeighbours()
	_, next := serve(t, s.clock, verifier, s.neighbours)
	s.db = storetest.Open(t, store.Config{URL: url, Schema: "sitelog", Poll: o.poll, Before: o.before})
	s.service, err = sitelog.New(sitelog.Config{
		DB: s.db, Frames: framesv1.NewFramesServiceClient(next), Sequencing: sequencingv1.NewSequencingServiceClient(next),
		Now: s.clock.Now, Registry: prometheus.NewPedanticRegistry(),
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.service.Migrate(context.Background()); err != nil {
		t.Fatal(err)
	}
	s.server, s.conn = serve(t, s.clock, verifier, s.service)
	s.client = sitelogv1.NewSitelogServiceClient(s.conn)
	return s
}

type oneKey struct{ key identity.Key }

func (o oneKey) SigningKeys(context.Context) ([]identity.Key, error) {
	return []identity.Key{o.key}, nil
}

func serve(t testing.TB, c *clock, v *identity.Verifier, svc suite.Service) (*server.Server, *grpc.ClientConn) {
	t.Helper()
	srv, err := server.New(server.Config{Logger: zap.NewNop(), Verifier: v, Services: []suite.Service{svc}, Now: c.Now, RatePerSecond: 1e6, Burst: 1e6})
	if err != nil {
		t.Fatal(err)
	}
	pipe := dial.NewPipe()
	served := make(chan error, 1)
	go func() { served <- srv.Serve(pipe) }()
	conn, err := pipe.Conn(dial.Options{})
	if err != nil {
		t.Fatal(err)
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
	return srv, conn
}

// as gives a context that carries a token of a person of a company.
func (s *site) as(company string, roles ...identity.Role) context.Context {
	s.Helper()
	token, _, err := s.signer.Sign(identity.Caller{Company: company, Person: "person-1", Roles: roles}, s.clock.Now())
	if err != nil {
		s.Fatal(err)
	}
	return identity.WithToken(context.Background(), token)
}

func (s *site) field() context.Context { return s.as(ours, identity.Field) }

// note is an entry that is always good.
func (s *site) note(id string) *sitelogv1.Entry {
	return &sitelogv1.Entry{Id: id, Kind: sitelogv1.EntryKind_ENTRY_KIND_NOTE, OccurTime: timestamppb.New(s.clock.Now()), Note: "Deck swept."}
}

func (s *site) tryPost(ctx context.Context, job string, entries ...*sitelogv1.Entry) (*sitelogv1.PostEntriesResponse, error) {
	return s.client.PostEntries(ctx, &sitelogv1.PostEntriesRequest{Job: job, Entries: entries})
}

// post posts entries that must all be accepted.
func (s *site) post(job string, entries ...*sitelogv1.Entry) {
	s.Helper()
	res, err := s.tryPost(s.field(), job, entries...)
	if err != nil {
		s.Fatalf("post: %v", err)
	}
	for _, o := range res.GetOutcomes() {
		if o.GetKind() != sitelogv1.OutcomeKind_OUTCOME_KIND_ACCEPTED {
			s.Fatalf("entry %s: %v", o.GetId(), o)
		}
	}
}

// all gives a whole log, newest first.
func (s *site) all(ctx context.Context, job string) []*sitelogv1.Entry {
	s.Helper()
	var entries []*sitelogv1.Entry
	req := &sitelogv1.ListEntriesRequest{Job: job, PageSize: 500}
	for {
		res, err := s.client.ListEntries(ctx, req)
		if err != nil {
			s.Fatalf("list: %v", err)
		}
		entries = append(entries, res.GetEntries()...)
		if req.PageToken = res.GetNextPageToken(); req.PageToken == "" {
			return entries
		}
	}
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
