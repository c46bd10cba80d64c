package frames_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/frames"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func point(x, y, z float64) *framev1.Point { return &framev1.Point{XMm: x, YMm: y, ZMm: z} }

// goodSite is a site with something of everything.
func goodSite() *framesv1.Site {
	square := []*framev1.Point{point(0, 0, 0), point(9000, 0, 0), point(9000, 7000, 0), point(0, 7000, 0)}
	return &framesv1.Site{
		Address: "12 Millrace Lane", LatitudeDeg: 44.5, LongitudeDeg: -72.6, TimeZone: "America/New_York", DeckHeightMm: 900,
		DeckOutline:   square,
		CraneSetUps:   []*framesv1.CraneSetUp{{Id: "north", Center: point(4000, 12000, -900), BoomLengthMm: 18000}},
		StagingZones:  []*framesv1.StagingZone{{Id: "stack", Use: framesv1.StagingUse_STAGING_USE_STACK, Center: point(4000, 3000, 300)}},
		NoGoZones:     []*framesv1.NoGoZone{{Id: "septic", Reason: "septic field", Outline: square}},
		OverheadLines: []*framesv1.OverheadLine{{Id: "road", VoltageV: 7200, Path: []*framev1.Point{point(-9000, -9000, 8000), point(20000, -9000, 8000)}}},
	}
}

func TestJobLife(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		req := &framesv1.CreateJobRequest{RequestId: "r1", Job: &framesv1.Job{Title: "Barn", Customer: "Ash Farm", Site: goodSite(), Id: "mine", LatestRevision: 9}}
		made, err := b.client.CreateJob(b.lead(), req)
		if err != nil {
			t.Fatal(err)
		}
		want := &framesv1.Job{
			Id: made.Id, Title: "Barn", Customer: "Ash Farm", Site: goodSite(), Stage: framesv1.JobStage_JOB_STAGE_ESTIMATING,
			CreateTime: made.CreateTime, UpdateTime: made.CreateTime, Etag: made.Etag,
		}
		if diff := cmp.Diff(want, made, protocmp.Transform()); diff != "" || !strings.HasPrefix(made.Id, "job-") || made.Etag == "" {
			t.Errorf("made job (-want +got):\n%s", diff)
		}
		again, err := b.client.CreateJob(b.lead(), clone(req))
		if err != nil || again.Id != made.Id {
			t.Errorf("a repeat made %s, %v; want %s again", again.GetId(), err, made.Id)
		}
		other := clone(req)
		other.Job.Title = "Other"
		_, err = b.client.CreateJob(b.lead(), other)
		wantFault(t, err, fault.ReasonReused, "")
		got, err := b.client.GetJob(b.lead(), &framesv1.GetJobRequest{Job: made.Id})
		if diff := cmp.Diff(made, got, protocmp.Transform()); diff != "" || err != nil {
			t.Errorf("read job, %v (-want +got):\n%s", err, diff)
		}
		for _, id := range []string{"", "job-zzzzzzzzzz", "x\x00y", strings.Repeat("a", 1000), "a/b"} {
			_, err := b.client.GetJob(b.lead(), &framesv1.GetJobRequest{Job: id})
			wantFault(t, err, frames.ReasonJob, "")
		}
	})
}

func TestUpdateJob(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		made := b.job("Barn")
		update := func(j *framesv1.Job, paths ...string) (*framesv1.Job, error) {
			req := &framesv1.UpdateJobRequest{Job: j}
			if len(paths) > 0 {
				req.UpdateMask = &fieldmaskpb.FieldMask{Paths: paths}
			}
			return b.client.UpdateJob(b.lead(), req)
		}
		one, err := update(&framesv1.Job{Id: made.Id, Etag: made.Etag, Title: "Big barn", Customer: "not in the mask"}, "title")
		if err != nil || one.Title != "Big barn" || one.Customer != "" || one.Etag == made.Etag {
			t.Fatalf("update of the title gave %v, %v", one, err)
		}
		_, err = update(&framesv1.Job{Id: made.Id, Etag: made.Etag, Title: "Late"}, "title")
		wantFault(t, err, frames.ReasonETag, "")
		two, err := update(&framesv1.Job{Id: made.Id, Site: goodSite(), Stage: framesv1.JobStage_JOB_STAGE_CUTTING})
		if err != nil || two.Title != "Big barn" || two.Stage != framesv1.JobStage_JOB_STAGE_CUTTING {
			t.Fatalf("update without a mask gave %v, %v", two, err)
		}
		three, err := update(&framesv1.Job{Id: made.Id, Site: &framesv1.Site{Address: "Mill yard"}}, "site.address", "etag", "id")
		wantSite := goodSite()
		wantSite.Address = "Mill yard"
		if diff := cmp.Diff(wantSite, three.GetSite(), protocmp.Transform()); diff != "" || err != nil {
			t.Errorf("update of the address, %v (-want +got):\n%s", err, diff)
		}
		four, err := update(&framesv1.Job{Id: made.Id, Title: "Barn", Crane: "crane-1"}, "*")
		if err != nil || four.Site != nil || four.Crane != "crane-1" || four.Stage != framesv1.JobStage_JOB_STAGE_ESTIMATING {
			t.Errorf("update of everything gave %v, %v", four, err)
		}
		_, err = update(&framesv1.Job{Id: made.Id, Title: ""}, "title")
		wantFault(t, err, fault.ReasonInvalid, "job.title")
		_, err = update(&framesv1.Job{Id: made.Id}, "color")
		wantFault(t, err, fault.ReasonInvalid, "update_mask")
		_, err = update(&framesv1.Job{Id: made.Id}, "site.roof")
		wantFault(t, err, fault.ReasonInvalid, "update_mask")
		_, err = update(&framesv1.Job{Id: made.Id}, "create_time")
		wantFault(t, err, fault.ReasonInvalid, "update_mask")
		_, err = update(&framesv1.Job{Id: "job-none", Title: "x"}, "title")
		wantFault(t, err, frames.ReasonJob, "")
		_, err = b.client.UpdateJob(b.lead(), &framesv1.UpdateJobRequest{})
		wantFault(t, err, fault.ReasonInvalid, "job")
		events := b.events("alder")
		if diff := cmp.Diff([]string{"job.created", "job.updated", "job.updated", "job.updated", "job.updated"}, events); diff != "" {
			t.Errorf("feed (-want +got):\n%s", diff)
		}
	})
}

// events gives the kinds of what the feed of a company holds.
func (b *bench) events(company string) []string {
	b.t.Helper()
	var kinds []string
	err := b.db.Read(b.t.Context(), func(ctx context.Context, tx *store.Tx) error {
		list, err := outbox.After(ctx, tx, company, 0, 100)
		kinds = nil
		for _, e := range list {
			kinds = append(kinds, e.Kind)
		}
		return err
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return kinds
}

func TestBadJobs(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	long := strings.Repeat("ä", 201)
	tests := map[string]struct {
		field  string
		change func(*framesv1.Job)
	}{
		"no title":             {"job.title", func(j *framesv1.Job) { j.Title = "  " }},
		"long title":           {"job.title", func(j *framesv1.Job) { j.Title = long }},
		"title with a bell":    {"job.title", func(j *framesv1.Job) { j.Title = "a\ab" }},
		"title with a nought":  {"job.title", func(j *framesv1.Job) { j.Title = "a\x00b" }},
		"long customer":        {"job.customer", func(j *framesv1.Job) { j.Customer = long }},
		"stage":                {"job.stage", func(j *framesv1.Job) { j.Stage = 77 }},
		"latitude":             {"job.site.latitude_deg", func(j *framesv1.Job) { j.Site.LatitudeDeg = 90.1 }},
		"latitude NaN":         {"job.site.latitude_deg", func(j *framesv1.Job) { j.Site.LatitudeDeg = math.NaN() }},
		"longitude":            {"job.site.longitude_deg", func(j *framesv1.Job) { j.Site.LongitudeDeg = -181 }},
		"time zone":            {"job.site.time_zone", func(j *framesv1.Job) { j.Site.TimeZone = "Middle/Earth" }},
		"local time zone":      {"job.site.time_zone", func(j *framesv1.Job) { j.Site.TimeZone = "Local" }},
		"path as time zone":    {"job.site.time_zone", func(j *framesv1.Job) { j.Site.TimeZone = "../../etc/passwd" }},
		"deck height":          {"job.site.deck_height_mm", func(j *framesv1.Job) { j.Site.DeckHeightMm = math.Inf(1) }},
		"two corners":          {"job.site.deck_outline", func(j *framesv1.Job) { j.Site.DeckOutline = j.Site.DeckOutline[:2] }},
		"clockwise":            {"job.site.deck_outline", func(j *framesv1.Job) { slices.Reverse(j.Site.DeckOutline) }},
		"corner NaN":           {"job.site.deck_outline[1].y_mm", func(j *framesv1.Job) { j.Site.DeckOutline[1].YMm = math.NaN() }},
		"corner far away":      {"job.site.deck_outline[1].x_mm", func(j *framesv1.Job) { j.Site.DeckOutline[1].XMm = 1e9 }},
		"too many corners":     {"job.site.deck_outline", func(j *framesv1.Job) { j.Site.DeckOutline = make([]*framev1.Point, 5000) }},
		"set-up twice":         {"job.site.crane_set_ups[1].id", func(j *framesv1.Job) { j.Site.CraneSetUps = append(j.Site.CraneSetUps, j.Site.CraneSetUps[0]) }},
		"set-up without id":    {"job.site.crane_set_ups[0].id", func(j *framesv1.Job) { j.Site.CraneSetUps[0].Id = "" }},
		"set-up with a slash":  {"job.site.crane_set_ups[0].id", func(j *framesv1.Job) { j.Site.CraneSetUps[0].Id = "a/b" }},
		"set-up nowhere":       {"job.site.crane_set_ups[0].center", func(j *framesv1.Job) { j.Site.CraneSetUps[0].Center = nil }},
		"negative boom":        {"job.site.crane_set_ups[0].boom_length_mm", func(j *framesv1.Job) { j.Site.CraneSetUps[0].BoomLengthMm = -1 }},
		"huge boom":            {"job.site.crane_set_ups[0].boom_length_mm", func(j *framesv1.Job) { j.Site.CraneSetUps[0].BoomLengthMm = 1e12 }},
		"staging use":          {"job.site.staging_zones[0].use", func(j *framesv1.Job) { j.Site.StagingZones[0].Use = 9 }},
		"staging nowhere":      {"job.site.staging_zones[0].center", func(j *framesv1.Job) { j.Site.StagingZones[0].Center = nil }},
		"no-go without area":   {"job.site.no_go_zones[0].outline", func(j *framesv1.Job) { j.Site.NoGoZones[0].Outline = nil }},
		"negative voltage":     {"job.site.overhead_lines[0].voltage_v", func(j *framesv1.Job) { j.Site.OverheadLines[0].VoltageV = -1 }},
		"line of one point":    {"job.site.overhead_lines[0].path", func(j *framesv1.Job) { j.Site.OverheadLines[0].Path = j.Site.OverheadLines[0].Path[:1] }},
		"line with too many":   {"job.site.overhead_lines[0].path", func(j *framesv1.Job) { j.Site.OverheadLines[0].Path = make([]*framev1.Point, 5000) }},
		"line through nowhere": {"job.site.overhead_lines[0].path[1].z_mm", func(j *framesv1.Job) { j.Site.OverheadLines[0].Path[1].ZMm = math.Inf(-1) }},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			j := &framesv1.Job{Title: "Barn", Site: goodSite()}
			test.change(j)
			_, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: j})
			wantFault(t, err, fault.ReasonInvalid, test.field)
		})
	}
	_, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{})
	wantFault(t, err, fault.ReasonInvalid, "job")
	bad := &framesv1.Job{Site: goodSite()}
	bad.Site.LatitudeDeg, bad.Site.CraneSetUps[0].BoomLengthMm = 100, 0
	_, err = b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: bad})
	if f := wantFault(t, err, fault.ReasonInvalid, "job.title"); len(f.Fields) != 3 {
		t.Errorf("%d fields are named, want all three wrong ones: %v", len(f.Fields), f.Fields)
	}
}

// A site with more faults than an answer names says how many more there are.
func TestManyBadFields(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	j := &framesv1.Job{Title: "Barn", Site: &framesv1.Site{}}
	for range 300 {
		j.Site.DeckOutline = append(j.Site.DeckOutline, point(math.NaN(), 0, 0))
	}
	_, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: j})
	f := wantFault(t, err, fault.ReasonInvalid, "job.site.deck_outline[199].x_mm")
	if len(f.Fields) != 201 || !strings.Contains(f.Fields[200].Message, "100 more") {
		t.Errorf("%d fields, the last %v; want 200 and one that says 100 more", len(f.Fields), f.Fields[len(f.Fields)-1])
	}
}

func TestListJobs(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		var want []string
		for i := range 7 {
			want = append(want, b.job(fmt.Sprintf("Job %d", i)).Id)
		}
		slices.Reverse(want)
		var got []string
		req := &framesv1.ListJobsRequest{PageSize: 3}
		for {
			page, err := b.client.ListJobs(b.as("alder", identity.Viewer), req)
			if err != nil {
				t.Fatal(err)
			}
			for _, j := range page.Jobs {
				got = append(got, j.Id)
			}
			if page.NextPageToken == "" {
				break
			}
			req.PageToken = page.NextPageToken
		}
		slices.Sort(want)
		sorted := slices.Sorted(slices.Values(got))
		if diff := cmp.Diff(want, sorted); diff != "" {
			t.Errorf("jobs over three pages (-want +got):\n%s", diff)
		}
		_, err := b.client.ListJobs(b.as("birch", identity.Viewer), &framesv1.ListJobsRequest{PageToken: req.PageToken})
		wantFault(t, err, fault.ReasonPageToken, "page_token")
		_, err = b.client.ListFrames(b.lead(), &framesv1.ListFramesRequest{Job: got[0], PageToken: req.PageToken})
		wantFault(t, err, fault.ReasonPageToken, "page_token")
		_, err = b.client.ListJobs(b.lead(), &framesv1.ListJobsRequest{PageSize: -1})
		wantFault(t, err, fault.ReasonInvalid, "page_size")
	})
}

// Tokens whose checksum is right and whose content nobody here wrote. PostgreSQL takes neither a zero byte
// nor broken UTF-8 as text.
func TestForgedPageTokens(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		b := newBench(t, url)
		job := b.job("Shed").Id
		for _, cursor := range [][]string{{"5", "a\x00"}, {"5", "a\xff"}, {"5", ""}, {"5"}, {"soon", job}, {"5", job, job}} {
			_, err := b.client.ListJobs(b.lead(), &framesv1.ListJobsRequest{PageToken: page.Encode("jobs", "alder", cursor...)})
			wantFault(t, err, fault.ReasonPageToken, "page_token")
		}
		for _, cursor := range [][]string{{"five"}, {"5", "4"}} {
			token := page.Encode("frames", []string{"alder", job}, cursor...)
			_, err := b.client.ListFrames(b.lead(), &framesv1.ListFramesRequest{Job: job, PageToken: token})
			wantFault(t, err, fault.ReasonPageToken, "page_token")
		}
	})
}

// As many jobs as a page shows, each with the largest site that is taken, fit into a message of 32 MiB; a larger
// site is refused.
func TestLargeSites(t *testing.T) {
	t.Parallel()
	b := newBench(t, storetest.SQLite(t))
	job := &framesv1.Job{Title: "Barn", Site: goodSite()}
	outline := make([]*framev1.Point, 900)
	for i := range outline {
		turn := 2 * math.Pi * float64(i) / float64(len(outline))
		outline[i] = point(1e5*math.Cos(turn), 1e5*math.Sin(turn), 1)
	}
	for i := 0; ; i++ {
		zone := &framesv1.NoGoZone{Id: fmt.Sprint("zone ", i), Outline: outline}
		job.Site.NoGoZones = append(job.Site.NoGoZones, zone)
		if proto.Size(job.Site) > 128<<10 {
			break
		}
	}
	_, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: job})
	wantFault(t, err, fault.ReasonInvalid, "job.site")
	job.Site.NoGoZones = job.Site.NoGoZones[:len(job.Site.NoGoZones)-1]
	for range 2 {
		if _, err := b.client.CreateJob(b.lead(), &framesv1.CreateJobRequest{Job: job}); err != nil {
			t.Fatal(err)
		}
	}
	page, err := b.client.ListJobs(b.lead(), &framesv1.ListJobsRequest{})
	if err != nil || len(page.GetJobs()) != 2 {
		t.Fatalf("listed %d: %v", len(page.GetJobs()), err)
	}
	if whole := 100 * proto.Size(page); whole > 32<<20 {
		t.Errorf("a page of 200 such jobs takes %d bytes", whole)
	}
}
