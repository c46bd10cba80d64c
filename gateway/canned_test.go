package gateway_test

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

type emptyMessage = emptypb.Empty

// drawnSVG is a drawing as the frames service makes them: with a style of its own and a link for
// every stick.
const drawnSVG = `<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="group" viewBox="0 0 240 150" width="100%">
<title>Bent 2</title>
<style>
svg.drawing:root{color-scheme:light dark}
.drawing{font-family:system-ui,sans-serif}
.drawing polygon{fill:var(--paper,Canvas);stroke:currentColor;stroke-width:.6}
.drawing text{fill:currentColor;text-anchor:middle}
</style>
<a href="#S001"><polygon points="30,140 40,140 40,60 30,60"/><text x="35" y="100" font-size="6">S001</text></a>
<a href="#S002"><polygon points="200,140 210,140 210,60 200,60"/><text x="205" y="100" font-size="6">S002</text></a>
<a href="#S003"><polygon points="30,60 210,60 210,50 30,50"/><text x="120" y="56" font-size="6">S003</text></a>
<a href="#S004"><polygon points="25,55 120,8 120,16 30,60"/></a><a href="#S005"><polygon points="215,55 120,8 120,16 210,60"/></a>
</svg>
`

func (b *backend) job(id string) (*framesv1.Job, error) {
	if id != jobID && id != "job-empty" {
		return nil, fault.New(fault.NotFound, "JOB_NOT_FOUND", "There is no job %q in your company.", id).GRPCStatus().Err()
	}
	job := &framesv1.Job{
		Id: id, Title: "Cabin at Fennel Creek", Customer: "the Ostrander family", Stage: framesv1.JobStage_JOB_STAGE_RAISING,
		Site:           &framesv1.Site{Address: "14 Quarry Lane, Fennel Creek", TimeZone: "America/New_York"},
		LatestRevision: b.latest, Etag: "e-7", Crane: "crane-30",
		CreateTime: timestamppb.New(now.AddDate(0, -2, 0)),
	}
	if id == "job-empty" {
		job.LatestRevision, job.Title, job.Stage = 0, "Barn on Tanner Hill", framesv1.JobStage_JOB_STAGE_ESTIMATING
	}
	return job, nil
}

func (b *backend) from(job, revision string) *sheetv1.ComputedFrom {
	n, err := strconv.Atoi(revision)
	if err != nil {
		n = int(b.latest)
	}
	return &sheetv1.ComputedFrom{
		Job: job, Revision: int32(n), LatestRevision: b.latest, Engine: "1",
		Digest: "5f2c9e0b7a1d44e3b0c8a9f1d2e3c4b5a697887766554433221100ffeeddccbb",
	}
}

func (b *backend) GetJob(_ context.Context, in *framesv1.GetJobRequest) (*framesv1.Job, error) {
	return b.job(in.GetJob())
}

func (b *backend) ListJobs(context.Context, *framesv1.ListJobsRequest) (*framesv1.ListJobsResponse, error) {
	cabin, _ := b.job(jobID)
	barn, _ := b.job("job-empty")
	return &framesv1.ListJobsResponse{Jobs: []*framesv1.Job{cabin, barn}}, nil
}

func (b *backend) CreateJob(_ context.Context, in *framesv1.CreateJobRequest) (*framesv1.Job, error) {
	return &framesv1.Job{Id: "job-b", Title: in.GetJob().GetTitle(), Etag: "e-1"}, nil
}

func (b *backend) UpdateJob(_ context.Context, in *framesv1.UpdateJobRequest) (*framesv1.Job, error) {
	return in.GetJob(), nil
}

func (b *backend) IssueFrame(_ context.Context, in *framesv1.IssueFrameRequest) (*framesv1.FrameRevision, error) {
	return &framesv1.FrameRevision{Job: in.GetJob(), Revision: 4}, nil
}

func (b *backend) DrawFrame(_ context.Context, in *framesv1.DrawFrameRequest) (*sheetv1.Document, error) {
	if _, err := b.job(in.GetJob()); err != nil {
		return nil, err
	}
	return &sheetv1.Document{MediaType: "image/svg+xml", Filename: "bent:2.svg", Content: []byte(drawnSVG)}, nil
}

func (b *backend) GetLayout(_ context.Context, in *framesv1.GetLayoutRequest) (*framesv1.Layout, error) {
	layout := &framesv1.Layout{ComputedFrom: b.from(in.GetJob(), in.GetRevision())}
	for bent := 1; bent <= 3; bent++ {
		for wall := range 2 {
			layout.Posts = append(layout.Posts, &framesv1.PostFootprint{
				Mark: fmt.Sprintf("P%d%c", bent, 'A'+wall), BentLine: strconv.Itoa(bent), WallLine: string(rune('A' + wall)),
				RunningXMm: float64(bent-1) * 3657.6, RunningYMm: float64(wall) * 5892.8,
			})
		}
	}
	layout.Diagonals = []*framesv1.Diagonal{
		{From: "P1A", To: "P3B", LengthMm: 9395.3, Partner: "P1B P3A"},
		{From: "P1B", To: "P3A", LengthMm: 9395.3, Partner: "P1A P3B"},
	}
	return layout, nil
}

func (b *backend) RenderLayout(_ context.Context, in *framesv1.RenderLayoutRequest) (*sheetv1.Document, error) {
	if in.GetFormat() == "svg" {
		return &sheetv1.Document{MediaType: "image/svg+xml", Filename: "layout.svg", Content: []byte(drawnSVG)}, nil
	}
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "layout.csv", Content: []byte("mark\nP1A\n")}, nil
}

func (b *backend) GetTakeoff(_ context.Context, in *takeoffv1.GetTakeoffRequest) (*takeoffv1.Takeoff, error) {
	takeoff := &takeoffv1.Takeoff{ComputedFrom: b.from(in.GetJob(), in.GetRevision()), Total: &takeoffv1.Group{Label: "total"}}
	for i := range b.sticks {
		stick := &takeoffv1.Stick{
			Mark: fmt.Sprintf("S%03d", i+1), Role: framev1.Role(i%8 + 1), Assembly: fmt.Sprintf("B%d", i%3+1),
			Species: "white oak", Grade: "No. 1", WidthMm: 190.5, DepthMm: 241.3, NominalWidthIn: 8, NominalDepthIn: 10,
			ShoulderLengthMm: 2743.2 + float64(i), OverallLengthMm: 2946.4 + float64(i), BoardFeet: 64.4,
			VolumeM3: 0.13, DensityKgPerM3: 1000, MassKg: 131.5,
		}
		takeoff.Sticks = append(takeoff.Sticks, stick)
		takeoff.Total.Count++
		takeoff.Total.MassKg += stick.GetMassKg()
		takeoff.Total.BoardFeet += stick.GetBoardFeet()
		takeoff.Total.OverallLengthMm += stick.GetOverallLengthMm()
	}
	takeoff.BySection = []*takeoffv1.Group{{Label: "8 × 10", Count: takeoff.GetTotal().GetCount(), MassKg: takeoff.GetTotal().GetMassKg()}}
	takeoff.ByAssembly = []*takeoffv1.Group{{Label: "B1", Count: 4}, {Label: "B2", Count: 4}, {Label: "loose", Count: 4}}
	takeoff.Pegs = []*takeoffv1.PegLine{{DiameterMm: 25.4, LengthMm: 254, Wood: "white oak", Count: 48, MassKg: 4.6}}
	takeoff.Basis = []*sheetv1.Basis{{
		Quantity: "mass", Formula: "m = V ρ", Source: "the frame's own moisture content", Status: sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED, Inputs: []string{"V 0.13 m³", "ρ 1000 kg/m³"},
	}}
	return takeoff, nil
}

func (b *backend) RenderTakeoff(_ context.Context, in *takeoffv1.RenderTakeoffRequest) (*sheetv1.Document, error) {
	if in.GetFormat() == "html" {
		return &sheetv1.Document{MediaType: "text/html; charset=utf-8", Filename: "takeoff.html", Content: []byte("<table></table>")}, nil
	}
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "takeoff.csv", Content: []byte("mark\nS001\n")}, nil
}

func (b *backend) GetPicks(_ context.Context, in *riggingv1.GetPicksRequest) (*riggingv1.Picks, error) {
	picks := &riggingv1.Picks{
		ComputedFrom: b.from(in.GetJob(), in.GetRevision()), CraneSetUp: "south side",
		Crane:    &riggingv1.Crane{Id: "crane-30", Name: "Thirty-ton crane", ChartNote: "chart C-30, outriggers full", ChartIsInvented: true},
		Cautions: []string{"The chart is made up for demonstration; lift only by the chart in the cab."},
	}
	for i := range 9 {
		pick := &riggingv1.Pick{
			Id: fmt.Sprintf("B%d", i+1), Assembly: true, MassKg: 1840, HookLoadKg: 2310, LargestRadiusMm: 11277.6, ShareOfRated: 0.713, Accepted: true,
			ChartRow: &riggingv1.ChartRow{BoomLengthMm: 24384, RadiusMm: 12192, RatedKg: 3240},
			Points: []*riggingv1.PickPoint{
				{Mark: "S004", Sling: "sling-12", Hitch: "choker", AngleFromLevelDeg: 62.1, TensionN: 10213, FromTipMm: 1219.2},
				{Mark: "S005", Sling: "sling-12", Hitch: "choker", AngleFromLevelDeg: 62.1, TensionN: 10213, FromTipMm: 1219.2},
			},
			Limits: []*riggingv1.Limit{{Name: "crane at the largest radius", Share: 0.713}},
		}
		if i == 4 {
			pick.Accepted, pick.Limits[0].Share, pick.ShareOfRated = false, 1.08, 1.08
			pick.Refusals = []string{"B5 is 8 % over the chart at 37 ft; set the crane nearer or pick it in two parts."}
		}
		picks.Picks = append(picks.Picks, pick)
	}
	return picks, nil
}

func (b *backend) RenderPicks(context.Context, *riggingv1.RenderPicksRequest) (*sheetv1.Document, error) {
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "picks.csv", Content: []byte("pick\n")}, nil
}

func (b *backend) GetRaising(_ context.Context, in *sequencingv1.GetRaisingRequest) (*sequencingv1.Raising, error) {
	raising := &sequencingv1.Raising{
		ComputedFrom: b.from(in.GetJob(), in.GetRevision()), CraneHours: 9.5, TotalHours: 21.2,
		StandNote: "The braces follow a simple rule and are not checked for standing.",
	}
	for n := range int32(14) {
		move := &sequencingv1.Move{
			Number: n + 1, Marks: []string{fmt.Sprintf("S%03d", n+1)}, Machine: sequencingv1.Machine_MACHINE_HANDS, MassKg: 61, PersonCount: 3, Minutes: 12,
			Instruction: fmt.Sprintf("Slide S%03d home into P%d and peg it.", n+1, n%3+1),
		}
		if n < 3 {
			move.Assembly, move.Machine, move.PersonCount = fmt.Sprintf("B%d", n+1), sequencingv1.Machine_MACHINE_CRANE, 0
			move.Marks = []string{"S001", "S002", "S003", "S004", "S005"}
			move.Instruction = fmt.Sprintf("Stand up bent B%d about its feet, start the girts' tenons, and bring it plumb. Set 2 temporary braces before letting go; their rule is simple and not checked for standing.", n+1)
			for side, mark := range []string{"S001", "S002"} {
				move.Braces = append(move.Braces, &sequencingv1.TemporaryBrace{
					Mark: mark, Rule: "One brace at each post of what is joined to what stands, 53.1° from the deck; not checked for standing.",
					// Three, four, five: 6 ft out, 8 ft up, 10 ft long.
					Foot: &framev1.Point{XMm: 1828.8, YMm: float64(side) * 3657.6}, Top: &framev1.Point{YMm: float64(side) * 3657.6, ZMm: 2438.4},
				})
			}
		}
		if n > 0 {
			move.After = []*sequencingv1.Before{{Move: n, Joints: []string{"J12"}, Reason: "the tenon of J12 closes toward a stick that must stand first."}}
		}
		raising.Moves = append(raising.Moves, move)
	}
	return raising, nil
}

func (b *backend) RenderRaising(context.Context, *sequencingv1.RenderRaisingRequest) (*sheetv1.Document, error) {
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "raising.csv", Content: []byte("move\n")}, nil
}

func (b *backend) DrawMove(context.Context, *sequencingv1.DrawMoveRequest) (*sheetv1.Document, error) {
	return &sheetv1.Document{MediaType: "image/svg+xml", Filename: "move.svg", Content: []byte(drawnSVG)}, nil
}

func (b *backend) GetProgress(_ context.Context, in *sitelogv1.GetProgressRequest) (*sitelogv1.Progress, error) {
	if in.GetJob() == "job-empty" {
		return &sitelogv1.Progress{}, nil
	}
	return &sitelogv1.Progress{
		ComputedFrom: b.from(in.GetJob(), "latest"), PieceCount: 62, ArrivedCount: 60, PlacedCount: 10, BentCount: 3, AssembledCount: 3, RaisedCount: 1,
		MoveCount: 14, MovesDoneCount: 1, NextMove: 2, Damaged: []string{"S044"}, Missing: []string{"S061", "S062"},
		Delays: []*sitelogv1.Delay{{Cause: sitelogv1.DelayCause_DELAY_CAUSE_WEATHER, Hours: 2.5}},
	}, nil
}

func (b *backend) ListEntries(_ context.Context, in *sitelogv1.ListEntriesRequest) (*sitelogv1.ListEntriesResponse, error) {
	if _, err := b.job(in.GetJob()); err != nil {
		return nil, err
	}
	if in.GetJob() == "job-empty" {
		return &sitelogv1.ListEntriesResponse{}, nil
	}
	at := func(minutes int) *timestamppb.Timestamp {
		return timestamppb.New(now.Add(-time.Duration(minutes) * time.Minute))
	}
	return &sitelogv1.ListEntriesResponse{Entries: []*sitelogv1.Entry{
		{Id: "e4", Kind: sitelogv1.EntryKind_ENTRY_KIND_MOVE_DONE, Move: 1, OccurTime: at(12), Author: "p-1", Position: 4},
		{Id: "e3", Kind: sitelogv1.EntryKind_ENTRY_KIND_DELAY, Cause: sitelogv1.DelayCause_DELAY_CAUSE_WEATHER, DelayMinutes: 150, Note: "Gusts over the ridge; hook down.", OccurTime: at(180), Author: "p-3", Position: 3},
		{Id: "e2", Kind: sitelogv1.EntryKind_ENTRY_KIND_PIECES_DAMAGED, Marks: []string{"S044"}, Note: "Split at the peg hole <tenon end>", OccurTime: at(300), Author: "p-3", Position: 2},
		{Id: "e1", Kind: sitelogv1.EntryKind_ENTRY_KIND_PIECES_ARRIVED, Marks: []string{"S001", "S002", "S003"}, OccurTime: at(400), Author: "p-3", Position: 1},
	}, NextPageToken: "older"}, nil
}

func (b *backend) PostEntries(_ context.Context, in *sitelogv1.PostEntriesRequest) (*sitelogv1.PostEntriesResponse, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	answer := &sitelogv1.PostEntriesResponse{}
	for _, entry := range in.GetEntries() {
		outcome := &sitelogv1.Outcome{Id: entry.GetId(), Kind: sitelogv1.OutcomeKind_OUTCOME_KIND_ACCEPTED, Position: 5}
		if b.entries[entry.GetId()] != nil {
			outcome.Kind = sitelogv1.OutcomeKind_OUTCOME_KIND_REPEATED
		}
		if entry.GetMove() > 14 {
			outcome = &sitelogv1.Outcome{Id: entry.GetId(), Kind: sitelogv1.OutcomeKind_OUTCOME_KIND_REFUSED, Field: "move", Message: "The raising order has 14 moves; give one of them."}
		} else {
			b.entries[entry.GetId()] = entry
		}
		answer.Outcomes = append(answer.Outcomes, outcome)
	}
	return answer, nil
}

func (b *backend) WatchEntries(in *sitelogv1.WatchEntriesRequest, stream grpc.ServerStreamingServer[sitelogv1.WatchEntriesResponse]) error {
	if _, err := b.job(in.GetJob()); err != nil {
		return err
	}
	if err := stream.SendHeader(metadata.MD{}); err != nil {
		return err
	}
	for _, entry := range b.watch {
		if entry.GetPosition() <= in.GetAfterPosition() {
			continue
		}
		if err := stream.Send(&sitelogv1.WatchEntriesResponse{Entry: entry}); err != nil {
			return err
		}
	}
	if b.ends {
		return nil
	}
	<-stream.Context().Done()
	return stream.Context().Err()
}

func (b *backend) PutStandRules(_ context.Context, in *sequencingv1.PutStandRulesRequest) (*sequencingv1.StandRules, error) {
	return in.GetRules(), nil
}

func (b *backend) PutBraceStock(_ context.Context, in *sequencingv1.PutBraceStockRequest) (*sequencingv1.BraceStock, error) {
	return in.GetStock(), nil
}

func (b *backend) CheckStand(_ context.Context, in *sequencingv1.CheckStandRequest) (*sequencingv1.StandCheck, error) {
	return &sequencingv1.StandCheck{ComputedFrom: b.from(in.GetJob(), in.GetRevision()), Standing: in.GetStanding(), Verdict: standVerdict(12, 0.5)}, nil
}

func (b *backend) CheckRaising(ctx context.Context, in *sequencingv1.CheckRaisingRequest) (*sequencingv1.RaisingCheck, error) {
	return b.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: in.GetJob(), Revision: in.GetRevision()})
}

func (b *backend) RenderStanding(_ context.Context, in *sequencingv1.RenderStandingRequest) (*sheetv1.Document, error) {
	if in.GetFormat() == "html" {
		return &sheetv1.Document{MediaType: "text/html; charset=utf-8", Filename: "standing.html", Content: []byte("<table></table>")}, nil
	}
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "standing.csv", Content: []byte("move\n")}, nil
}

func (b *backend) RenderBraces(_ context.Context, in *sequencingv1.RenderBracesRequest) (*sheetv1.Document, error) {
	if in.GetFormat() == "html" {
		return &sheetv1.Document{MediaType: "text/html; charset=utf-8", Filename: "braces.html", Content: []byte("<table></table>")}, nil
	}
	return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: "braces.csv", Content: []byte("brace\n")}, nil
}
