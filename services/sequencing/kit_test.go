package sequencing_test

import (
	"context"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/servicetest"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/sequencing"
)

const (
	ours   = "company-a"
	theirs = "company-b"
)

// bench is a sequencing service on a store of its own, with a frames service that holds what a test puts in.
type bench struct {
	t       *testing.T
	kit     *servicetest.Kit
	frames  *servicetest.Frames
	client  sequencingv1.SequencingServiceClient
	service *sequencing.Service
	db      *store.DB
	faults  *storetest.Faults
}

func newBench(t *testing.T, url string) bench {
	t.Helper()
	b := bench{t: t, kit: servicetest.New(t), frames: servicetest.NewFrames(), faults: &storetest.Faults{}}
	b.db = storetest.Open(t, store.Config{URL: url, Schema: "sequencing", Before: b.faults.Before})
	var err error
	b.service, err = sequencing.New(sequencing.Config{
		DB: b.db, Frames: framesv1.NewFramesServiceClient(b.kit.Serve(b.frames)), Pool: compute.NewPool(2, 8, nil),
		Registry: prometheus.NewPedanticRegistry(),
	})
	if err != nil {
		t.Fatal(err)
	}
	b.client = sequencingv1.NewSequencingServiceClient(b.kit.Serve(b.service))
	return b
}

// as calls as one of our company, with the time that a search may take.
func (b bench) as(role identity.Role) context.Context {
	ctx, cancel := context.WithTimeout(b.kit.As(ours, role), time.Minute)
	b.t.Cleanup(cancel)
	return ctx
}

// hold holds a job with a crane and a frame.
func (b bench) hold(f *frame.Frame) {
	b.frames.PutJob(ours, job())
	b.frames.Issue(ours, "job-1", f)
}

// holdHut holds the hut on a deck that is wide enough for braces on all sides.
func (b bench) holdHut() {
	b.t.Helper()
	at := job()
	for i, p := range at.GetSite().GetDeckOutline() {
		at.Site.DeckOutline[i] = &framev1.Point{XMm: 1.4*p.GetXMm() - 3500, YMm: 1.4*p.GetYMm() - 3000}
	}
	b.frames.PutJob(ours, at)
	b.frames.Issue(ours, "job-1", hut(b.t))
}

func job() *framesv1.Job {
	corner := func(x, y float64) *framev1.Point { return &framev1.Point{XMm: x, YMm: y} }
	return &framesv1.Job{Id: "job-1", Title: "Trial cabin", Crane: "crane-1", Site: &framesv1.Site{
		DeckHeightMm: 600,
		DeckOutline:  []*framev1.Point{corner(-200, -200), corner(7700, -200), corner(7700, 6300), corner(-200, 6300)},
	}}
}

// cabin is a rough frame of three bents.
func cabin(t testing.TB) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "cabin", BentCount: 3, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: 2, GirtDropMM: 300, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	})
}

// hut is a small frame of two bents, for what asks every state of a raising.
func hut(t testing.TB) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "hut", BentCount: 2, BaySpacingsMM: []float64{2743}, SpanMM: 3658, PostHeightMM: 2438, RoofPitchDeg: 40,
		PurlinsPerSlope: 1, BraceLegMM: 711, Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	})
}

// dowelled is the cabin with its posts on dowels, so that bents cannot close over girts.
func dowelled(t testing.TB) *frame.Frame {
	t.Helper()
	d := cabin(t).Draft()
	for i := range d.Joints {
		if d.Joints[i].Kind == joinery.PostBaseBearing {
			d.Joints[i].Kind = joinery.PostBaseDowelled
		}
	}
	return frametest.Parse(t, d)
}

func wantFault(t *testing.T, err error, kind fault.Kind, reason string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != kind || f.Reason != reason {
		t.Fatalf("answered %v, want kind %d, reason %s", f, kind, reason)
	}
	return f
}

// rates are some rates of work of a company.
func rates() *sequencingv1.Work {
	return &sequencingv1.Work{
		CarryPerPersonKg: 25, CrewCount: 6, TelehandlerKg: 1500, TelehandlerReachMm: 9000, GinPoleKg: 0,
		Rates: []*sequencingv1.MoveRate{
			{Machine: sequencingv1.Machine_MACHINE_CRANE, Minutes: 25},
			{Machine: sequencingv1.Machine_MACHINE_TELEHANDLER, Minutes: 12},
			{Machine: sequencingv1.Machine_MACHINE_GIN_POLE, Minutes: 70},
			{Machine: sequencingv1.Machine_MACHINE_HANDS, Minutes: 6},
		},
		MinutesPerBrace: 4, MinutesPerJoint: 7, CraneSetUpMinutes: 90,
	}
}
