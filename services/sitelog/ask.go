package sitelog

import (
	"context"
	"strconv"
	"strings"
	"time"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/platform/build"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/sitelog/progress"
)

const (
	jobsKept  = 10_000
	jobKept   = time.Minute
	plansKept = 32
	planKept  = time.Hour
)

// planKey names an issued frame, which never changes.
type planKey struct {
	logOf
	Revision int32
}

// plan is what a frame asks for, moves apart, and the frame's digest.
type plan struct {
	progress.Plan
	Digest string
}

// parseLog gives the caller and what would be the log of a job of the caller's company, whether or not there is such a job.
func parseLog(ctx context.Context, job string) (identity.Caller, logOf, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return identity.Caller{}, logOf{}, err
	}
	if job == "" {
		return identity.Caller{}, logOf{}, fault.Invalid("job", "is empty; give the id of a job")
	}
	if !plainJob(job) {
		return identity.Caller{}, logOf{}, fault.New(fault.NotFound, ReasonJobNotFound, "The company has no job with the id %.64q; list the jobs to see their ids.", job)
	}
	return caller, logOf{Company: caller.Company, Job: job}, nil
}

// logFor is parseLog for a job that exists. That is asked of the frames service, with the caller's own token, and a yes is
// remembered for a minute.
func (s *Service) logFor(ctx context.Context, job string) (identity.Caller, logOf, error) {
	caller, l, err := parseLog(ctx, job)
	if err != nil {
		return identity.Caller{}, logOf{}, err
	}
	if _, known := s.jobs.get(l, s.now()); known {
		return caller, l, nil
	}
	if _, err := s.getJob(ctx, l); err != nil {
		return identity.Caller{}, logOf{}, err
	}
	return caller, l, nil
}

// getJob asks for a job, and remembers that it is there.
func (s *Service) getJob(ctx context.Context, l logOf) (*framesv1.Job, error) {
	job, err := s.frames.GetJob(ctx, &framesv1.GetJobRequest{Job: l.Job})
	if err != nil {
		return nil, fault.FromStatus(err)
	}
	s.jobs.put(l, struct{}{}, s.now())
	return job, nil
}

func plainJob(id string) bool {
	return len(id) <= maxJobID && !strings.ContainsFunc(id, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' && r != '_'
	})
}

// planFor gives what the newest frame of a job and its raising order ask for. A job without a frame has no plan and was
// computed from nothing.
func (s *Service) planFor(ctx context.Context, l logOf) (progress.Plan, *sheetv1.ComputedFrom, error) {
	job, err := s.getJob(ctx, l)
	if err != nil {
		return progress.Plan{}, nil, err
	}
	latest := job.GetLatestRevision()
	if latest == 0 {
		return progress.Plan{}, nil, nil
	}
	p, err := s.framePlan(ctx, planKey{logOf: l, Revision: latest})
	if err != nil {
		return progress.Plan{}, nil, err
	}
	raising, err := s.sequencing.GetRaising(ctx, &sequencingv1.GetRaisingRequest{Job: l.Job, Revision: strconv.Itoa(int(latest))})
	switch f := fault.FromStatus(err); {
	case err == nil:
		p.Moves = movesOf(raising)
	case f.Kind == fault.Precondition:
		p.NoMoves = f.Message
	default:
		return progress.Plan{}, nil, f
	}
	from := &sheetv1.ComputedFrom{Job: l.Job, Revision: latest, Digest: p.Digest, Engine: build.Version, LatestRevision: latest}
	return p.Plan, from, nil
}

func (s *Service) framePlan(ctx context.Context, key planKey) (plan, error) {
	if p, known := s.plans.get(key, s.now()); known {
		return p, nil
	}
	revision, err := s.frames.GetFrame(ctx, &framesv1.GetFrameRequest{Job: key.Job, Revision: strconv.Itoa(int(key.Revision))})
	if err != nil {
		return plan{}, fault.FromStatus(err)
	}
	p := plan{Plan: planOf(key.Revision, revision.GetFrame()), Digest: revision.GetDigest()}
	s.plans.put(key, p, s.now())
	return p, nil
}
