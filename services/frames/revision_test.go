package frames_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/frames"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestRevisions(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Barn")
		_, err := b.client.GetFrame(b.lead(), &framesv1.GetFrameRequest{Job: job.Id, Revision: "latest"})
		wantFault(t, err, frames.ReasonRevision, "")
		req := &framesv1.IssueFrameRequest{Job: job.Id, Frame: shed(2), Note: "first", RequestId: "one"}
		first, err := b.client.IssueFrame(b.as("alder", identity.Shop), req)
		if err != nil {
			t.Fatal(err)
		}
		if first.Revision != 1 || first.LatestRevision != 1 || len(first.Digest) != 64 || first.Author != "p-alder" || first.Note != "first" {
			t.Errorf("first revision is %v", first)
		}
		if diff := cmp.Diff(shed(2), first.Frame, protocmp.Transform()); diff != "" {
			t.Errorf("frame issued (-want +got):\n%s", diff)
		}
		second := b.issue(job.Id, 1, 3)
		again, err := b.client.IssueFrame(b.as("alder", identity.Shop), clone(req))
		if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" || err != nil {
			t.Errorf("a repeat, %v (-first +again):\n%s", err, diff)
		}
		for revision, want := range map[string]string{"1": first.Digest, "2": second.Digest, "latest": second.Digest} {
			got, err := b.client.GetFrame(b.lead(), &framesv1.GetFrameRequest{Job: job.Id, Revision: revision})
			if err != nil || got.Digest != want || got.LatestRevision != 2 || len(got.Frame.GetTimbers()) == 0 {
				t.Errorf("revision %s has digest %s, newest %d, %v; want %s, 2", revision, got.GetDigest(), got.GetLatestRevision(), err, want)
			}
		}
		read, err := b.client.GetJob(b.lead(), &framesv1.GetJobRequest{Job: job.Id})
		if err != nil || read.LatestRevision != 2 || read.Etag == job.Etag {
			t.Errorf("the job is %v, %v; want newest revision 2 and another etag", read, err)
		}
		if diff := cmp.Diff([]string{"job.created", "frame.issued", "frame.issued"}, b.events("alder")); diff != "" {
			t.Errorf("feed (-want +got):\n%s", diff)
		}
	})
}

// Of two that are issued at once on the same parent exactly one wins, and the other is told the newest.
func TestTwoAtOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Barn")
		for parent := range int32(4) {
			errs := make([]error, 6)
			var group sync.WaitGroup
			for i := range errs {
				group.Go(func() {
					_, errs[i] = b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{
						Job: job.Id, ParentRevision: parent, Frame: shed(2 + i), RequestId: fmt.Sprintf("%d-%d", parent, i),
					})
				})
			}
			group.Wait()
			won := 0
			for _, err := range errs {
				if err == nil {
					won++
					continue
				}
				f := wantFault(t, err, frames.ReasonParent, "")
				if newest := fmt.Sprint(parent + 1); f.Metadata["newest_revision"] != newest || !strings.Contains(f.Message, newest) {
					t.Errorf("refused with %q, which does not say that %s is the newest", f.Message, newest)
				}
			}
			if won != 1 {
				t.Fatalf("%d of %d won on parent %d, want 1", won, len(errs), parent)
			}
		}
		list, err := b.client.ListFrames(b.lead(), &framesv1.ListFramesRequest{Job: job.Id})
		if err != nil || len(list.Frames) != 4 {
			t.Errorf("%d revisions, %v; want 4", len(list.GetFrames()), err)
		}
	})
}

func TestListFrames(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job, other := b.job("Barn"), b.job("Shed")
		for parent := range int32(5) {
			b.issue(job.Id, parent, 2)
		}
		var got []int32
		req := &framesv1.ListFramesRequest{Job: job.Id, PageSize: 2}
		for {
			page, err := b.client.ListFrames(b.lead(), req)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range page.Frames {
				got = append(got, f.Revision)
				if f.Frame != nil || f.LatestRevision != 5 {
					t.Errorf("listed revision %d has a frame or newest %d", f.Revision, f.LatestRevision)
				}
			}
			if page.NextPageToken == "" {
				break
			}
			req.PageToken = page.NextPageToken
		}
		if diff := cmp.Diff([]int32{5, 4, 3, 2, 1}, got); diff != "" {
			t.Errorf("revisions over three pages (-want +got):\n%s", diff)
		}
		for name, r := range map[string]*framesv1.ListFramesRequest{
			"another job": {Job: other.Id, PageToken: req.PageToken},
			"garbage":     {Job: job.Id, PageToken: "garbage"},
			"altered":     {Job: job.Id, PageToken: "A" + req.PageToken[1:]},
		} {
			if r.PageToken == req.PageToken && name == "altered" {
				r.PageToken = "B" + req.PageToken[1:]
			}
			_, err := b.client.ListFrames(b.lead(), r)
			wantFault(t, err, fault.ReasonPageToken, "page_token")
		}
		_, err := b.client.ListJobs(b.lead(), &framesv1.ListJobsRequest{PageToken: req.PageToken})
		wantFault(t, err, fault.ReasonPageToken, "page_token")
		_, err = b.client.ListFrames(b.lead(), &framesv1.ListFramesRequest{Job: job.Id, PageSize: -5})
		wantFault(t, err, fault.ReasonInvalid, "page_size")
	})
}

func TestUnknownRevisions(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Barn")
	b.issue(job.Id, 0, 2)
	for revision, reason := range map[string]string{
		"2": frames.ReasonRevision, "2147483647": frames.ReasonRevision,
		"": frames.ReasonRevisionForm, "0": frames.ReasonRevisionForm, "-1": frames.ReasonRevisionForm, "01": frames.ReasonRevisionForm,
		"+1": frames.ReasonRevisionForm, "newest": frames.ReasonRevisionForm, "Latest": frames.ReasonRevisionForm,
		"1.0": frames.ReasonRevisionForm, "99999999999999999999": frames.ReasonRevisionForm, "1; DROP TABLE job": frames.ReasonRevisionForm,
	} {
		field := ""
		if reason == frames.ReasonRevisionForm {
			field = "revision"
		}
		_, err := b.client.GetFrame(b.lead(), &framesv1.GetFrameRequest{Job: job.Id, Revision: revision})
		wantFault(t, err, reason, field)
		_, err = b.client.DrawFrame(b.lead(), &framesv1.DrawFrameRequest{Job: job.Id, Revision: revision, View: "plan"})
		wantFault(t, err, reason, field)
	}
}

func TestBadFrames(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Barn")
	tests := map[string]struct {
		field  string
		change func(*framev1.Frame)
	}{
		"NaN":               {"frame.timbers[0].width_mm", func(f *framev1.Frame) { f.Timbers[0].WidthMm = math.NaN() }},
		"infinity":          {"frame.timbers[1].start.x_mm", func(f *framev1.Frame) { f.Timbers[1].Start.XMm = math.Inf(1) }},
		"negative size":     {"frame.timbers[0].depth_mm", func(f *framev1.Frame) { f.Timbers[0].DepthMm = -200 }},
		"huge size":         {"frame.timbers[0].depth_mm", func(f *framev1.Frame) { f.Timbers[0].DepthMm = 1e300 }},
		"unknown receiver":  {"frame.joints[2].receiving", func(f *framev1.Frame) { f.Joints[2].Receiving = "nobody" }},
		"unknown assembly":  {"frame.timbers[0].assembly", func(f *framev1.Frame) { f.Timbers[0].Assembly = "nobody" }},
		"duplicate mark":    {"frame.timbers[1].mark", func(f *framev1.Frame) { f.Timbers[1].Mark = f.Timbers[0].Mark }},
		"unknown species":   {"frame.timbers[0].species", func(f *framev1.Frame) { f.Timbers[0].Species = "unobtainium" }},
		"unknown role":      {"frame.timbers[0].role", func(f *framev1.Frame) { f.Timbers[0].Role = 99 }},
		"too many sticks":   {"frame.timbers", func(f *framev1.Frame) { f.Timbers = slices.Repeat(f.Timbers, 50_000/len(f.Timbers)+1) }},
		"nothing connected": {"", func(f *framev1.Frame) { f.Joints = nil }},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := shed(2)
			test.change(f)
			_, err := b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{Job: job.Id, Frame: f})
			wantFault(t, err, frames.ReasonFaults, test.field)
			checked, err := b.client.CheckFrame(b.lead(), &framesv1.CheckFrameRequest{Frame: f})
			if err != nil || len(checked.Faults) == 0 || checked.Digest != "" {
				t.Errorf("check gave %v, %v; want faults and no digest", checked, err)
			}
		})
	}
	t.Cleanup(func() {
		list, err := b.client.ListFrames(identity.WithToken(context.Background(), identity.Token(b.as("alder", identity.Lead))), &framesv1.ListFramesRequest{Job: job.Id})
		if err != nil || len(list.Frames) != 0 {
			t.Errorf("refused frames left %d revisions, %v", len(list.GetFrames()), err)
		}
	})
}

// Every fault is named, up to a bound; then one says how many more.
func TestManyFaults(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Barn")
	f := shed(120)
	for _, timber := range f.Timbers {
		timber.WidthMm = -1
	}
	_, err := b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{Job: job.Id, Frame: f})
	got := wantFault(t, err, frames.ReasonFaults, "frame.timbers[199].width_mm")
	if n := len(got.Fields); n != 201 || !strings.Contains(got.Fields[n-1].Message, "more") {
		t.Errorf("%d fields, want 200 and one that says how many more", n)
	}
}

func TestBadIssues(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Barn")
	for field, req := range map[string]*framesv1.IssueFrameRequest{
		"frame":           {Job: job.Id},
		"parent_revision": {Job: job.Id, Frame: shed(2), ParentRevision: -1},
		"note":            {Job: job.Id, Frame: shed(2), Note: strings.Repeat("x", 1001)},
		"request_id":      {Job: job.Id, Frame: shed(2), RequestId: strings.Repeat("x", 1000)},
	} {
		_, err := b.client.IssueFrame(b.lead(), req)
		wantFault(t, err, fault.ReasonInvalid, field)
	}
	_, err := b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{Job: job.Id, Frame: shed(2), ParentRevision: 7})
	wantFault(t, err, frames.ReasonParent, "")
	_, err = b.client.IssueFrame(b.lead(), &framesv1.IssueFrameRequest{Job: "job-none", Frame: shed(2)})
	wantFault(t, err, frames.ReasonJob, "")
	_, err = b.client.CheckFrame(b.lead(), &framesv1.CheckFrameRequest{})
	wantFault(t, err, fault.ReasonInvalid, "frame")
	_, err = b.client.RoughOutFrame(b.lead(), &framesv1.RoughOutFrameRequest{})
	wantFault(t, err, fault.ReasonInvalid, "rough")
}

// A stored frame that is no longer the one that was issued is never given out.
func TestDamagedFrame(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Barn")
		b.issue(job.Id, 0, 2)
		b.issue(job.Id, 1, 3)
		err := b.db.Write(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			_, err := tx.Exec(ctx, "UPDATE frame SET body = (SELECT f.body FROM frame f WHERE f.revision = 2) WHERE revision = 1")
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		// Another process with nothing in memory.
		fresh := newBenchOn(t, b.db)
		_, err = fresh.client.GetFrame(fresh.lead(), &framesv1.GetFrameRequest{Job: job.Id, Revision: "1"})
		wantFault(t, err, fault.ReasonInternal, "")
		got, err := fresh.client.GetFrame(fresh.lead(), &framesv1.GetFrameRequest{Job: job.Id, Revision: "2"})
		if diff := cmp.Diff(shed(3), got.GetFrame(), protocmp.Transform()); diff != "" || err != nil {
			t.Errorf("the sound revision, %v (-want +got):\n%s", err, diff)
		}
	})
}

func TestRoughOutFrame(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	made, err := b.client.RoughOutFrame(b.as("alder", identity.Viewer), &framesv1.RoughOutFrameRequest{Rough: roughFrame()})
	if err != nil {
		t.Fatal(err)
	}
	checked, err := b.client.CheckFrame(b.lead(), &framesv1.CheckFrameRequest{Frame: made})
	if err != nil || len(checked.Faults) != 0 || len(checked.Digest) != 64 {
		t.Errorf("the rough frame has faults %v, %v", checked.GetFaults(), err)
	}
	r := roughFrame()
	r.SpanMm, r.BentCount = math.NaN(), 100_000
	_, err = b.client.RoughOutFrame(b.lead(), &framesv1.RoughOutFrameRequest{Rough: r})
	wantFault(t, err, frames.ReasonRough, "rough.span_mm")
	wantFault(t, err, frames.ReasonRough, "rough.bent_count")
}

// A frame is read back in the order in which it was issued, whatever other company issued the same frame in
// another order: its digest is the same.
func TestOrderIsOfTheRevision(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	birch := b.as("birch", identity.Lead)
	marks := func(f *framev1.Frame) (out []string) {
		for _, timber := range f.Timbers {
			out = append(out, timber.Mark)
		}
		return out
	}
	first := b.issue(b.job("Shed").Id, 0, 2)
	other, err := b.client.CreateJob(birch, &framesv1.CreateJobRequest{Job: &framesv1.Job{Title: "Shed"}})
	if err != nil {
		t.Fatal(err)
	}
	turned := shed(2)
	slices.Reverse(turned.Timbers)
	second, err := b.client.IssueFrame(birch, &framesv1.IssueFrameRequest{Job: other.Id, Frame: turned})
	if err != nil {
		t.Fatal(err)
	}
	if first.Digest != second.Digest {
		t.Fatal("the two are not the same frame")
	}
	for range 2 { // as it was just issued, and from the store
		got, err := b.client.GetFrame(birch, &framesv1.GetFrameRequest{Job: other.Id, Revision: "1"})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(marks(turned), marks(got.Frame)); diff != "" {
			t.Errorf("marks in their order (-want +got):\n%s", diff)
		}
		b = newBenchOn(t, b.db)
		birch = b.as("birch", identity.Lead)
	}
}
