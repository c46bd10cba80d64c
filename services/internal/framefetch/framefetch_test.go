package framefetch_test

import (
	"context"
	"slices"
	"sync"
	"testing"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/servicetest"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

func shed(t *testing.T, bents int) *frame.Frame {
	t.Helper()
	f, err := frame.Parse(frametest.Shed(bents))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// house is a frames service with one job of company-a, and a source on it.
func house(t *testing.T) (*servicetest.Frames, *framefetch.Source, context.Context) {
	t.Helper()
	kit := servicetest.New(t)
	frames := servicetest.NewFrames()
	frames.PutJob("company-a", &framesv1.Job{Id: "job-1", Title: "House"})
	return frames, framefetch.New(framesv1.NewFramesServiceClient(kit.Serve(frames))), kit.As("company-a", identity.Viewer)
}

func TestLoadGivesFrameAndWhereItComesFrom(t *testing.T) {
	t.Parallel()
	frames, source, ctx := house(t)
	first, second := shed(t, 2), shed(t, 3)
	frames.Issue("company-a", "job-1", first)
	frames.Issue("company-a", "job-1", second)
	old, err := source.Load(ctx, "job-1", "1")
	if err != nil {
		t.Fatal(err)
	}
	if old.Frame.Digest() != first.Digest() || old.From.GetRevision() != 1 || old.From.GetLatestRevision() != 2 ||
		old.From.GetJob() != "job-1" || old.From.GetDigest() != first.Digest() || old.From.GetEngine() == "" {
		t.Errorf("revision 1 came as %v", old.From)
	}
	newest, err := source.Load(ctx, "job-1", "latest")
	if err != nil || newest.Frame.Digest() != second.Digest() || newest.From.GetRevision() != 2 {
		t.Errorf("latest came as %v, %v", newest.From, err)
	}
}

func TestSameFrameIsParsedOnce(t *testing.T) {
	t.Parallel()
	frames, source, ctx := house(t)
	frames.Issue("company-a", "job-1", shed(t, 4))
	seen := make([]*frame.Frame, 16)
	var wait sync.WaitGroup
	for i := range seen {
		wait.Go(func() {
			loaded, err := source.Load(ctx, "job-1", "latest")
			if err != nil {
				t.Error(err)
				return
			}
			seen[i] = loaded.Frame
		})
	}
	wait.Wait()
	for _, f := range seen {
		if f != seen[0] {
			t.Fatal("the same frame was parsed again")
		}
	}
	if got := frames.Calls(); got != len(seen) {
		t.Errorf("the frames service was asked %d times, want every time: it knows who may see what", got)
	}
}

// Two jobs may have frames of one digest that list their pieces in other orders; each gets its own.
func TestOrderIsOfTheJob(t *testing.T) {
	t.Parallel()
	frames, source, ctx := house(t)
	frames.PutJob("company-a", &framesv1.Job{Id: "job-2", Title: "Its twin"})
	draft := frametest.Shed(2)
	frames.Issue("company-a", "job-1", shed(t, 2))
	slices.Reverse(draft.Timbers)
	turned, err := frame.Parse(draft)
	if err != nil {
		t.Fatal(err)
	}
	frames.Issue("company-a", "job-2", turned)
	for job, first := range map[string]string{"job-1": frametest.Shed(2).Timbers[0].Mark, "job-2": draft.Timbers[0].Mark} {
		got, err := source.Load(ctx, job, "1")
		if err != nil || got.Frame.Timbers()[0].Mark != first {
			t.Errorf("%s does not begin with %s (error %v)", job, first, err)
		}
	}
}

func TestErrorsPassThrough(t *testing.T) {
	t.Parallel()
	frames, source, ctx := house(t)
	frames.Issue("company-a", "job-1", shed(t, 2))
	for name, tt := range map[string]struct{ job, revision, reason string }{
		"no such job":      {"job-9", "latest", "JOB_NOT_FOUND"},
		"no such revision": {"job-1", "7", "REVISION_NOT_FOUND"},
	} {
		_, err := source.Load(ctx, tt.job, tt.revision)
		if !fault.Is(err, fault.NotFound) || !fault.HasReason(err, tt.reason) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := source.Job(ctx, "job-9"); !fault.HasReason(err, "JOB_NOT_FOUND") {
		t.Errorf("job: %v", err)
	}
	if job, err := source.Job(ctx, "job-1"); err != nil || job.GetTitle() != "House" {
		t.Errorf("job: %v, %v", job, err)
	}
}

func TestWhatIsNotTheFrameIsRefused(t *testing.T) {
	t.Parallel()
	frames, source, ctx := house(t)
	good := framepb.FromDraft(frametest.Shed(2))
	frames.Add("company-a", "job-1", &framesv1.FrameRevision{Digest: "00ff", Frame: good})
	frames.Add("company-a", "job-1", &framesv1.FrameRevision{Digest: "00fe"})
	for _, revision := range []string{"1", "2", "2"} {
		if _, err := source.Load(ctx, "job-1", revision); !fault.Is(err, fault.Internal) {
			t.Errorf("revision %s: %v", revision, err)
		}
	}
}
