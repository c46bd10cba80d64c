package frames_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/frames"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestDrawings(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Barn & byre")
		first := b.issue(job.Id, 0, 2)
		draw := func(revision, view string) (*sheetv1.Document, error) {
			return b.client.DrawFrame(b.as("alder", identity.Viewer), &framesv1.DrawFrameRequest{Job: job.Id, Revision: revision, View: view})
		}
		for _, view := range []string{"plan", "axon", "bent:1", "bent:2", "wall:A", "wall:B"} {
			doc, err := draw("latest", view)
			if err != nil {
				t.Fatalf("%s: %v", view, err)
			}
			wantName := job.Id + "-rev1-" + strings.ReplaceAll(view, ":", "-") + ".svg"
			if doc.MediaType != "image/svg+xml" || doc.Filename != wantName {
				t.Errorf("%s is %s, %s; want %s", view, doc.MediaType, doc.Filename, wantName)
			}
			text := string(doc.Content)
			for _, want := range []string{"Barn &amp; byre · Shed &amp; &lt;store&gt; · ", "revision 1 · " + first.Digest[:8] + " · engine 1", `<a href="#P1A">`} {
				if !strings.Contains(text, want) && view != "bent:2" && view != "wall:B" {
					t.Errorf("%s lacks %q", view, want)
				}
			}
			if again, err := draw("1", view); err != nil || string(again.Content) != text {
				t.Errorf("%s drawn again differs, %v", view, err)
			}
		}
		b.issue(job.Id, 1, 3)
		old, err := draw("1", "plan")
		if err != nil || !strings.Contains(string(old.Content), "revision 2 has been issued since") {
			t.Errorf("the drawing of an old revision does not say that there is a newer one, %v", err)
		}
		for _, view := range []string{"", "roof", "bent", "bent:", "bent:9", "wall:1", "plan:1", "axon:x", "BENT:1"} {
			_, err := draw("1", view)
			f := wantFault(t, err, frames.ReasonView, "view")
			if want := "plan, axon, bent:1, bent:2, wall:A, wall:B"; !strings.Contains(f.Message, want) {
				t.Errorf("view %q is refused with %q, which does not list %s", view, f.Message, want)
			}
		}
	})
}

// The frame has more views than a sentence should list.
func TestManyViews(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Long shed")
	b.issue(job.Id, 0, 100)
	_, err := b.client.DrawFrame(b.lead(), &framesv1.DrawFrameRequest{Job: job.Id, Revision: "1", View: "bent:X"})
	f := wantFault(t, err, frames.ReasonView, "view")
	if !strings.Contains(f.Message, "bent:37 and 65 more up to wall:B") {
		t.Errorf("refused with %q", f.Message)
	}
}

// Bents at 0 and 12 ft, walls 24 ft apart over all: each diagonal is √(12² + 24²) = 26.8328 ft.
func TestLayout(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := b.job("Shed")
	rev := b.issue(job.Id, 0, 2)
	got, err := b.client.GetLayout(b.as("alder", identity.Field), &framesv1.GetLayoutRequest{Job: job.Id, Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	from := &sheetv1.ComputedFrom{Job: job.Id, Revision: 1, Digest: rev.Digest, Engine: "1", LatestRevision: 1}
	if diff := cmp.Diff(from, got.ComputedFrom, protocmp.Transform()); diff != "" {
		t.Errorf("computed from (-want +got):\n%s", diff)
	}
	if len(got.Posts) != 4 || len(got.Diagonals) != 2 || len(got.Basis) == 0 {
		t.Fatalf("%d posts, %d diagonals, %d bases", len(got.Posts), len(got.Diagonals), len(got.Basis))
	}
	p := got.Posts[3]
	if p.Mark != "P2B" || p.BentLine != "2" || p.WallLine != "B" || p.RunningXMm != 3657.6 || math.Abs(p.RunningYMm-7112) > 1e-9 || len(p.Corners) != 4 {
		t.Errorf("last post is %v", p)
	}
	d := got.Diagonals[0]
	if d.From != "P1A" || d.To != "P2B" || d.Partner != "P1B P2A" || math.Abs(d.LengthMm/304.8-26.8328) > 5e-5 {
		t.Errorf("first diagonal is %v", d)
	}
	for format, want := range map[string][2]string{
		"csv": {"text/csv; charset=utf-8", "post,P2B,2,B,3657.60,7112.00,"},
		"svg": {"image/svg+xml", "26&#39;-10&#34;"},
	} {
		doc, err := b.client.RenderLayout(b.lead(), &framesv1.RenderLayoutRequest{Job: job.Id, Revision: "1", Format: format})
		if err != nil || doc.MediaType != want[0] || !strings.Contains(string(doc.Content), want[1]) {
			t.Errorf("layout as %s is %s, %v, and lacks %q", format, doc.GetMediaType(), err, want[1])
		}
	}
	_, err = b.client.RenderLayout(b.lead(), &framesv1.RenderLayoutRequest{Job: job.Id, Revision: "1", Format: "dwg"})
	wantFault(t, err, frames.ReasonFormat, "format")
}
