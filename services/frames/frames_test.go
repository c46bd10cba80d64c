package frames_test

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"slices"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/frames"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/server"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/platform/suite"
)

// keys is a key source with one key.
type keys []identity.Key

func (k keys) SigningKeys(context.Context) ([]identity.Key, error) { return k, nil }

// bench is the service behind the whole server chain, with a client in front of it.
type bench struct {
	t       *testing.T
	client  framesv1.FramesServiceClient
	service *frames.Service
	db      *store.DB
	signer  *identity.Signer
}

func newBench(t *testing.T, url string) *bench {
	t.Helper()
	return newBenchOn(t, storetest.Open(t, store.Config{URL: url, Schema: "frames"}))
}

// newBenchOn starts a service with nothing in memory on a store.
func newBenchOn(t *testing.T, db *store.DB) *bench {
	t.Helper()
	pool := compute.NewPool(2, 64, nil)
	service, err := frames.New(frames.Config{DB: db, Pool: pool, Logger: zap.NewNop()})
	if err != nil {
		t.Fatal(err)
	}
	if err := service.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	source := keys{{ID: "k1", Public: public, Start: time.Now().Add(-time.Hour), Expire: time.Now().Add(time.Hour)}}
	s, err := server.New(server.Config{
		Logger: zap.NewNop(), Verifier: identity.NewVerifier(source, nil), Services: []suite.Service{service},
		RatePerSecond: 1e6, Burst: 1e6,
	})
	if err != nil {
		t.Fatal(err)
	}
	pipe := dial.NewPipe()
	served := make(chan error, 1)
	go func() { served <- s.Serve(pipe) }()
	conn, err := pipe.Conn(dial.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Errorf("close the connection: %v", err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		if err := s.Stop(ctx); err != nil {
			t.Errorf("stop the server: %v", err)
		}
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return &bench{t: t, client: framesv1.NewFramesServiceClient(conn), service: service, db: db, signer: identity.NewSigner("k1", private)}
}

// as gives a context whose calls come from somebody of a company.
func (b *bench) as(company string, roles ...identity.Role) context.Context {
	b.t.Helper()
	token, _, err := b.signer.Sign(identity.Caller{Company: company, Person: "p-" + company, Roles: roles}, time.Now())
	if err != nil {
		b.t.Fatal(err)
	}
	return identity.WithToken(b.t.Context(), token)
}

func (b *bench) lead() context.Context { return b.as("alder", identity.Lead) }

// job makes a job.
func (b *bench) job(title string) *framesv1.Job {
	b.t.Helper()
	j, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: &framesv1.Job{Title: title}})
	if err != nil {
		b.t.Fatalf("make job %s: %v", title, err)
	}
	return j
}

// shed is a small frame as a message.
func shed(bents int) *framev1.Frame { return framepb.FromDraft(frametest.Shed(bents)) }

// issue issues a shed.
func (b *bench) issue(job string, parent int32, bents int) *framesv1.FrameRevision {
	b.t.Helper()
	r, err := b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{Job: job, ParentRevision: parent, Frame: shed(bents)})
	if err != nil {
		b.t.Fatalf("issue a frame for %s: %v", job, err)
	}
	return r
}

// wantFault checks the reason of a refusal and, when a field is named, that it is among the wrong ones.
func wantFault(t *testing.T, err error, reason, field string) *fault.Error {
	t.Helper()
	if err == nil {
		t.Errorf("was accepted, want a refusal with %s", reason)
		return &fault.Error{}
	}
	f := fault.FromStatus(err)
	if f.Reason != reason {
		t.Errorf("refused with %s (%s), want %s", f.Reason, f.Message, reason)
	}
	named := slices.ContainsFunc(f.Fields, func(x fault.Field) bool { return x.Path == field })
	if field != "" && !named {
		t.Errorf("refused for %v, want the field %s", f.Fields, field)
	}
	return f
}

// calls is one call of every RPC on a job with one revision.
func calls(c framesv1.FramesServiceClient, job *framesv1.Job) map[string]func(context.Context) error {
	id := job.Id
	return map[string]func(context.Context) error{
		framesv1.FramesService_CreateJob_FullMethodName: func(ctx context.Context) error {
			_, err := c.CreateJob(ctx, &framesv1.CreateJobRequest{Job: &framesv1.Job{Title: "New"}})
			return err
		},
		framesv1.FramesService_GetJob_FullMethodName: func(ctx context.Context) error {
			_, err := c.GetJob(ctx, &framesv1.GetJobRequest{Job: id})
			return err
		},
		framesv1.FramesService_ListJobs_FullMethodName: func(ctx context.Context) error {
			_, err := c.ListJobs(ctx, &framesv1.ListJobsRequest{})
			return err
		},
		framesv1.FramesService_UpdateJob_FullMethodName: func(ctx context.Context) error {
			_, err := c.UpdateJob(ctx, &framesv1.UpdateJobRequest{Job: &framesv1.Job{Id: id, Title: "Other"}})
			return err
		},
		framesv1.FramesService_RoughOutFrame_FullMethodName: func(ctx context.Context) error {
			_, err := c.RoughOutFrame(ctx, &framesv1.RoughOutFrameRequest{Rough: roughFrame()})
			return err
		},
		framesv1.FramesService_CheckFrame_FullMethodName: func(ctx context.Context) error {
			_, err := c.CheckFrame(ctx, &framesv1.CheckFrameRequest{Frame: shed(2)})
			return err
		},
		framesv1.FramesService_IssueFrame_FullMethodName: func(ctx context.Context) error {
			j, err := c.GetJob(ctx, &framesv1.GetJobRequest{Job: id})
			if err != nil {
				j = job
			}
			_, err = c.IssueFrame(ctx, &framesv1.IssueFrameRequest{Job: id, ParentRevision: j.LatestRevision, Frame: shed(2)})
			return err
		},
		framesv1.FramesService_ListFrames_FullMethodName: func(ctx context.Context) error {
			_, err := c.ListFrames(ctx, &framesv1.ListFramesRequest{Job: id})
			return err
		},
		framesv1.FramesService_GetFrame_FullMethodName: func(ctx context.Context) error {
			_, err := c.GetFrame(ctx, &framesv1.GetFrameRequest{Job: id, Revision: "1"})
			return err
		},
		framesv1.FramesService_DrawFrame_FullMethodName: func(ctx context.Context) error {
			_, err := c.DrawFrame(ctx, &framesv1.DrawFrameRequest{Job: id, Revision: "1", View: "plan"})
			return err
		},
		framesv1.FramesService_GetLayout_FullMethodName: func(ctx context.Context) error {
			_, err := c.GetLayout(ctx, &framesv1.GetLayoutRequest{Job: id, Revision: "1"})
			return err
		},
		framesv1.FramesService_RenderLayout_FullMethodName: func(ctx context.Context) error {
			_, err := c.RenderLayout(ctx, &framesv1.RenderLayoutRequest{Job: id, Revision: "1", Format: "csv"})
			return err
		},
	}
}

func roughFrame() *framesv1.RoughFrame {
	return &framesv1.RoughFrame{
		Title: "Cabin", BentCount: 3, BaySpacingsMm: []float64{3048}, SpanMm: 4876.8, PostHeightMm: 2743.2, RoofPitchDeg: 45,
		PurlinsPerSlope: 2, BraceLegMm: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 30,
	}
}

// Who may call what: every RPC with every role, without credentials, and from another company.
func TestAccess(t *testing.T) {
	t.Parallel()
	keep := []identity.Role{identity.Estimator, identity.Lead, identity.Admin}
	limited := map[string][]identity.Role{
		framesv1.FramesService_CreateJob_FullMethodName:  keep,
		framesv1.FramesService_UpdateJob_FullMethodName:  keep,
		framesv1.FramesService_IssueFrame_FullMethodName: append(slices.Clone(keep), identity.Shop),
	}
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Barn")
		b.issue(job.Id, 0, 2)
		all := calls(b.client, job)
		if len(all) != len(framesv1.FramesService_ServiceDesc.Methods) || len(all) != len(b.service.Policy()) {
			t.Fatalf("%d calls for %d methods with %d rows of policy", len(all), len(framesv1.FramesService_ServiceDesc.Methods), len(b.service.Policy()))
		}
		jobless := map[string]bool{
			framesv1.FramesService_CreateJob_FullMethodName: true, framesv1.FramesService_ListJobs_FullMethodName: true,
			framesv1.FramesService_RoughOutFrame_FullMethodName: true, framesv1.FramesService_CheckFrame_FullMethodName: true,
		}
		for method, call := range all {
			wantFault(t, call(t.Context()), fault.ReasonNoCredentials, "")
			wantFault(t, call(identity.WithToken(t.Context(), "v1.k1.e30.AAAA")), fault.ReasonToken, "")
			for _, role := range identity.Roles() {
				err := call(b.as("alder", role))
				if roles, ok := limited[method]; ok && !slices.Contains(roles, role) {
					wantFault(t, err, fault.ReasonRole, "")
				} else if err != nil {
					t.Errorf("%s as %s: %v", method, role, err)
				}
			}
			if err := call(b.as("birch", identity.Admin)); jobless[method] != (err == nil) {
				t.Errorf("%s from another company: %v", method, err)
			} else if !jobless[method] {
				wantFault(t, err, frames.ReasonJob, "")
			}
		}
		list, err := b.client.ListJobs(b.as("cedar", identity.Viewer), &framesv1.ListJobsRequest{})
		if err != nil || len(list.Jobs) != 0 {
			t.Errorf("a third company sees %d jobs, %v", len(list.GetJobs()), err)
		}
	})
}

func clone[M proto.Message](m M) M { return proto.CloneOf(m) }

func TestNew(t *testing.T) {
	t.Parallel()
	if _, err := frames.New(frames.Config{}); err == nil {
		t.Error("a service without a store was made")
	}
	db := storetest.Open(t, store.Config{URL: storetest.SQLite(t), Schema: "frames"})
	registry := prometheus.NewRegistry()
	s, err := frames.New(frames.Config{DB: db, Pool: compute.NewPool(1, 1, nil), Registry: registry})
	if err != nil || s.Name() != "frames" {
		t.Fatalf("made %v, %v", s, err)
	}
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("metrics: %v, %v", problems, err)
	}
	if err := s.Migrate(t.Context()); err != nil {
		t.Error(err)
	}
	if err := s.Migrate(t.Context()); err != nil {
		t.Errorf("the second time: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := frames.New(frames.Config{DB: db, Pool: compute.NewPool(1, 1, nil), Registry: registry}); err == nil {
		t.Error("two services count into the same metrics")
	}
}
