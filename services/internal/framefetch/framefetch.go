// Package framefetch brings a job's frame to the services that compute from it: asked of the frames
// service as the caller, parsed once, and kept by revision.
package framefetch

import (
	"context"
	"fmt"

	"golang.org/x/sync/singleflight"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/platform/build"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/lru"
)

// MaxTimbers bounds what is kept: the timbers of all kept frames together. One frame is always kept.
const MaxTimbers = 100_000

// Source gives parsed frames. It is safe for concurrent use.
type Source struct {
	frames framesv1.FramesServiceClient
	parse  singleflight.Group
	kept   *lru.Cache[string, *frame.Frame]
}

// Loaded is a frame with what an answer computed from it has to say.
type Loaded struct {
	// Frame is the parsed frame; shared, so it must not be changed.
	Frame *frame.Frame
	// Revision is the revision as the frames service gave it.
	Revision *framesv1.FrameRevision
	// From goes into the answer.
	From *sheetv1.ComputedFrom
}

// New makes a source on the frames service. The client has to forward the caller's token.
func New(frames framesv1.FramesServiceClient) *Source {
	return bounded(frames, MaxTimbers)
}

// bounded makes a source that keeps frames of so many timbers together.
func bounded(frames framesv1.FramesServiceClient, timbers int) *Source {
	weigh := func(f *frame.Frame) int { return len(f.Timbers()) }
	return &Source{frames: frames, kept: lru.NewWeighted[string](timbers, weigh)}
}

// Job gives a job of the caller's company. Errors of the frames service pass through.
func (s *Source) Job(ctx context.Context, job string) (*framesv1.Job, error) {
	got, err := s.frames.GetJob(ctx, &framesv1.GetJobRequest{Job: job})
	if err != nil {
		return nil, fault.FromStatus(err)
	}
	return got, nil
}

// Load gives a revision of a job's frame, a number or "latest". Errors of the frames service pass
// through; a frame that came but cannot be parsed, or is not the one that its digest names, is an
// internal fault.
func (s *Source) Load(ctx context.Context, job, revision string) (Loaded, error) {
	got, err := s.frames.GetFrame(ctx, &framesv1.GetFrameRequest{Job: job, Revision: revision})
	if err != nil {
		return Loaded{}, fault.FromStatus(err)
	}
	f, err := s.parsed(got)
	if err != nil {
		return Loaded{}, err
	}
	return Loaded{
		Frame:    f,
		Revision: got,
		From: &sheetv1.ComputedFrom{
			Job: got.GetJob(), Revision: got.GetRevision(), Digest: got.GetDigest(),
			Engine: build.Version, LatestRevision: got.GetLatestRevision(),
		},
	}, nil
}

// parsed gives the kept frame of the revision, or parses it, once for all who wait. The digest alone is no name
// for it: frames of two jobs may list the same pieces in other orders.
func (s *Source) parsed(rev *framesv1.FrameRevision) (*frame.Frame, error) {
	name := fmt.Sprintf("%s/%d/%s", rev.GetJob(), rev.GetRevision(), rev.GetDigest())
	if f, ok := s.kept.Get(name); ok {
		return f, nil
	}
	got, err, _ := s.parse.Do(name, func() (any, error) {
		f, err := frame.Parse(framepb.ToDraft(rev.GetFrame()))
		if err != nil {
			return nil, broken(rev).Wrap(err)
		}
		if f.Digest() != rev.GetDigest() {
			return nil, broken(rev)
		}
		s.kept.Add(name, f)
		return f, nil
	})
	if err != nil {
		return nil, err
	}
	return got.(*frame.Frame), nil
}

func broken(rev *framesv1.FrameRevision) *fault.Error {
	return fault.New(fault.Internal, fault.ReasonInternal,
		"Revision %d of job %s came from the frames service but is not the frame that its digest names.", rev.GetRevision(), rev.GetJob())
}
