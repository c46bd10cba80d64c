package gateway

import (
	"context"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/gateway/internal/document"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// documents are the sources of the document routes under a frame revision, by their path there.
func (g *Gateway) documents() map[string]document.Source {
	s := g.services
	return map[string]document.Source{
		"drawing": {
			Formats: []string{"svg"},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.frames.DrawFrame(ctx, &framesv1.DrawFrameRequest{Job: r.Job, Revision: r.Revision, View: r.View})
			},
		},
		"layout": {
			Formats: []string{"json", "csv", "svg"},
			Message: func(ctx context.Context, r document.Request) (proto.Message, error) {
				return s.frames.GetLayout(ctx, &framesv1.GetLayoutRequest{Job: r.Job, Revision: r.Revision})
			},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.frames.RenderLayout(ctx, &framesv1.RenderLayoutRequest{Job: r.Job, Revision: r.Revision, Format: r.Format})
			},
		},
		"takeoff": {
			Formats: []string{"json", "csv", "html"},
			Message: func(ctx context.Context, r document.Request) (proto.Message, error) {
				return s.takeoff.GetTakeoff(ctx, &takeoffv1.GetTakeoffRequest{Job: r.Job, Revision: r.Revision})
			},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.takeoff.RenderTakeoff(ctx, &takeoffv1.RenderTakeoffRequest{Job: r.Job, Revision: r.Revision, Format: r.Format})
			},
		},
		"picks": {
			Formats: []string{"json", "csv", "html"},
			Message: func(ctx context.Context, r document.Request) (proto.Message, error) {
				return s.rigging.GetPicks(ctx, &riggingv1.GetPicksRequest{Job: r.Job, Revision: r.Revision})
			},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.rigging.RenderPicks(ctx, &riggingv1.RenderPicksRequest{Job: r.Job, Revision: r.Revision, Format: r.Format})
			},
		},
		"raising": {
			Formats: []string{"json", "csv", "html"},
			Message: func(ctx context.Context, r document.Request) (proto.Message, error) {
				return s.sequencing.GetRaising(ctx, &sequencingv1.GetRaisingRequest{Job: r.Job, Revision: r.Revision})
			},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.sequencing.RenderRaising(ctx, &sequencingv1.RenderRaisingRequest{Job: r.Job, Revision: r.Revision, Format: r.Format})
			},
		},
		"standing": {
			Formats: []string{"json", "csv", "html"},
			Message: func(ctx context.Context, r document.Request) (proto.Message, error) {
				return s.sequencing.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: r.Job, Revision: r.Revision})
			},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.sequencing.RenderStanding(ctx, &sequencingv1.RenderStandingRequest{Job: r.Job, Revision: r.Revision, Format: r.Format})
			},
		},
		"standing/{move}/braces": {
			Formats: []string{"html", "csv"},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.sequencing.RenderBraces(ctx, &sequencingv1.RenderBracesRequest{Job: r.Job, Revision: r.Revision, Move: r.Move, Format: r.Format})
			},
		},
		"standing/{move}/drawing": {
			Formats: []string{"svg"},
			Render: func(ctx context.Context, r document.Request) (*sheetv1.Document, error) {
				return s.sequencing.DrawStand(ctx, &sequencingv1.DrawStandRequest{Job: r.Job, Revision: r.Revision, Move: r.Move, View: r.View})
			},
		},
	}
}
