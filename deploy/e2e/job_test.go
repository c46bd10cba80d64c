package e2e_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/pikepole/pikepole/deploy/testkit"
	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// plan is what a whole job comes to, for comparing the shapes that the suite runs in.
type plan struct {
	Frame   *framev1.Frame
	Takeoff *takeoffv1.Takeoff
	Picks   *riggingv1.Picks
	Raising *sequencingv1.Raising
	Layout  *framesv1.Layout
	// Bent is the first bent on its own, Braced with the braces that Safe proposes, and Standing the whole raising.
	Bent, Braced *sequencingv1.StandCheck
	Safe         *sequencingv1.MakeSafeAnswer
	Standing     *sequencingv1.RaisingCheck
}

// TestWholeJob does the main job from the first rough frame to the progress, in one process
// on SQLite and as seven processes on PostgreSQL, with the same assertions and the same results.
func TestWholeJob(t *testing.T) {
	t.Parallel()
	plans := map[string]*plan{}
	t.Run("one process on SQLite", func(t *testing.T) { plans["one"] = wholeJob(t, testkit.Start(t)) })
	t.Run("seven processes on PostgreSQL", func(t *testing.T) {
		testkit.Need(t, testkit.PostgresEnv, "postgres")
		plans["seven"] = wholeJob(t, testkit.StartProcesses(t, testkit.Build(t)))
	})
	if plans["one"] == nil || plans["seven"] == nil {
		return
	}
	ignored := protocmp.IgnoreFields(&sheetv1.ComputedFrom{}, "job")
	etag := protocmp.IgnoreFields(&riggingv1.Crane{}, "etag")
	if diff := cmp.Diff(plans["one"], plans["seven"], protocmp.Transform(), ignored, etag); diff != "" {
		t.Errorf("the two shapes differ (-one process +seven):\n%s", diff)
	}
}

func wholeJob(t *testing.T, s *testkit.Suite) *plan {
	lead := client{s.URL, s.Keys["lead"]}
	var pattern framesv1.Job
	lead.get(t, "/v1/jobs/"+s.Jobs["cabin"], &pattern)
	job := createJob(t, lead, &pattern)
	p := &plan{}
	p.Frame = issue(t, lead, job)
	at := "/v1/jobs/" + job + "/frames/latest"
	p.Takeoff, p.Picks, p.Raising, p.Layout = &takeoffv1.Takeoff{}, &riggingv1.Picks{}, &sequencingv1.Raising{}, &framesv1.Layout{}
	lead.get(t, at+"/takeoff", p.Takeoff)
	lead.get(t, at+"/picks", p.Picks)
	lead.get(t, at+"/raising", p.Raising)
	lead.get(t, at+"/layout", p.Layout)
	checkTakeoff(t, p)
	checkPicks(t, p)
	checkRaising(t, p)
	stands(t, lead, at, p)
	drawings(t, lead, at, p.Frame)
	siteLog(t, s, job, p)
	strangers(t, s, job)
	return p
}

// createJob makes a job with the site of another, twice with the same key: the repeat gives
// the first answer.
func createJob(t *testing.T, lead client, pattern *framesv1.Job) string {
	t.Helper()
	body := toJSON(t, map[string]any{"job": raw(t, &framesv1.Job{
		Title: "Summer kitchen", Customer: "N. Underhill", Site: pattern.GetSite(), Crane: pattern.GetCrane(),
	})})
	var jobs [2]framesv1.Job
	for i := range jobs {
		a := lead.do(t, http.MethodPost, "/v1/jobs", body, "Idempotency-Key", "whole-job")
		lead.read(t, a, "/v1/jobs", http.StatusCreated, &jobs[i])
		if want := "/v1/jobs/" + jobs[i].GetId(); a.header.Get("Location") != want {
			t.Errorf("a new job's Location is %q, not %q", a.header.Get("Location"), want)
		}
	}
	if jobs[0].GetId() == "" || jobs[0].GetId() != jobs[1].GetId() {
		t.Fatalf("the same request made %q and %q", jobs[0].GetId(), jobs[1].GetId())
	}
	other := toJSON(t, map[string]any{"job": map[string]any{"title": "Another"}})
	refused(t, lead.do(t, http.MethodPost, "/v1/jobs", other, "Idempotency-Key", "whole-job"), http.StatusUnprocessableEntity)
	return jobs[0].GetId()
}

// roughFrame has four bents, so that the test does not only see a frame of the demonstration.
func roughFrame() *framesv1.RoughFrame {
	return &framesv1.RoughFrame{
		Title: "Summer kitchen", BentCount: 4, BaySpacingsMm: []float64{3048, 3658, 3048}, SpanMm: 5486, PostHeightMm: 2438,
		RoofPitchDeg: 38, PurlinsPerSlope: 2, BraceLegMm: 711, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 45, Planed: true,
	}
}

// issue roughs a frame out, checks it, and issues it as the job's first revision.
func issue(t *testing.T, lead client, job string) *framev1.Frame {
	t.Helper()
	frame := &framev1.Frame{}
	lead.send(t, http.MethodPost, "/v1/frames:roughOut", map[string]any{"rough": raw(t, roughFrame())}, http.StatusOK, frame)
	var checked framesv1.CheckFrameResponse
	lead.send(t, http.MethodPost, "/v1/frames:check", map[string]any{"frame": raw(t, frame)}, http.StatusOK, &checked)
	if len(checked.GetFaults()) > 0 {
		t.Fatalf("a rough frame has faults: %v", checked.GetFaults())
	}
	path := "/v1/jobs/" + job + "/frames"
	var issued framesv1.FrameRevision
	a := lead.send(t, http.MethodPost, path, map[string]any{"frame": raw(t, frame), "parentRevision": 0, "note": "first"}, http.StatusCreated, &issued)
	if issued.GetRevision() != 1 || issued.GetDigest() != checked.GetDigest() || issued.GetDigest() == "" {
		t.Errorf("issued revision %d with digest %q; checked was %q", issued.GetRevision(), issued.GetDigest(), checked.GetDigest())
	}
	if want := path + "/1"; a.header.Get("Location") != want {
		t.Errorf("Location is %q, not %q", a.header.Get("Location"), want)
	}
	// Whoever did not see the first revision must not put another over it.
	refused(t, lead.do(t, http.MethodPost, path, toJSON(t, map[string]any{"frame": raw(t, frame)})), http.StatusConflict)
	var listed framesv1.ListFramesResponse
	lead.get(t, path, &listed)
	if len(listed.GetFrames()) != 1 || listed.GetFrames()[0].GetFrame() != nil {
		t.Errorf("listed are %d revisions; want one, without its frame", len(listed.GetFrames()))
	}
	for _, revision := range []string{"1", "latest"} {
		var got framesv1.FrameRevision
		lead.get(t, path+"/"+revision, &got)
		if diff := cmp.Diff(frame, got.GetFrame(), protocmp.Transform()); diff != "" {
			t.Errorf("revision %s (-issued +read):\n%s", revision, diff)
		}
	}
	return frame
}

func checkTakeoff(t *testing.T, p *plan) {
	t.Helper()
	var marks []string
	mass := 0.0
	for _, s := range p.Takeoff.GetSticks() {
		marks = append(marks, s.GetMark())
		mass += s.GetMassKg()
		if s.GetMassKg() <= 0 || s.GetOverallLengthMm() < s.GetShoulderLengthMm() {
			t.Errorf("stick %s: %v kg, %v mm over all, %v mm between shoulders", s.GetMark(), s.GetMassKg(), s.GetOverallLengthMm(), s.GetShoulderLengthMm())
		}
	}
	if !slices.IsSorted(marks) || !slices.Equal(marks, frameMarks(p.Frame)) {
		t.Errorf("the takeoff lists %v, not the sticks of the frame by mark", marks)
	}
	if total := p.Takeoff.GetTotal(); int(total.GetCount()) != len(marks) || math.Abs(total.GetMassKg()-mass) > 1e-6 {
		t.Errorf("the total is %v; the sticks are %d with %v kg", total, len(marks), mass)
	}
}

func frameMarks(f *framev1.Frame) []string {
	var marks []string
	for _, timber := range f.GetTimbers() {
		marks = append(marks, timber.GetMark())
	}
	slices.Sort(marks)
	return marks
}

// checkPicks wants every stick in exactly one pick, and an answer for each.
func checkPicks(t *testing.T, p *plan) {
	t.Helper()
	var marks []string
	for _, pick := range p.Picks.GetPicks() {
		marks = append(marks, pick.GetMarks()...)
		if pick.GetAccepted() != (len(pick.GetRefusals()) == 0) {
			t.Errorf("pick %s: accepted %v with refusals %v", pick.GetId(), pick.GetAccepted(), pick.GetRefusals())
		}
		if !pick.GetAccepted() {
			t.Errorf("pick %s is refused: %v", pick.GetId(), pick.GetRefusals())
			continue
		}
		if pick.GetHookLoadKg() <= pick.GetMassKg() || pick.GetShareOfRated() <= 0 || pick.GetShareOfRated() > 1 || len(pick.GetLimits()) == 0 {
			t.Errorf("pick %s: hook load %v kg of %v kg, share %v, limits %v", pick.GetId(), pick.GetHookLoadKg(), pick.GetMassKg(), pick.GetShareOfRated(), pick.GetLimits())
		}
	}
	slices.Sort(marks)
	if !slices.Equal(marks, frameMarks(p.Frame)) {
		t.Errorf("the picks lift %v, not every stick once", marks)
	}
	if len(p.Picks.GetCautions()) == 0 || !p.Picks.GetCrane().GetChartIsInvented() {
		t.Error("the picks do not say that the chart is invented, or have no cautions")
	}
}

// checkRaising wants every stick to move once, every joint to close once, and every move
// after those that must come before it.
func checkRaising(t *testing.T, p *plan) {
	t.Helper()
	var marks, joints []string
	together := map[string]string{} // what moves with what: the assembly of a stick, then its move
	for _, timber := range p.Frame.GetTimbers() {
		together[timber.GetMark()] = timber.GetAssembly()
	}
	for i, m := range p.Raising.GetMoves() {
		if int(m.GetNumber()) != i+1 {
			t.Errorf("move %d has number %d", i+1, m.GetNumber())
		}
		for _, before := range m.GetAfter() {
			if before.GetMove() >= m.GetNumber() || len(before.GetJoints()) == 0 || before.GetReason() == "" {
				t.Errorf("move %d comes after %v", m.GetNumber(), before)
			}
		}
		marks = append(marks, m.GetMarks()...)
		joints = append(joints, m.GetJoints()...)
		for _, mark := range m.GetMarks() {
			if together[mark] == "" {
				together[mark] = fmt.Sprint("move ", m.GetNumber())
			}
		}
	}
	slices.Sort(marks)
	slices.Sort(joints)
	if !slices.Equal(marks, frameMarks(p.Frame)) {
		t.Errorf("the order moves %v, not every stick once", marks)
	}
	if unique := slices.Compact(slices.Clone(joints)); len(unique) != len(joints) {
		t.Errorf("%d closings of %d joints", len(joints), len(unique))
	}
	for _, j := range p.Frame.GetJoints() {
		// What was put together before it moved has closed already.
		if together[j.GetEntering()] == together[j.GetReceiving()] {
			continue
		}
		if _, found := slices.BinarySearch(joints, j.GetId()); !found {
			t.Errorf("joint %s never closes", j.GetId())
		}
	}
	if !strings.Contains(p.Raising.GetStandNote(), "not checked for standing") {
		t.Errorf("the order does not say that it was not checked for standing: %q", p.Raising.GetStandNote())
	}
}

// drawings wants every view as well-formed SVG with the marks in it.
func drawings(t *testing.T, lead client, at string, frame *framev1.Frame) {
	t.Helper()
	views := []string{"plan", "axon"}
	for _, l := range frame.GetGrid().GetBentLines() {
		views = append(views, "bent:"+l.GetLabel())
	}
	for _, l := range frame.GetGrid().GetWallLines() {
		views = append(views, "wall:"+l.GetLabel())
	}
	for _, view := range views {
		a := lead.do(t, http.MethodGet, at+"/drawing?view="+view, nil)
		if a.status != http.StatusOK || !strings.HasPrefix(a.header.Get("Content-Type"), "image/svg+xml") {
			t.Errorf("drawing %s answers %d as %s", view, a.status, a.header.Get("Content-Type"))
			continue
		}
		if err := wellFormed(a.body); err != nil {
			t.Errorf("drawing %s: %v", view, err)
		}
		if !slices.ContainsFunc(frame.GetTimbers(), func(timber *framev1.Timber) bool { return strings.Contains(string(a.body), timber.GetMark()) }) {
			t.Errorf("drawing %s names no stick", view)
		}
	}
}

func wellFormed(text []byte) error {
	decoder := xml.NewDecoder(strings.NewReader(string(text)))
	for {
		if _, err := decoder.Token(); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

// siteLog posts what happened while someone watches, and reads the progress.
func siteLog(t *testing.T, s *testkit.Suite, job string, p *plan) {
	t.Helper()
	field := client{s.URL, s.Keys["field"]}
	at := "/v1/jobs/" + job
	live := watch(t, field, at+"/entries:watch", "")
	bent := p.Frame.GetAssemblies()[0].GetId()
	var inBent []string
	for _, timber := range p.Frame.GetTimbers() {
		if timber.GetAssembly() == bent {
			inBent = append(inBent, timber.GetMark())
		}
	}
	now := time.Now().UTC().Add(-time.Hour).Format(time.RFC3339)
	entries := []map[string]any{
		{"id": "arrived", "kind": "ENTRY_KIND_PIECES_ARRIVED", "occurTime": now, "marks": frameMarks(p.Frame)},
		{"id": "flat", "kind": "ENTRY_KIND_BENT_ASSEMBLED", "occurTime": now, "assembly": bent},
		{"id": "up", "kind": "ENTRY_KIND_BENT_RAISED", "occurTime": now, "assembly": bent},
		{"id": "placed", "kind": "ENTRY_KIND_PIECES_PLACED", "occurTime": now, "marks": inBent},
		{"id": "move-1", "kind": "ENTRY_KIND_MOVE_DONE", "occurTime": now, "move": 1, "revision": 1},
		{"id": "wind", "kind": "ENTRY_KIND_DELAY", "occurTime": now, "cause": "DELAY_CAUSE_WEATHER", "delayMinutes": 90},
		{"id": "odd", "kind": "ENTRY_KIND_PIECES_DAMAGED", "occurTime": now, "marks": []string{"NO-SUCH-STICK"}},
	}
	var first, again sitelogv1.PostEntriesResponse
	field.send(t, http.MethodPost, at+"/entries:post", map[string]any{"entries": entries}, http.StatusOK, &first)
	field.send(t, http.MethodPost, at+"/entries:post", map[string]any{"entries": entries}, http.StatusOK, &again)
	accepted := 0
	for i, o := range first.GetOutcomes() {
		switch o.GetKind() {
		case sitelogv1.OutcomeKind_OUTCOME_KIND_ACCEPTED:
			accepted++
			if r := again.GetOutcomes()[i]; r.GetKind() != sitelogv1.OutcomeKind_OUTCOME_KIND_REPEATED || r.GetPosition() != o.GetPosition() {
				t.Errorf("entry %s posted again: %v", o.GetId(), r)
			}
		case sitelogv1.OutcomeKind_OUTCOME_KIND_REFUSED:
			if o.GetId() != "odd" || o.GetField() == "" || o.GetMessage() == "" {
				t.Errorf("entry %s is refused: %s %s", o.GetId(), o.GetField(), o.GetMessage())
			}
		default:
			t.Errorf("entry %s: %v", o.GetId(), o)
		}
	}
	seen := live.take(t, accepted)
	if want := []string{"arrived", "flat", "up", "placed", "move-1", "wind"}; !slices.Equal(seen[:len(want)], want) {
		t.Errorf("the watcher saw %v", seen)
	}
	// Whoever lost the connection goes on where it was.
	later := watch(t, field, at+"/entries:watch", "2").take(t, accepted-2)
	if !slices.Equal(later, seen[2:]) {
		t.Errorf("after the second entry come %v, not %v", later, seen[2:])
	}
	progress(t, field, at, p, len(inBent))
}

func progress(t *testing.T, field client, at string, p *plan, placed int) {
	t.Helper()
	var got sitelogv1.Progress
	field.get(t, at+"/progress", &got)
	want := &sitelogv1.Progress{
		PieceCount: int32(len(p.Frame.GetTimbers())), ArrivedCount: int32(len(p.Frame.GetTimbers())), PlacedCount: int32(placed),
		BentCount: int32(len(p.Frame.GetAssemblies())), AssembledCount: 1, RaisedCount: 1,
		MoveCount: int32(len(p.Raising.GetMoves())), MovesDoneCount: 1,
		Delays: []*sitelogv1.Delay{{Cause: sitelogv1.DelayCause_DELAY_CAUSE_WEATHER, Hours: 1.5}},
	}
	ignored := protocmp.IgnoreFields(&sitelogv1.Progress{}, "computed_from", "next_move", "entry_count", "newest_occur_time", "remarks", "damaged")
	if diff := cmp.Diff(want, proto.CloneOf(&got), protocmp.Transform(), ignored); diff != "" {
		t.Errorf("progress (-want +got):\n%s", diff)
	}
	if got.GetNextMove() != 2 || got.GetComputedFrom().GetRevision() != 1 {
		t.Errorf("next is move %d of revision %d", got.GetNextMove(), got.GetComputedFrom().GetRevision())
	}
}

// strangers makes sure that another company's job does not exist, that a viewer only reads,
// and that nobody without a key gets in.
func strangers(t *testing.T, s *testkit.Suite, job string) {
	t.Helper()
	at := "/v1/jobs/" + job
	other, viewer, nobody := client{s.URL, s.OtherKey}, client{s.URL, s.Keys["viewer"]}, client{s.URL, ""}
	note := toJSON(t, map[string]any{"entries": []any{map[string]any{"id": "x", "kind": "ENTRY_KIND_NOTE", "note": "x", "occurTime": "2026-01-02T03:04:05Z"}}})
	for _, path := range []string{"", "/frames", "/frames/latest", "/frames/1/takeoff", "/frames/1/picks", "/frames/1/raising", "/frames/1/layout", "/frames/1/drawing?view=plan", "/entries", "/entries:watch", "/progress"} {
		if p := refused(t, other.do(t, http.MethodGet, at+path, nil), http.StatusNotFound); p.Reason != "JOB_NOT_FOUND" {
			t.Errorf("another company's %s: %s", path, p.Reason)
		}
		refused(t, nobody.do(t, http.MethodGet, at+path, nil), http.StatusUnauthorized)
	}
	refused(t, other.do(t, http.MethodPost, at+"/entries:post", note), http.StatusNotFound)
	refused(t, viewer.do(t, http.MethodPost, at+"/entries:post", note), http.StatusForbidden)
	refused(t, viewer.do(t, http.MethodPost, "/v1/jobs", []byte(`{"job":{"title":"x"}}`)), http.StatusForbidden)
	var jobs framesv1.ListJobsResponse
	other.get(t, "/v1/jobs", &jobs)
	for _, j := range jobs.GetJobs() {
		if j.GetId() == job {
			t.Error("another company lists the job")
		}
	}
	if len(jobs.GetJobs()) != 1 {
		t.Error(fmt.Sprint("the other company has ", len(jobs.GetJobs()), " jobs, not one"))
	}
}
