package servicetest

import (
	"context"
	"strconv"
	"sync"

	"google.golang.org/grpc"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Frames is a frames service that holds jobs and revisions in memory. It answers GetJob and GetFrame as
// the real one does, companies kept apart, and nothing else.
type Frames struct {
	framesv1.UnimplementedFramesServiceServer

	mu    sync.Mutex
	jobs  map[jobKey]*framesv1.Job
	revs  map[jobKey][]*framesv1.FrameRevision
	calls int
}

type jobKey struct{ company, job string }

// NewFrames makes an empty one.
func NewFrames() *Frames {
	return &Frames{jobs: map[jobKey]*framesv1.Job{}, revs: map[jobKey][]*framesv1.FrameRevision{}}
}

// PutJob holds a job of a company.
func (s *Frames) PutJob(company string, job *framesv1.Job) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.jobs[jobKey{company, job.GetId()}] = job
}

// Issue holds a frame as the newest revision of a job.
func (s *Frames) Issue(company, job string, f *frame.Frame) {
	s.Add(company, job, &framesv1.FrameRevision{Digest: f.Digest(), Frame: framepb.FromDraft(f.Draft())})
}

// Add holds a revision as it is, numbered as the newest of its job.
func (s *Frames) Add(company, job string, rev *framesv1.FrameRevision) {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := jobKey{company, job}
	rev.Job, rev.Revision = job, int32(len(s.revs[key])+1)
	s.revs[key] = append(s.revs[key], rev)
}

// Calls is how often a frame was asked for.
func (s *Frames) Calls() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls
}

// GetJob gives a job of the caller's company.
func (s *Frames) GetJob(ctx context.Context, req *framesv1.GetJobRequest) (*framesv1.Job, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	job, ok := s.jobs[jobKey{caller.Company, req.GetJob()}]
	if !ok {
		return nil, fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no job %q.", req.GetJob())
	}
	return job, nil
}

// GetFrame gives a revision of a job of the caller's company.
func (s *Frames) GetFrame(ctx context.Context, req *framesv1.GetFrameRequest) (*framesv1.FrameRevision, error) {
	if _, err := s.GetJob(ctx, &framesv1.GetJobRequest{Job: req.GetJob()}); err != nil {
		return nil, err
	}
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	revs := s.revs[jobKey{caller.Company, req.GetJob()}]
	n, err := strconv.Atoi(req.GetRevision())
	if req.GetRevision() == "latest" {
		n, err = len(revs), nil
	}
	if err != nil || n < 1 || n > len(revs) {
		return nil, fault.New(fault.NotFound, "REVISION_NOT_FOUND", "There is no revision %q of job %q.", req.GetRevision(), req.GetJob())
	}
	got := revs[n-1]
	return &framesv1.FrameRevision{
		Job: got.GetJob(), Revision: got.GetRevision(), Digest: got.GetDigest(),
		Frame: got.GetFrame(), LatestRevision: int32(len(revs)),
	}, nil
}

// Name is the service's name.
func (s *Frames) Name() string { return "frames" }

// Register adds the RPCs to a server.
func (s *Frames) Register(r grpc.ServiceRegistrar) { framesv1.RegisterFramesServiceServer(r, s) }

// Policy lets everybody call everything.
func (s *Frames) Policy() policy.Table {
	table := policy.Table{}
	for _, m := range framesv1.FramesService_ServiceDesc.Methods {
		table["/"+framesv1.FramesService_ServiceDesc.ServiceName+"/"+m.MethodName] = policy.Rule{Roles: identity.Roles()}
	}
	return table
}

// Migrate has nothing to do.
func (s *Frames) Migrate(context.Context) error { return nil }

// Close has nothing to let go of.
func (s *Frames) Close() error { return nil }
