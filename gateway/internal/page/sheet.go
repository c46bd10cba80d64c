package page

import (
	"context"
	"net/http"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// How many rows a page of a sheet has.
const (
	sticksShown = 200
	picksShown  = 100
	movesShown  = 30
	postsShown  = 200
)

func (s *Site) takeoff(w http.ResponseWriter, r *http.Request) {
	v, ok := s.sheetView(w, r, "Takeoff", "takeoff")
	if !ok {
		return
	}
	takeoff, err := s.loadTakeoff(v.Job.GetId(), v.revision())(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.computedFrom(takeoff)
	v.Body = struct {
		*takeoffv1.Takeoff
		Rows []*takeoffv1.Stick
	}{takeoff, paged(v, r, takeoff.GetSticks(), sticksShown)}
	s.render(w, r, http.StatusOK, "takeoff", v)
}

func (s *Site) picks(w http.ResponseWriter, r *http.Request) {
	v, ok := s.sheetView(w, r, "Picks", "picks")
	if !ok {
		return
	}
	picks, err := s.loadPicks(v.Job.GetId(), v.revision())(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.computedFrom(picks)
	v.Block.Cautions = cautions(picks.GetCautions())
	v.Body = struct {
		*riggingv1.Picks
		Rows    []*riggingv1.Pick
		Refused []*riggingv1.Pick
	}{picks, paged(v, r, refusedFirst(picks.GetPicks()), picksShown), refused(picks)}
	s.render(w, r, http.StatusOK, "picks", v)
}

func (s *Site) raising(w http.ResponseWriter, r *http.Request) {
	v, ok := s.sheetView(w, r, "Raising order", "raising")
	if !ok {
		return
	}
	var raising part[*sequencingv1.Raising]
	var progress part[*sitelogv1.Progress]
	var raisingErr error
	each(r.Context(),
		load(&progress, s.loadProgress(v.Job.GetId())),
		func(ctx context.Context) {
			raising.Value, raisingErr = s.loadRaising(v.Job.GetId(), v.revision())(ctx)
		},
	)
	if raisingErr != nil {
		s.fail(w, r, raisingErr)
		return
	}
	v.computedFrom(raising.Value)
	v.Block.Cautions = cautions(raising.Value.GetCautions())
	v.Body = struct {
		*sequencingv1.Raising
		Rows []*sequencingv1.Move
		Next *sequencingv1.Move
	}{raising.Value, paged(v, r, raising.Value.GetMoves(), movesShown), nextMove(raising.Value, progress.Value)}
	s.render(w, r, http.StatusOK, "raising", v)
}

func (s *Site) layout(w http.ResponseWriter, r *http.Request) {
	v, ok := s.sheetView(w, r, "Layout", "layout")
	if !ok {
		return
	}
	layout, err := s.loadLayout(v.Job.GetId(), v.revision())(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	picture, err := s.config.Frames.RenderLayout(r.Context(), &framesv1.RenderLayoutRequest{Job: v.Job.GetId(), Revision: v.revision(), Format: "svg"})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.computedFrom(layout)
	drawing := inline(picture.GetContent())
	allowStyles(w, drawing.styles)
	v.Body = struct {
		*framesv1.Layout
		Rows    []*framesv1.PostFootprint
		Drawing drawn
	}{layout, paged(v, r, layout.GetPosts(), postsShown), drawing}
	s.render(w, r, http.StatusOK, "layout", v)
}
