package takeoff_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/servicetest"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/takeoff"
)

// bench is a takeoff service with one shed of company-a as job-1.
type bench struct {
	kit    *servicetest.Kit
	frames *servicetest.Frames
	client takeoffv1.TakeoffServiceClient
	shed   *frame.Frame
	table  *takeoff.Service
}

func newBench(t *testing.T) bench {
	t.Helper()
	shed, err := frame.Parse(frametest.Shed(3))
	if err != nil {
		t.Fatal(err)
	}
	b := bench{kit: servicetest.New(t), frames: servicetest.NewFrames(), shed: shed}
	b.frames.PutJob("company-a", &framesv1.Job{Id: "job-1"})
	b.frames.Issue("company-a", "job-1", shed)
	b.table, err = takeoff.New(takeoff.Config{
		Frames: framesv1.NewFramesServiceClient(b.kit.Serve(b.frames)), Pool: compute.NewPool(2, 4, nil),
	})
	if err != nil {
		t.Fatal(err)
	}
	b.client = takeoffv1.NewTakeoffServiceClient(b.kit.Serve(b.table))
	return b
}

func TestTakeoffMeasuresTheFrame(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := b.kit.As("company-a", identity.Viewer)
	for range 2 {
		got, err := b.client.GetTakeoff(ctx, &takeoffv1.GetTakeoffRequest{Job: "job-1", Revision: "latest"})
		if err != nil {
			t.Fatal(err)
		}
		if got.GetComputedFrom().GetDigest() != b.shed.Digest() || got.GetComputedFrom().GetRevision() != 1 {
			t.Errorf("computed from %v", got.GetComputedFrom())
		}
		mass := 0.0
		for i, timber := range b.shed.Timbers() {
			mass += b.shed.MassKG(i)
			found := false
			for _, s := range got.GetSticks() {
				if s.GetMark() == timber.Mark {
					found = s.GetOverallLengthMm() == b.shed.Solid(i).OverallMM && s.GetMassKg() == b.shed.MassKG(i)
				}
			}
			if !found {
				t.Errorf("%s is missing or measured otherwise", timber.Mark)
			}
		}
		if math.Abs(got.GetTotal().GetMassKg()-mass) > 1e-9*mass || int(got.GetTotal().GetCount()) != len(b.shed.Timbers()) {
			t.Errorf("total %v, want %v kg", got.GetTotal(), mass)
		}
		for _, quantity := range []string{"board feet", "volume", "density of eastern-white-pine", "mass"} {
			checkBasis(t, got.GetBasis(), quantity)
		}
	}
}

func checkBasis(t *testing.T, basis []*sheetv1.Basis, quantity string) {
	t.Helper()
	for _, b := range basis {
		if b.GetQuantity() == quantity {
			if b.GetFormula() == "" || b.GetSource() == "" || b.GetStatus() == sheetv1.SourceStatus_SOURCE_STATUS_UNSPECIFIED {
				t.Errorf("the basis of %s leaves something out: %v", quantity, b)
			}
			return
		}
	}
	t.Errorf("no basis for %s", quantity)
}

func TestOlderRevisionSaysSo(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	bigger, err := frame.Parse(frametest.Shed(4))
	if err != nil {
		t.Fatal(err)
	}
	b.frames.Issue("company-a", "job-1", bigger)
	got, err := b.client.GetTakeoff(b.kit.As("company-a", identity.Shop), &takeoffv1.GetTakeoffRequest{Job: "job-1", Revision: "1"})
	if err != nil {
		t.Fatal(err)
	}
	if from := got.GetComputedFrom(); from.GetRevision() != 1 || from.GetLatestRevision() != 2 {
		t.Errorf("computed from %v", from)
	}
	doc, err := b.client.RenderTakeoff(b.kit.As("company-a", identity.Shop), &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "1", Format: "html"})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(doc.GetContent(), []byte("There is a newer revision of this frame: 2.")) {
		t.Error("the page does not say that it is of an older frame")
	}
}

func TestCSVKeepsEveryDigit(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := b.kit.As("company-a", identity.Estimator)
	doc, err := b.client.RenderTakeoff(ctx, &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "latest", Format: "csv"})
	if err != nil {
		t.Fatal(err)
	}
	if doc.GetMediaType() != "text/csv; charset=utf-8" || doc.GetFilename() != "takeoff-job-1-r1.csv" {
		t.Errorf("document %s, %s", doc.GetMediaType(), doc.GetFilename())
	}
	rows, err := csv.NewReader(bytes.NewReader(doc.GetContent())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+len(b.shed.Timbers())+1 {
		t.Fatalf("%d rows for %d sticks, a head and a total", len(rows), len(b.shed.Timbers()))
	}
	column := map[string]int{}
	for i, head := range rows[0] {
		column[head] = i
	}
	for _, row := range rows[1 : len(rows)-1] {
		i, ok := b.shed.Index(row[column["mark"]])
		if !ok {
			t.Fatalf("no stick %q", row[column["mark"]])
		}
		mass, err := strconv.ParseFloat(row[column["mass (kg)"]], 64)
		if err != nil || mass != b.shed.MassKG(i) {
			t.Errorf("%s: mass %q, want %v", row[column["mark"]], row[column["mass (kg)"]], b.shed.MassKG(i))
		}
	}
}

func TestHTMLShowsEverySum(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	doc, err := b.client.RenderTakeoff(b.kit.As("company-a", identity.Viewer),
		&takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "latest", Format: "html"})
	if err != nil {
		t.Fatal(err)
	}
	page := string(doc.GetContent())
	for _, want := range []string{"By section", "By species", "By assembly", "bent-2", "id=\"P1A\"", b.shed.Digest(), "How the numbers came about", "Gb = 0.34"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestErrors(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx := b.kit.As("company-a", identity.Viewer)
	for name, tt := range map[string]struct {
		ctx    context.Context
		req    *takeoffv1.RenderTakeoffRequest
		kind   fault.Kind
		reason string
	}{
		"another company's job": {b.kit.As("company-b", identity.Admin), &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "1", Format: "csv"}, fault.NotFound, "JOB_NOT_FOUND"},
		"no such revision":      {ctx, &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "9", Format: "csv"}, fault.NotFound, "REVISION_NOT_FOUND"},
		"unknown format":        {ctx, &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "1", Format: "docx"}, fault.InvalidArgument, "UNKNOWN_FORMAT"},
		"no format":             {ctx, &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "1"}, fault.InvalidArgument, "UNKNOWN_FORMAT"},
	} {
		_, err := b.client.RenderTakeoff(tt.ctx, tt.req)
		if f := fault.FromStatus(err); f == nil || f.Kind != tt.kind || f.Reason != tt.reason {
			t.Errorf("%s: %v", name, f)
		}
	}
	_, err := b.client.GetTakeoff(b.kit.As("company-b", identity.Admin), &takeoffv1.GetTakeoffRequest{Job: "job-1", Revision: "1"})
	if f := fault.FromStatus(err); f == nil || f.Kind != fault.NotFound {
		t.Errorf("another company's takeoff: %v", f)
	}
}

func TestPolicy(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.kit.CheckPolicy(b.table.Policy(), map[string]func(context.Context) error{
		takeoffv1.TakeoffService_GetTakeoff_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetTakeoff(ctx, &takeoffv1.GetTakeoffRequest{Job: "job-1", Revision: "1"})
			return err
		},
		takeoffv1.TakeoffService_RenderTakeoff_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.RenderTakeoff(ctx, &takeoffv1.RenderTakeoffRequest{Job: "job-1", Revision: "1", Format: "csv"})
			return err
		},
	})
}

func TestNewWantsWhatItNeeds(t *testing.T) {
	t.Parallel()
	if _, err := takeoff.New(takeoff.Config{}); err == nil {
		t.Error("a takeoff service without a frames service was made")
	}
}
