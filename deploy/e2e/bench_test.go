package e2e_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/pikepole/pikepole/deploy/testkit"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// wholeJobWithin is how long the plan of a job of some 500 sticks may take on one core.
const wholeJobWithin = 300 * time.Millisecond

// BenchmarkWholeJob500 plans a whole job: takeoff, every pick and the raising order of a frame
// of some 500 sticks, through the services, with the frame fetched and parsed and nothing in
// any cache: each round issues a frame that was never seen. Run it with -cpu 1.
func BenchmarkWholeJob500(b *testing.B) {
	s := testkit.Start(b)
	frames := framesv1.NewFramesServiceClient(s.Conn(b, "frames", s.Keys["lead"]))
	takeoffs := takeoffv1.NewTakeoffServiceClient(s.Conn(b, "takeoff", s.Keys["lead"]))
	picks := riggingv1.NewRiggingServiceClient(s.Conn(b, "rigging", s.Keys["lead"]))
	orders := sequencingv1.NewSequencingServiceClient(s.Conn(b, "sequencing", s.Keys["lead"]))
	barn, err := frames.GetJob(b.Context(), &framesv1.GetJobRequest{Job: s.Jobs["barn"]})
	if err != nil {
		b.Fatal(err)
	}
	job, err := frames.CreateJob(b.Context(), &framesv1.CreateJobRequest{Job: &framesv1.Job{Title: "Long hall", Site: barn.GetSite(), Crane: barn.GetCrane()}})
	if err != nil {
		b.Fatal(err)
	}
	rough := roughFrame()
	rough.BentCount, rough.BaySpacingsMm = longHall, []float64{3048}
	frame, err := frames.RoughOutFrame(b.Context(), &framesv1.RoughOutFrameRequest{Rough: rough})
	if err != nil {
		b.Fatal(err)
	}
	sticks := len(frame.GetTimbers())
	if sticks < 480 || sticks > 540 {
		b.Fatalf("the frame has %d sticks, not some 500", sticks)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for n := range b.N {
		b.StopTimer()
		frame.Title = fmt.Sprint("Long hall ", n)
		if _, err := frames.IssueFrame(b.Context(), &framesv1.IssueFrameRequest{Job: job.GetId(), Frame: frame, ParentRevision: int32(n)}); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		if _, err := takeoffs.GetTakeoff(b.Context(), &takeoffv1.GetTakeoffRequest{Job: job.GetId(), Revision: "latest"}); err != nil {
			b.Fatal(err)
		}
		if _, err := picks.GetPicks(b.Context(), &riggingv1.GetPicksRequest{Job: job.GetId(), Revision: "latest"}); err != nil {
			b.Fatal(err)
		}
		if _, err := orders.GetRaising(b.Context(), &sequencingv1.GetRaisingRequest{Job: job.GetId(), Revision: "latest"}); err != nil {
			b.Fatal(err)
		}
	}
	b.StopTimer()
	b.ReportMetric(float64(sticks), "sticks")
	// A single round says little; the test command runs several.
	if mean := b.Elapsed() / time.Duration(b.N); b.N > 1 && mean > wholeJobWithin {
		b.Errorf("a whole job takes %s, more than %s", mean, wholeJobWithin)
	}
}

// longHall is a number of bents that makes some 500 sticks.
const longHall = 25
