package frames

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/frames/layout"
	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/platform/build"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// CheckFrame finds every fault and warning of a frame; a frame with faults is an answer here, not an error.
func (s *Service) CheckFrame(ctx context.Context, req *framesv1.CheckFrameRequest) (*framesv1.CheckFrameResponse, error) {
	if req.Frame == nil {
		return nil, fault.Invalid("frame", "is missing; give the whole frame")
	}
	h, err := s.parse(ctx, req.Frame)
	var faults *frame.Faults
	if errors.As(err, &faults) {
		return &framesv1.CheckFrameResponse{Faults: findings(faults.Faults)}, nil
	}
	if err != nil {
		return nil, err
	}
	return &framesv1.CheckFrameResponse{Warnings: findings(h.frame.Warnings()), Digest: h.frame.Digest()}, nil
}

// mostFindings bounds the faults or warnings of one answer, so that the largest frame still fits into a
// message together with its warnings.
const mostFindings = 2000

// findings writes down what is wrong or doubtful; a list that is cut ends in one that says how many more
// there are.
func findings(list []frame.Finding) []*framesv1.Finding {
	more := len(list) - mostFindings
	if more <= 0 {
		return framepb.Findings(list)
	}
	last := frame.Finding{Field: list[mostFindings].Field, Message: fmt.Sprintf("And %d more; look at these first.", more)}
	return framepb.Findings(append(slices.Clone(list[:mostFindings]), last))
}

// DrawFrame gives a drawing of a frame as SVG.
func (s *Service) DrawFrame(ctx context.Context, req *framesv1.DrawFrameRequest) (*sheetv1.Document, error) {
	l, err := s.load(ctx, req.Job, req.Revision)
	if err != nil {
		return nil, err
	}
	svg, err := s.sheet(ctx, l, "draw "+req.View, func() (*drawing.Sheet, error) { return draw(l, req.View) })
	if err != nil {
		return nil, err
	}
	return &sheetv1.Document{MediaType: "image/svg+xml", Filename: l.filename(req.View, "svg"), Content: svg}, nil
}

// sheet draws in the pool and keeps what was drawn; what the last line of a sheet says is part of the key.
func (s *Service) sheet(ctx context.Context, l loaded, name string, make func() (*drawing.Sheet, error)) ([]byte, error) {
	b := l.block()
	key := compute.Key("sheet", name, l.company, l.row.digest, b.Job, b.Revision, b.Latest, b.Engine)
	return compute.Do(ctx, s.pool, s.sheets, key, func(ctx context.Context) ([]byte, error) {
		sheet, err := make()
		if err != nil {
			return nil, err
		}
		svg := drawing.SVG(sheet)
		if len(svg) > keptBytes {
			compute.Uncached(ctx)
		}
		return svg, nil
	})
}

// keptBytes is the largest document that is kept.
const keptBytes = 2 << 20

func (l loaded) block() framedraw.Block {
	return framedraw.Block{Job: l.job.Title, Revision: int(l.row.revision), Latest: int(l.job.LatestRevision), Engine: build.Version}
}

// draw makes the drawing with a view's name.
func draw(l loaded, view string) (*drawing.Sheet, error) {
	var sheet *drawing.Sheet
	ok := true
	switch kind, label, _ := strings.Cut(view, ":"); {
	case view == "plan":
		sheet = framedraw.Plan(l.frame, l.block())
	case view == "axon":
		sheet = framedraw.Axon(l.frame, l.block())
	case kind == "bent":
		sheet, ok = framedraw.Bent(l.frame, label, l.block())
	case kind == "wall":
		sheet, ok = framedraw.Wall(l.frame, label, l.block())
	default:
		ok = false
	}
	if !ok {
		f := fault.Invalid("view", "%s is no drawing of this frame; it has %s", quote(view), viewList(framedraw.Views(l.frame)))
		f.Reason = ReasonView
		return nil, f
	}
	return sheet, nil
}

// mostViews bounds the views that an answer names.
const mostViews = 40

func viewList(views []string) string {
	if n := len(views); n > mostViews {
		return strings.Join(views[:mostViews-1], ", ") + fmt.Sprintf(" and %d more up to %s", n-mostViews+1, views[n-1])
	}
	return strings.Join(views, ", ")
}

// filename names a document of a revision in letters that every system takes.
func (l loaded) filename(what, ending string) string {
	plain := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, what)
	return fmt.Sprintf("%s-rev%d-%s.%s", l.job.Id, l.row.revision, plain, ending)
}

// GetLayout gives post positions from the control lines, feet and diagonals.
func (s *Service) GetLayout(ctx context.Context, req *framesv1.GetLayoutRequest) (*framesv1.Layout, error) {
	l, err := s.load(ctx, req.Job, req.Revision)
	if err != nil {
		return nil, err
	}
	lay, err := s.layout(ctx, l)
	if err != nil {
		return nil, err
	}
	out := &framesv1.Layout{ComputedFrom: &sheetv1.ComputedFrom{
		Job: l.job.Id, Revision: l.row.revision, Digest: l.row.digest, Engine: build.Version, LatestRevision: l.job.LatestRevision,
	}, Basis: layoutBasis()}
	for _, p := range lay.Posts {
		foot := &framesv1.PostFootprint{Mark: p.Mark, BentLine: p.Bent, WallLine: p.Wall, RunningXMm: p.RunningXMM, RunningYMm: p.RunningYMM}
		for _, c := range p.Corners {
			foot.Corners = append(foot.Corners, pointOf(c))
		}
		out.Posts = append(out.Posts, foot)
	}
	for _, d := range lay.Diagonals {
		out.Diagonals = append(out.Diagonals, &framesv1.Diagonal{
			From: lay.Posts[d.From].Mark, To: lay.Posts[d.To].Mark, LengthMm: d.LengthMM, Partner: lay.Name(d.Partner),
		})
	}
	return out, nil
}

// layout computes a layout in the pool and keeps it.
func (s *Service) layout(ctx context.Context, l loaded) (layout.Layout, error) {
	return compute.Do(ctx, s.pool, s.sheets, compute.Key("layout", l.company, l.row.digest), func(context.Context) (layout.Layout, error) {
		return layout.Of(l.frame), nil
	})
}

func pointOf(v geom.Vec) *framev1.Point { return &framev1.Point{XMm: v.X, YMm: v.Y, ZMm: v.Z} }

// layoutBasis says how the numbers of a layout came about.
func layoutBasis() []*sheetv1.Basis {
	return []*sheetv1.Basis{
		{
			Quantity: "diagonal", Formula: "√(Δx² + Δy²)", Source: "theorem of Pythagoras", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
			Inputs: []string{"the points, in mm, where the bent line and the wall line of each post cross"},
		},
		{
			Quantity: "squareness of the layout", Formula: "the two diagonals of four posts read what is drawn, within 1/4 to 1/2 in of one another",
			Source: "rule of the trade for decks and anchor positions", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE,
			Inputs: []string{"both tapes read on the deck; where the lines are drawn askew the two lengths differ by design"},
		},
	}
}

// RenderLayout gives the layout sheet as SVG or CSV.
func (s *Service) RenderLayout(ctx context.Context, req *framesv1.RenderLayoutRequest) (*sheetv1.Document, error) {
	if req.Format != "svg" && req.Format != "csv" {
		f := fault.Invalid("format", "%s is not made; use svg or csv", quote(req.Format))
		f.Reason = ReasonFormat
		return nil, f
	}
	l, err := s.load(ctx, req.Job, req.Revision)
	if err != nil {
		return nil, err
	}
	lay, err := s.layout(ctx, l)
	if err != nil {
		return nil, err
	}
	if req.Format == "csv" {
		content := report.CSV(lay.Table(l.frame.Title() + ": layout"))
		return &sheetv1.Document{MediaType: "text/csv; charset=utf-8", Filename: l.filename("layout", "csv"), Content: content}, nil
	}
	svg, err := s.sheet(ctx, l, "layout", func() (*drawing.Sheet, error) { return lay.Sheet(l.frame, l.block()), nil })
	if err != nil {
		return nil, err
	}
	return &sheetv1.Document{MediaType: "image/svg+xml", Filename: l.filename("layout", "svg"), Content: svg}, nil
}
