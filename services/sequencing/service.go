package sequencing

import (
	"context"
	"errors"
	"fmt"
	"strings"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/build"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// GetWork gives the company's rates of work, or the defaults when it has put none.
func (s *Service) GetWork(ctx context.Context, _ *sequencingv1.GetWorkRequest) (*sequencingv1.Work, error) {
	return workLeaf().get(ctx, s.db)
}

// PutWork puts the company's rates of work in place of the old.
func (s *Service) PutWork(ctx context.Context, req *sequencingv1.PutWorkRequest) (*sequencingv1.Work, error) {
	if err := checkWork(req.GetWork()); err != nil {
		return nil, err
	}
	return workLeaf().set(ctx, s.db, req.GetWork(), store.Micros(s.now()))
}

// GetRaising gives the raising order of a frame.
func (s *Service) GetRaising(ctx context.Context, req *sequencingv1.GetRaisingRequest) (*sequencingv1.Raising, error) {
	a, err := s.answer(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	return a.render(), nil
}

// RenderRaising gives the raising order as CSV or HTML.
func (s *Service) RenderRaising(ctx context.Context, req *sequencingv1.RenderRaisingRequest) (*sheetv1.Document, error) {
	if err := sheet.Check(req.GetFormat()); err != nil {
		return nil, err
	}
	a, err := s.answer(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	if req.GetFormat() == sheet.CSV {
		return sheet.File("raising", a.from, moveTable(a.raising)), nil
	}
	return a.page().Document("raising"), nil
}

// DrawMove draws one move.
func (s *Service) DrawMove(ctx context.Context, req *sequencingv1.DrawMoveRequest) (*sheetv1.Document, error) {
	a, err := s.answer(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	n := int(req.GetMove())
	if n < 1 || n > len(a.raising.Moves) {
		return nil, fault.New(fault.NotFound, ReasonMove, "There is no move %d; the raising of this frame has moves 1 to %d.", n, len(a.raising.Moves))
	}
	picture, err := s.picture(ctx, a)
	if err != nil {
		return nil, err
	}
	block := a.block()
	svg, err := compute.Do(ctx, s.pool, s.drawings, compute.Key("move", a.key, n, block),
		func(ctx context.Context) ([]byte, error) {
			svg := drawing.SVG(drawMove(picture, a.raising, n, block))
			if len(svg) > keptBytes {
				compute.Uncached(ctx)
			}
			return svg, nil
		})
	if err != nil {
		return nil, err
	}
	return &sheetv1.Document{
		MediaType: "image/svg+xml", Content: svg,
		Filename: fmt.Sprintf("move-%d-%s-r%d.svg", n, a.from.GetJob(), a.from.GetRevision()),
	}, nil
}

// picture makes a frame ready for drawing.
func (s *Service) picture(ctx context.Context, a *answer) (*framedraw.Picture, error) {
	return compute.Do(ctx, s.pool, s.pictures, compute.Key("picture", a.named()),
		func(context.Context) (*framedraw.Picture, error) { return framedraw.NewPicture(a.frame), nil })
}

// block is what the last line of a drawing says.
func (a *answer) block() framedraw.Block {
	return framedraw.Block{
		Job: a.job.GetTitle(), Revision: int(a.from.GetRevision()), Latest: int(a.from.GetLatestRevision()), Engine: build.Version,
	}
}

// keptBytes is the largest drawing that is kept.
const keptBytes = 1 << 19

// drawMove draws the move with a number: what stands before it, what moves, and what is to come.
func drawMove(p *framedraw.Picture, r *plan.Raising, n int, block framedraw.Block) *drawing.Sheet {
	var standing, coming []int
	for _, m := range r.Moves {
		switch {
		case m.Number < n:
			standing = append(standing, m.Pieces...)
		case m.Number > n:
			coming = append(coming, m.Pieces...)
		}
	}
	m := &r.Moves[n-1]
	var braces [][2]geom.Vec
	for _, before := range r.Moves[:n] {
		for _, b := range before.Braces {
			braces = append(braces, [2]geom.Vec{b.Foot, b.Top})
		}
	}
	name := fmt.Sprintf("move %d of %d, %s by %s, not checked for standing", n, len(r.Moves), m.Closing, m.MachineWords())
	return p.Move(standing, m.Pieces, coming, braces, name, block)
}

// answer is a raising with what it was computed from.
type answer struct {
	raising *plan.Raising
	company string
	frame   *frame.Frame
	from    *sheetv1.ComputedFrom
	job     *framesv1.Job
	work    *sequencingv1.Work
	// key names all inputs of the raising.
	key string
}

// named names the frame with the order in which it lists its pieces, which its digest leaves out.
func (a *answer) named() string {
	return compute.Key(a.company, a.from.GetJob(), a.from.GetRevision(), a.from.GetDigest())
}

// answer gathers the inputs of a raising and computes it, or gives the kept one of the same inputs.
func (s *Service) answer(ctx context.Context, job, revision string) (*answer, error) {
	a, err := s.load(ctx, job, revision)
	if err != nil {
		return nil, err
	}
	if err := s.order(ctx, a); err != nil {
		return nil, err
	}
	return a, nil
}

// load gathers the inputs of a raising.
func (s *Service) load(ctx context.Context, job, revision string) (*answer, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	a := &answer{company: caller.Company}
	if a.work, err = s.GetWork(ctx, nil); err != nil {
		return nil, err
	}
	if a.job, err = s.frames.Job(ctx, job); err != nil {
		return nil, err
	}
	var loaded framefetch.Loaded
	if loaded, err = s.frames.Load(ctx, job, revision); err != nil {
		return nil, err
	}
	a.frame, a.from = loaded.Frame, loaded.From
	a.key = compute.Key("raising", a.named(), a.work, siteOf(a.job))
	return a, nil
}

// order computes the raising of what was loaded.
func (s *Service) order(ctx context.Context, a *answer) error {
	made, err := compute.Do(ctx, s.pool, s.raisings, a.key, func(ctx context.Context) (*plan.Raising, error) {
		return plan.Make(ctx, a.frame, siteOf(a.job), ratesOf(a.work))
	})
	var lock *raising.Locked
	if errors.As(err, &lock) {
		return locked(lock)
	}
	a.raising = made
	return err
}

// siteOf is what the raising needs to know of a job's site.
func siteOf(job *framesv1.Job) plan.Site {
	site := plan.Site{DeckMM: job.GetSite().GetDeckHeightMm(), Crane: job.GetCrane() != ""}
	for _, p := range job.GetSite().GetDeckOutline() {
		site.Deck = append(site.Deck, geom.V(p.GetXMm(), p.GetYMm(), 0))
	}
	return site
}

// mostNamed bounds what a refusal names.
const mostNamed = 50

// locked is the refusal of a frame that nothing opens.
func locked(l *raising.Locked) error {
	f := fault.New(fault.Precondition, ReasonLocked, "No raising order exists: %s.", l.Error())
	for key, names := range map[string][]string{"pieces": l.Pieces, "joints": l.Joints} {
		f = f.WithMetadata(key, strings.Join(names[:min(len(names), mostNamed)], ","))
	}
	for _, j := range l.Joints[:min(len(l.Joints), mostNamed)] {
		f = f.With(fault.Field{Path: "joints:" + j, Message: "is one of the joints that lock each other"})
	}
	return f
}
