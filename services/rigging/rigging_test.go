package rigging_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/servicetest"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/rigging"
)

// bench is a rigging service on a store of its own, with a frames service that holds what a test puts in.
type bench struct {
	kit     *servicetest.Kit
	frames  *servicetest.Frames
	client  riggingv1.RiggingServiceClient
	service *rigging.Service
	db      *store.DB
	faults  *storetest.Faults
}

func newBench(t *testing.T, url string) bench {
	t.Helper()
	b := bench{kit: servicetest.New(t), frames: servicetest.NewFrames(), faults: &storetest.Faults{}}
	b.db = storetest.Open(t, store.Config{URL: url, Schema: "rigging", Before: b.faults.Before})
	var err error
	b.service, err = rigging.New(rigging.Config{
		DB: b.db, Frames: framesv1.NewFramesServiceClient(b.kit.Serve(b.frames)), Pool: compute.NewPool(2, 8, nil),
	})
	if err != nil {
		t.Fatal(err)
	}
	b.client = riggingv1.NewRiggingServiceClient(b.kit.Serve(b.service))
	return b
}

func (b bench) lead() context.Context { return b.kit.As("company-a", identity.Lead) }

// crane is an invented crane; its chart falls by a twelfth with each metre.
func crane() *riggingv1.Crane {
	c := &riggingv1.Crane{
		Id: "crane-1", Name: "Hired crane", ChartNote: "Made up for a test.", ChartIsInvented: true,
		DeductionKg: 280, TwoBlockMarginMm: 1500, BoomPivotBackMm: 1200, BoomPivotHeightMm: 2100,
		Machine: riggingv1.LiftingMachine_LIFTING_MACHINE_CRANE,
	}
	for _, boom := range []float64{17000, 23000, 29000} {
		rated := 12000.0
		for radius := 3000.0; radius <= boom-4000; radius += 1000 {
			c.Chart = append(c.Chart, &riggingv1.ChartRow{BoomLengthMm: boom, RadiusMm: radius, RatedKg: math.Round(rated)})
			rated *= 11.0 / 12
		}
	}
	return c
}

func slings() []*riggingv1.Gear {
	sling := func(length float64) *riggingv1.Gear {
		return &riggingv1.Gear{
			Id: fmt.Sprintf("sling-%.0fm", length/1000), Kind: riggingv1.GearKind_GEAR_KIND_SLING, Name: "Web sling", Count: 4,
			LengthMm: length, RatedVerticalKg: 2400, RatedChokerKg: 1900, RatedBasketKg: 4800, MassKg: length / 1400,
		}
	}
	return []*riggingv1.Gear{sling(2000), sling(4000), sling(6000), sling(8000), {
		Id: "shackle", Kind: riggingv1.GearKind_GEAR_KIND_SHACKLE, Name: "Bow shackle", Count: 12, RatedVerticalKg: 3200, MassKg: 0.8,
	}}
}

func (b bench) fill(t *testing.T) {
	t.Helper()
	if _, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: crane()}); err != nil {
		t.Fatal(err)
	}
	for _, g := range slings() {
		if _, err := b.client.PutGear(b.lead(), &riggingv1.PutGearRequest{Gear: g}); err != nil {
			t.Fatal(err)
		}
	}
}

// cabin is a rough frame of three bents.
func cabin(t *testing.T) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "cabin", BentCount: 3, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: 2, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 60,
	})
}

func point(x, y, z float64) *framev1.Point { return &framev1.Point{XMm: x, YMm: y, ZMm: z} }

func job() *framesv1.Job {
	return &framesv1.Job{Id: "job-1", Title: "Cabin", Crane: "crane-1", Site: &framesv1.Site{
		CraneSetUps: []*framesv1.CraneSetUp{
			{Id: "uphill", Center: point(3600, 12000, -900), BoomLengthMm: 23000},
			{Id: "spare", Center: point(0, -90000, 0), BoomLengthMm: 17000},
		},
		StagingZones: []*framesv1.StagingZone{
			{Id: "grass", Use: framesv1.StagingUse_STAGING_USE_LOOSE, Center: point(9800, 9200, -500)},
			{Id: "deck-stack", Use: framesv1.StagingUse_STAGING_USE_STACK, Center: point(3600, 3050, 500)},
		},
		OverheadLines: []*framesv1.OverheadLine{{Id: "road-line", VoltageV: 7200, Path: []*framev1.Point{point(0, -18000, 6500), point(9000, -18000, 6500)}}},
		NoGoZones:     []*framesv1.NoGoZone{{Id: "well", Reason: "drilled well"}},
	}}
}

func wantFault(t *testing.T, err error, kind fault.Kind, reason string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != kind || f.Reason != reason {
		t.Errorf("answered %v, want kind %d, reason %s", f, kind, reason)
	}
	return f
}

func TestBook(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		ctx := b.lead()
		put, err := b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: crane()})
		if err != nil {
			t.Fatal(err)
		}
		if put.GetEtag() == "" {
			t.Error("a crane came back without an etag")
		}
		again, err := b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: crane()})
		if err != nil || again.GetEtag() != put.GetEtag() {
			t.Errorf("the same crane again: %v, %v", again.GetEtag(), err)
		}
		changed := proto.CloneOf(put)
		changed.Name = "Other crane"
		second, err := b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: changed})
		if err != nil || second.GetEtag() == put.GetEtag() {
			t.Fatalf("changed crane: %v, %v", second, err)
		}
		stale := proto.CloneOf(put)
		stale.Name = "Third crane"
		_, err = b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: stale})
		wantFault(t, err, fault.Conflict, "ETAG_MISMATCH")
		stale.Id = "crane-2"
		_, err = b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: stale})
		wantFault(t, err, fault.Conflict, "ETAG_MISMATCH")
		stale.Id, stale.Etag = "crane-1", ""
		if _, err = b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: stale}); err != nil {
			t.Errorf("replace without an etag: %v", err)
		}
		got, err := b.client.GetCrane(ctx, &riggingv1.GetCraneRequest{Crane: "crane-1"})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(stale, got, protocmp.Transform(), protocmp.IgnoreFields(&riggingv1.Crane{}, "etag")); diff != "" {
			t.Error(diff)
		}
		_, err = b.client.GetCrane(ctx, &riggingv1.GetCraneRequest{Crane: "crane-9"})
		wantFault(t, err, fault.NotFound, "CRANE_NOT_FOUND")
		_, err = b.client.GetGear(ctx, &riggingv1.GetGearRequest{Item: "sling-9m"})
		wantFault(t, err, fault.NotFound, "GEAR_NOT_FOUND")
		// Feed: three puts had an effect, the repeat and the refused ones had none.
		err = b.db.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
			events, err := outbox.After(ctx, tx, "company-a", 0, 100)
			if len(events) != 3 || events[2].Kind != "crane.put" || events[2].Subject != "crane-1" {
				t.Errorf("feed %+v", events)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
	})
}

func TestBooksOfCompaniesAreApart(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		b.fill(t)
		other := b.kit.As("company-b", identity.Admin)
		_, err := b.client.GetCrane(other, &riggingv1.GetCraneRequest{Crane: "crane-1"})
		wantFault(t, err, fault.NotFound, "CRANE_NOT_FOUND")
		_, err = b.client.GetGear(other, &riggingv1.GetGearRequest{Item: "shackle"})
		wantFault(t, err, fault.NotFound, "GEAR_NOT_FOUND")
		cranes, err := b.client.ListCranes(other, &riggingv1.ListCranesRequest{})
		if err != nil || len(cranes.GetCranes()) != 0 {
			t.Errorf("cranes of another company: %v, %v", cranes, err)
		}
		gear, err := b.client.ListGear(other, &riggingv1.ListGearRequest{})
		if err != nil || len(gear.GetGear()) != 0 {
			t.Errorf("gear of another company: %v, %v", gear, err)
		}
		mine := crane()
		mine.Name = "Crane of company b"
		if _, err := b.client.PutCrane(other, &riggingv1.PutCraneRequest{Crane: mine}); err != nil {
			t.Fatal(err)
		}
		got, err := b.client.GetCrane(b.lead(), &riggingv1.GetCraneRequest{Crane: "crane-1"})
		if err != nil || got.GetName() != crane().GetName() {
			t.Errorf("company a reads %q, %v", got.GetName(), err)
		}
	})
}

func TestListsPage(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		ctx := b.lead()
		want := []string{"a", "b-1", "b-10", "b-2", "c"}
		for _, id := range []string{"c", "b-2", "a", "b-10", "b-1"} {
			g := slings()[0]
			g.Id = id
			if _, err := b.client.PutGear(ctx, &riggingv1.PutGearRequest{Gear: g}); err != nil {
				t.Fatal(err)
			}
		}
		var got []string
		token := ""
		for range 10 {
			answer, err := b.client.ListGear(ctx, &riggingv1.ListGearRequest{PageSize: 2, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, g := range answer.GetGear() {
				got = append(got, g.GetId())
			}
			if token = answer.GetNextPageToken(); token == "" {
				break
			}
			_, err = b.client.ListCranes(ctx, &riggingv1.ListCranesRequest{PageToken: token})
			wantFault(t, err, fault.InvalidArgument, "INVALID_PAGE_TOKEN")
			_, err = b.client.ListGear(b.kit.As("company-b", identity.Lead), &riggingv1.ListGearRequest{PageToken: token})
			wantFault(t, err, fault.InvalidArgument, "INVALID_PAGE_TOKEN")
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Error(diff)
		}
		for _, cursor := range [][]string{{"a\x00"}, {"a\xff"}, {""}, {"a", "b"}} {
			_, err := b.client.ListGear(ctx, &riggingv1.ListGearRequest{PageToken: page.Encode("gear", "company-a", cursor...)})
			wantFault(t, err, fault.InvalidArgument, "INVALID_PAGE_TOKEN")
		}
		_, err := b.client.ListGear(ctx, &riggingv1.ListGearRequest{PageSize: -1})
		wantFault(t, err, fault.InvalidArgument, "INVALID_ARGUMENT")
	})
}

func TestTwoAtOnceCannotBothWin(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		first, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: crane()})
		if err != nil {
			t.Fatal(err)
		}
		won := make([]bool, 8)
		var wait sync.WaitGroup
		for i := range won {
			wait.Go(func() {
				c := proto.CloneOf(first)
				c.Name = fmt.Sprint("crane of caller ", i)
				_, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: c})
				won[i] = err == nil
				if err != nil {
					wantFault(t, err, fault.Conflict, "ETAG_MISMATCH")
				}
			})
		}
		wait.Wait()
		winners := 0
		for _, w := range won {
			if w {
				winners++
			}
		}
		if winners != 1 {
			t.Errorf("%d of %d callers replaced the same version", winners, len(won))
		}
	})
}

func TestWrongFieldsAreNamed(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	for path, change := range map[string]func(c *riggingv1.Crane){
		"crane.id":                      func(c *riggingv1.Crane) { c.Id = "Crane 1" },
		"crane.name":                    func(c *riggingv1.Crane) { c.Name = " " },
		"crane.chart_note":              func(c *riggingv1.Crane) { c.ChartNote = strings.Repeat("x", 2001) },
		"crane.deduction_kg":            func(c *riggingv1.Crane) { c.DeductionKg = math.NaN() },
		"crane.two_block_margin_mm":     func(c *riggingv1.Crane) { c.TwoBlockMarginMm = -1 },
		"crane.boom_pivot_back_mm":      func(c *riggingv1.Crane) { c.BoomPivotBackMm = math.Inf(-1) },
		"crane.boom_pivot_height_mm":    func(c *riggingv1.Crane) { c.BoomPivotHeightMm = 1e9 },
		"crane.machine":                 func(c *riggingv1.Crane) { c.Machine = 77 },
		"crane.chart":                   func(c *riggingv1.Crane) { c.Chart = nil },
		"crane.chart[3].radius_mm":      func(c *riggingv1.Crane) { c.Chart[3].RadiusMm = 4000 },
		"crane.chart[4].rated_kg":       func(c *riggingv1.Crane) { c.Chart[4].RatedKg = 99999 },
		"crane.chart[1].boom_length_mm": func(c *riggingv1.Crane) { c.Chart[1].BoomLengthMm = math.NaN() },
	} {
		c := crane()
		change(c)
		_, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: c})
		wantField(t, err, path)
	}
	for path, change := range map[string]func(g *riggingv1.Gear){
		"gear.id":                func(g *riggingv1.Gear) { g.Id = "-x" },
		"gear.name":              func(g *riggingv1.Gear) { g.Name = "\x01" },
		"gear.kind":              func(g *riggingv1.Gear) { g.Kind = 0 },
		"gear.count":             func(g *riggingv1.Gear) { g.Count = -1 },
		"gear.length_mm":         func(g *riggingv1.Gear) { g.LengthMm = 0 },
		"gear.mass_kg":           func(g *riggingv1.Gear) { g.MassKg = 0 },
		"gear.rated_vertical_kg": func(g *riggingv1.Gear) { g.RatedVerticalKg = math.NaN() },
		"gear.rated_choker_kg":   func(g *riggingv1.Gear) { g.RatedChokerKg = -5 },
		"gear.rated_basket_kg":   func(g *riggingv1.Gear) { g.RatedBasketKg = math.Inf(1) },
	} {
		g := slings()[0]
		change(g)
		_, err := b.client.PutGear(b.lead(), &riggingv1.PutGearRequest{Gear: g})
		wantField(t, err, path)
	}
	// A choke weakens a sling: a choker rating is 0.5 (29 CFR 1918 Appendix II, Table 2) to 0.8 (EN 1492) of
	// the vertical one, so a larger one is the basket's or a slip of the pen.
	choker := slings()[0]
	choker.RatedChokerKg = choker.RatedBasketKg
	_, err := b.client.PutGear(b.lead(), &riggingv1.PutGearRequest{Gear: choker})
	wantField(t, err, "gear.rated_choker_kg")
	// Hooks, blocks and slings are part of the load (US Army TM 5-3810-305-10, note 14), so none weighs nothing.
	hookless := crane()
	hookless.DeductionKg = 0
	_, err = b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: hookless})
	wantField(t, err, "crane.deduction_kg")
	shackle := slings()[4]
	shackle.LengthMm, shackle.RatedChokerKg, shackle.RatedBasketKg = 100, 1, 1
	_, err = b.client.PutGear(b.lead(), &riggingv1.PutGearRequest{Gear: shackle})
	for _, path := range []string{"gear.length_mm", "gear.rated_choker_kg", "gear.rated_basket_kg"} {
		wantField(t, err, path)
	}
	_, err = b.client.PutGear(b.lead(), &riggingv1.PutGearRequest{})
	wantField(t, err, "gear")
	_, err = b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{})
	wantField(t, err, "crane")
	list, err := b.client.ListGear(b.lead(), &riggingv1.ListGearRequest{})
	if err != nil || len(list.GetGear()) != 0 {
		t.Errorf("refused gear was kept: %v, %v", list, err)
	}
}

func wantField(t *testing.T, err error, path string) {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != fault.InvalidArgument {
		t.Errorf("%s: %v", path, f)
		return
	}
	for _, field := range f.Fields {
		if field.Path == path && field.Message != "" {
			return
		}
	}
	t.Errorf("%s is not among %+v", path, f.Fields)
}

func TestPicks(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		b.fill(t)
		f := cabin(t)
		b.frames.PutJob("company-a", job())
		b.frames.Issue("company-a", "job-1", f)
		ctx := b.kit.As("company-a", identity.Field)
		got, err := b.client.GetPicks(ctx, &riggingv1.GetPicksRequest{Job: "job-1", Revision: "latest"})
		if err != nil {
			t.Fatal(err)
		}
		if got.GetComputedFrom().GetDigest() != f.Digest() || got.GetCrane().GetId() != "crane-1" || got.GetCraneSetUp() != "uphill" {
			t.Errorf("from %v with crane %v at %s", got.GetComputedFrom(), got.GetCrane().GetId(), got.GetCraneSetUp())
		}
		if want := len(f.Assemblies()) + len(f.Loose()); len(got.GetPicks()) != want {
			t.Errorf("%d picks, want %d", len(got.GetPicks()), want)
		}
		for _, p := range got.GetPicks() {
			if !p.GetAccepted() || len(p.GetRefusals()) > 0 || len(p.GetPoints()) != 2 || p.GetChartRow() == nil {
				t.Errorf("%s: %v", p.GetId(), p.GetRefusals())
			}
			sum := p.GetMassKg() + p.GetAllowanceKg() + p.GetRiggingKg() + p.GetDeductionKg()
			if math.Abs(sum-p.GetHookLoadKg()) > 1e-9*sum || p.GetDeductionKg() != 280 {
				t.Errorf("%s: hook load %v of %v", p.GetId(), p.GetHookLoadKg(), sum)
			}
		}
		for _, b := range got.GetBasis() {
			if b.GetQuantity() == "" || b.GetFormula() == "" || b.GetSource() == "" || b.GetStatus() == 0 {
				t.Errorf("a basis leaves something out: %v", b)
			}
		}
		cautions := strings.Join(got.GetCautions(), "\n")
		for _, words := range []string{"own chart", "tag of each sling", "qualified rigger", "local rules", "INVENTED", "road-line", "well", "Made up for a test."} {
			if !strings.Contains(cautions, words) {
				t.Errorf("no caution says %q", words)
			}
		}
	})
}

func TestPicksFollowTheBookAndTheJob(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.frames.PutJob("company-a", job())
	b.frames.Issue("company-a", "job-1", cabin(t))
	picks := func() *riggingv1.Picks {
		t.Helper()
		got, err := b.client.GetPicks(b.lead(), &riggingv1.GetPicksRequest{Job: "job-1", Revision: "1"})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	all := func(words string) {
		t.Helper()
		got := picks()
		for _, p := range got.GetPicks() {
			if p.GetAccepted() || !strings.Contains(strings.Join(p.GetRefusals(), " "), words) {
				t.Errorf("%s: %v does not say %q", p.GetId(), p.GetRefusals(), words)
			}
		}
	}
	all("crane-1 is not in the company book")
	all("holds no sling")
	b.fill(t)
	if p := picks().GetPicks()[0]; !p.GetAccepted() {
		t.Errorf("with crane and gear: %v", p.GetRefusals())
	}
	weak := crane()
	for _, r := range weak.GetChart() {
		r.RatedKg /= 100
	}
	if _, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: weak}); err != nil {
		t.Fatal(err)
	}
	all("Crane at the largest radius")
	none := job()
	none.Crane = ""
	b.frames.PutJob("company-a", none)
	all("No crane is chosen")
	if got := picks(); got.GetCrane() != nil {
		t.Errorf("a job without a crane uses %v", got.GetCrane())
	}
	b.frames.PutJob("company-a", &framesv1.Job{Id: "job-1", Crane: "crane-1"})
	all("no crane set-up")
}

func TestRenderedPicks(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.fill(t)
	f := cabin(t)
	b.frames.PutJob("company-a", job())
	b.frames.Issue("company-a", "job-1", f)
	render := func(format string) string {
		t.Helper()
		doc, err := b.client.RenderPicks(b.lead(), &riggingv1.RenderPicksRequest{Job: "job-1", Revision: "latest", Format: format})
		if err != nil {
			t.Fatal(err)
		}
		if want := "picks-job-1-r1." + format; doc.GetFilename() != want {
			t.Errorf("file %s, want %s", doc.GetFilename(), want)
		}
		return string(doc.GetContent())
	}
	rows, err := csv.NewReader(bytes.NewBufferString(render("csv"))).ReadAll()
	if err != nil || len(rows) != 1+len(f.Assemblies())+len(f.Loose()) {
		t.Errorf("%d rows, %v", len(rows), err)
	}
	page := render("html")
	for _, want := range []string{"INVENTED", "Limits", "crane at the largest radius", "How the numbers came about", "id=\"bent-1\"", f.Digest()} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	_, err = b.client.RenderPicks(b.lead(), &riggingv1.RenderPicksRequest{Job: "job-1", Revision: "latest", Format: "pdf"})
	wantFault(t, err, fault.InvalidArgument, "UNKNOWN_FORMAT")
	// Refused picks have points without gear, or none; the table shows that too.
	b.frames.PutJob("company-a", &framesv1.Job{Id: "job-1"})
	if page := render("html"); !strings.Contains(page, "No crane is chosen") {
		t.Error("the page does not say why picks are refused")
	}
}

func TestPickErrors(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.frames.PutJob("company-a", job())
	b.frames.Issue("company-a", "job-1", cabin(t))
	for _, ctx := range []context.Context{b.kit.As("company-b", identity.Admin)} {
		_, err := b.client.GetPicks(ctx, &riggingv1.GetPicksRequest{Job: "job-1", Revision: "1"})
		wantFault(t, err, fault.NotFound, "JOB_NOT_FOUND")
		_, err = b.client.RenderPicks(ctx, &riggingv1.RenderPicksRequest{Job: "job-1", Revision: "1", Format: "csv"})
		wantFault(t, err, fault.NotFound, "JOB_NOT_FOUND")
	}
	_, err := b.client.GetPicks(b.lead(), &riggingv1.GetPicksRequest{Job: "job-1", Revision: "2"})
	wantFault(t, err, fault.NotFound, "REVISION_NOT_FOUND")
}

func TestStoreTroubleIsNotShown(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	trouble := errors.New("disk is on fire at /secret/path")
	b.faults.Push("write", trouble)
	_, err := b.client.PutCrane(b.lead(), &riggingv1.PutCraneRequest{Crane: crane()})
	if f := fault.FromStatus(err); f == nil || strings.Contains(f.Message, "secret") {
		t.Errorf("answered %v", f)
	}
	b.faults.Push("read", trouble)
	if _, err := b.client.ListCranes(b.lead(), &riggingv1.ListCranesRequest{}); err == nil {
		t.Error("a broken store lists cranes")
	}
	if _, err := b.client.GetCrane(b.lead(), &riggingv1.GetCraneRequest{Crane: "crane-1"}); !fault.HasReason(fault.FromStatus(err), "CRANE_NOT_FOUND") {
		t.Errorf("the refused crane is there: %v", err)
	}
}

func TestPolicy(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	b.kit.CheckPolicy(b.service.Policy(), map[string]func(context.Context) error{
		riggingv1.RiggingService_ListCranes_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.ListCranes(ctx, &riggingv1.ListCranesRequest{})
			return err
		},
		riggingv1.RiggingService_GetCrane_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetCrane(ctx, &riggingv1.GetCraneRequest{Crane: "crane-1"})
			return err
		},
		riggingv1.RiggingService_PutCrane_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.PutCrane(ctx, &riggingv1.PutCraneRequest{Crane: crane()})
			return err
		},
		riggingv1.RiggingService_ListGear_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.ListGear(ctx, &riggingv1.ListGearRequest{})
			return err
		},
		riggingv1.RiggingService_GetGear_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetGear(ctx, &riggingv1.GetGearRequest{Item: "shackle"})
			return err
		},
		riggingv1.RiggingService_PutGear_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.PutGear(ctx, &riggingv1.PutGearRequest{Gear: slings()[0]})
			return err
		},
		riggingv1.RiggingService_GetPicks_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.GetPicks(ctx, &riggingv1.GetPicksRequest{Job: "job-1", Revision: "1"})
			return err
		},
		riggingv1.RiggingService_RenderPicks_FullMethodName: func(ctx context.Context) error {
			_, err := b.client.RenderPicks(ctx, &riggingv1.RenderPicksRequest{Job: "job-1", Revision: "1", Format: "csv"})
			return err
		},
	})
}

func TestNewWantsWhatItNeeds(t *testing.T) {
	t.Parallel()
	if _, err := rigging.New(rigging.Config{}); err == nil {
		t.Error("a rigging service without a store was made")
	}
}
