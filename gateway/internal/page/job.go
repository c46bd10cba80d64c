package page

import (
	"context"
	"net/http"
	"slices"
	"time"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// How much of each list the page of a job shows; the sheets show all.
const (
	jobPicks   = 10
	jobMoves   = 8
	jobSticks  = 60
	jobEntries = 10
)

// jobPage is one job at a glance.
type jobPage struct {
	Layout   part[*framesv1.Layout]
	Takeoff  part[*takeoffv1.Takeoff]
	Picks    part[*riggingv1.Picks]
	Raising  part[*sequencingv1.Raising]
	Progress part[*sitelogv1.Progress]
	Entries  part[*sitelogv1.ListEntriesResponse]

	// Next is the next move that is not done; nil when there is none.
	Next *sequencingv1.Move
}

func (s *Site) job(w http.ResponseWriter, r *http.Request) {
	v, ok := s.jobView(w, r, "Job", "")
	if !ok {
		return
	}
	body := &jobPage{}
	v.Body, v.Live = body, true
	job, revision := v.Job.GetId(), v.revision()
	loaders := []func(context.Context){
		load(&body.Progress, s.loadProgress(job)),
		load(&body.Entries, s.loadEntries(job, jobEntries)),
	}
	if v.Job.GetLatestRevision() > 0 {
		loaders = append(loaders,
			load(&body.Layout, s.loadLayout(job, revision)),
			load(&body.Takeoff, s.loadTakeoff(job, revision)),
			load(&body.Picks, s.loadPicks(job, revision)),
			load(&body.Raising, s.loadRaising(job, revision)),
		)
	}
	each(r.Context(), loaders...)
	v.computedFrom(body.Takeoff.Value, body.Raising.Value, body.Picks.Value, body.Layout.Value)
	v.Block.Cautions = cautions(body.Picks.Value.GetCautions(), body.Raising.Value.GetCautions())
	body.Next = nextMove(body.Raising.Value, body.Progress.Value)
	s.render(w, r, http.StatusOK, "job", v)
}

// latest answers with the part of a page that is live: the newest entries and the progress.
func (s *Site) latest(w http.ResponseWriter, r *http.Request) {
	v, ok := s.jobView(w, r, "Job", "")
	if !ok {
		return
	}
	body := &jobPage{}
	v.Body = body
	each(r.Context(), load(&body.Progress, s.loadProgress(v.Job.GetId())), load(&body.Entries, s.loadEntries(v.Job.GetId(), jobEntries)))
	s.renderPart(w, r, http.StatusOK, "job", "live", v)
}

func (s *Site) loadProgress(job string) func(context.Context) (*sitelogv1.Progress, error) {
	return func(ctx context.Context) (*sitelogv1.Progress, error) {
		return s.config.Sitelog.GetProgress(ctx, &sitelogv1.GetProgressRequest{Job: job})
	}
}

func (s *Site) loadEntries(job string, n int32) func(context.Context) (*sitelogv1.ListEntriesResponse, error) {
	return func(ctx context.Context) (*sitelogv1.ListEntriesResponse, error) {
		return s.config.Sitelog.ListEntries(ctx, &sitelogv1.ListEntriesRequest{Job: job, PageSize: n})
	}
}

func (s *Site) loadLayout(job, revision string) func(context.Context) (*framesv1.Layout, error) {
	return func(ctx context.Context) (*framesv1.Layout, error) {
		return s.config.Frames.GetLayout(ctx, &framesv1.GetLayoutRequest{Job: job, Revision: revision})
	}
}

func (s *Site) loadTakeoff(job, revision string) func(context.Context) (*takeoffv1.Takeoff, error) {
	return func(ctx context.Context) (*takeoffv1.Takeoff, error) {
		return s.config.Takeoff.GetTakeoff(ctx, &takeoffv1.GetTakeoffRequest{Job: job, Revision: revision})
	}
}

func (s *Site) loadPicks(job, revision string) func(context.Context) (*riggingv1.Picks, error) {
	return func(ctx context.Context) (*riggingv1.Picks, error) {
		return s.config.Rigging.GetPicks(ctx, &riggingv1.GetPicksRequest{Job: job, Revision: revision})
	}
}

func (s *Site) loadRaising(job, revision string) func(context.Context) (*sequencingv1.Raising, error) {
	return func(ctx context.Context) (*sequencingv1.Raising, error) {
		return s.config.Sequencing.GetRaising(ctx, &sequencingv1.GetRaisingRequest{Job: job, Revision: revision})
	}
}

// nextMove finds the next move in the raising order that the page shows. The progress counts the
// moves of the newest revision, so an older one has no next move.
func nextMove(raising *sequencingv1.Raising, progress *sitelogv1.Progress) *sequencingv1.Move {
	if raising.GetComputedFrom().GetRevision() != progress.GetComputedFrom().GetRevision() {
		return nil
	}
	i := slices.IndexFunc(raising.GetMoves(), func(m *sequencingv1.Move) bool { return m.GetNumber() == progress.GetNextMove() })
	if i < 0 {
		return nil
	}
	return raising.GetMoves()[i]
}

// AllDone says whether every move of the plan is done.
func (p *jobPage) AllDone() bool {
	done := p.Progress.Value
	return done.GetMoveCount() > 0 && done.GetMovesDoneCount() >= done.GetMoveCount()
}

// Refused are the picks that are refused.
func (p *jobPage) Refused() []*riggingv1.Pick { return refused(p.Picks.Value) }

// PicksShown are the picks that the page shows: the refused ones first.
func (p *jobPage) PicksShown() []*riggingv1.Pick {
	return first(refusedFirst(p.Picks.Value.GetPicks()), jobPicks)
}

// PicksLeft is how many picks the page leaves out.
func (p *jobPage) PicksLeft() int { return rest(jobPicks, len(p.Picks.Value.GetPicks())) }

// SticksShown are the sticks that the page shows.
func (p *jobPage) SticksShown() []*takeoffv1.Stick {
	return first(p.Takeoff.Value.GetSticks(), jobSticks)
}

// SticksLeft is how many sticks the page leaves out.
func (p *jobPage) SticksLeft() int { return rest(jobSticks, len(p.Takeoff.Value.GetSticks())) }

// MovesShown are the moves from the next one on; from the first when none is next.
func (p *jobPage) MovesShown() []*sequencingv1.Move {
	moves := p.Raising.Value.GetMoves()
	start := 0
	if p.Next != nil {
		start = slices.Index(moves, p.Next)
	}
	start = max(0, min(start, len(moves)-jobMoves))
	return first(moves[start:], jobMoves)
}

// Basis is how the numbers of the page came about.
func (p *jobPage) Basis() []*sheetv1.Basis {
	return slices.Concat(p.Takeoff.Value.GetBasis(), p.Picks.Value.GetBasis(), p.Raising.Value.GetBasis(), p.Layout.Value.GetBasis())
}

// Views are the drawings that there are.
func (p *jobPage) Views() []drawingView { return views(p.Layout.Value) }

// After is the position of the newest entry that the page shows; what comes later arrives live.
func (p *jobPage) After() int32 { return newestPosition(p.Entries.Value.GetEntries()) }

// Lines are the newest entries as sentences.
func (p *jobPage) Lines() []entryLine { return entryLines(p.Entries.Value.GetEntries()) }

// Fractions are the parts of the progress that are counted.
func (p *jobPage) Fractions() []fraction { return fractions(p.Progress.Value) }

// fraction is how many of all are done.
type fraction struct {
	What      string
	Done, All int32
}

func fractions(p *sitelogv1.Progress) []fraction {
	return []fraction{
		{"pieces arrived", p.GetArrivedCount(), p.GetPieceCount()},
		{"pieces placed", p.GetPlacedCount(), p.GetPieceCount()},
		{"bents put together", p.GetAssembledCount(), p.GetBentCount()},
		{"bents raised", p.GetRaisedCount(), p.GetBentCount()},
		{"moves done", p.GetMovesDoneCount(), p.GetMoveCount()},
	}
}

func refused(picks *riggingv1.Picks) []*riggingv1.Pick {
	var some []*riggingv1.Pick
	for _, pick := range picks.GetPicks() {
		if !pick.GetAccepted() {
			some = append(some, pick)
		}
	}
	return some
}

// refusedFirst orders picks so that those that need a decision come first.
func refusedFirst(picks []*riggingv1.Pick) []*riggingv1.Pick {
	ordered := slices.Clone(picks)
	slices.SortStableFunc(ordered, func(a, b *riggingv1.Pick) int {
		switch {
		case a.GetAccepted() == b.GetAccepted():
			return 0
		case b.GetAccepted():
			return -1
		}
		return 1
	})
	return ordered
}

func first[T any](all []T, n int) []T { return all[:min(n, len(all))] }

// jobRow is one job in the list.
type jobRow struct {
	Job      *framesv1.Job
	Progress part[*sitelogv1.Progress]
	Entries  part[*sitelogv1.ListEntriesResponse]
}

// Line is the newest entry as a sentence; nil when there is none.
func (j *jobRow) Line() *entryLine {
	lines := entryLines(j.Entries.Value.GetEntries())
	if len(lines) == 0 {
		return nil
	}
	return &lines[0]
}

// Fractions are the parts of the progress that are counted.
func (j *jobRow) Fractions() []fraction { return fractions(j.Progress.Value) }

// jobsPage is the list of jobs.
type jobsPage struct {
	Rows []*jobRow
	// Next is the token of the next page; empty at the end.
	Next string
}

// jobsShown is how many jobs a page of the list has; each asks for its progress and newest entry.
const jobsShown = 20

func (s *Site) jobs(w http.ResponseWriter, r *http.Request) {
	answer, err := s.config.Frames.ListJobs(r.Context(), &framesv1.ListJobsRequest{PageSize: jobsShown, PageToken: r.URL.Query().Get("after")})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	body := &jobsPage{Next: answer.GetNextPageToken()}
	var loaders []func(context.Context)
	for _, job := range answer.GetJobs() {
		row := &jobRow{Job: job}
		body.Rows = append(body.Rows, row)
		loaders = append(loaders,
			load(&row.Progress, s.loadProgress(job.GetId())),
			load(&row.Entries, s.loadEntries(job.GetId(), 1)),
		)
	}
	each(r.Context(), loaders...)
	v := s.view(r, "Jobs")
	v.Body = body
	v.Block.Cautions = cautions()
	s.render(w, r, http.StatusOK, "jobs", v)
}

// Zone is the time zone of the job's site.
func (j *jobRow) Zone() *time.Location { return zone(j.Job) }
