package page

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// usesShown is how many uses the sheet of a state has.
const usesShown = 20

// statePage is the state after one move with its braces.
type statePage struct {
	Check   part[*sequencingv1.RaisingCheck]
	Raising part[*sequencingv1.Raising]
	Stock   part[*sequencingv1.BraceStock]
	Takeoff part[*takeoffv1.Takeoff]
	Drawing part[*sheetv1.Document]
	Number  int32
	View    string
	// State is what was found; nil when nothing was.
	State *sequencingv1.RaisingState
	// Drawn is the picture of the state.
	Drawn drawn
	marks map[string]bool
}

// state answers with the state after a move: as a picture when its name ends in .svg, else as a page.
func (s *Site) state(w http.ResponseWriter, r *http.Request) {
	name, isPicture := strings.CutSuffix(r.PathValue("move"), pictureSuffix)
	n, err := strconv.ParseInt(name, 10, 32)
	if err != nil || n < 1 {
		s.fail(w, r, noMove())
		return
	}
	number := int32(n)
	draw := func(ctx context.Context, revision string) (*sheetv1.Document, error) {
		return s.config.Sequencing.DrawStand(ctx, &sequencingv1.DrawStandRequest{
			Job: r.PathValue("job"), Revision: revision, Move: number, View: viewOf(r),
		})
	}
	if isPicture {
		s.picture(w, r, draw)
		return
	}
	v, ok := s.sheetView(w, r, "State and braces, move "+name, "standing/"+name)
	if !ok {
		return
	}
	body := &statePage{Number: number, View: viewOf(r)}
	job, revision := v.Job.GetId(), v.revision()
	each(r.Context(),
		load(&body.Check, s.loadStanding(job, revision)),
		load(&body.Raising, s.loadRaising(job, revision)),
		load(&body.Stock, s.loadStock),
		load(&body.Takeoff, s.loadTakeoff(job, revision)),
		load(&body.Drawing, func(ctx context.Context) (*sheetv1.Document, error) { return draw(ctx, revision) }),
	)
	body.State = stateOf(body.Check.Value, number)
	if body.Check.Refusal == "" && body.State == nil {
		s.fail(w, r, noMove())
		return
	}
	content := body.Drawing.Value.GetContent()
	body.Drawn, body.marks = inline(content), linked(content)
	v.computedFrom(body.Check.Value, body.Raising.Value)
	v.Block.Cautions = cautions(body.Check.Value.GetCautions())
	v.Body = body
	allowStyles(w, body.Drawn.styles)
	s.render(w, r, http.StatusOK, "state", v)
}

func noMove() error {
	return fault.New(fault.NotFound, "MOVE_NOT_FOUND", "The raising order has no such move. Open the standing sheet and choose one there.")
}

// Move is the move; nil when there is no raising order.
func (p *statePage) Move() *sequencingv1.Move { return moveOf(p.Raising.Value, p.Number) }

// Of is how many moves there are.
func (p *statePage) Of() int { return len(p.Raising.Value.GetMoves()) }

// Before is the number of the move before this one; 0 when there is none.
func (p *statePage) Before() int32 { return p.Number - 1 }

// After is the number of the next move; 0 when there is none.
func (p *statePage) After() int32 {
	if stateOf(p.Check.Value, p.Number+1) == nil {
		return 0
	}
	return p.Number + 1
}

// Fails is the verdict that says that the state does not stand; nil when it stands.
func (p *statePage) Fails() *sequencingv1.Verdict { return fails(p.State) }

// Views are the views of the picture.
func (*statePage) Views() []standView { return standViews() }

// off are braces that may come off on the same condition.
type off struct {
	Once   string
	Braces []string
}

// Offs are the braces that may come off after this move, a condition said once.
func (p *statePage) Offs() []off {
	var all []off
	for _, strike := range p.State.GetStrike() {
		i := slices.IndexFunc(all, func(o off) bool { return o.Once == strike.GetOnce() })
		if i < 0 {
			i = len(all)
			all = append(all, off{Once: strike.GetOnce()})
		}
		all[i].Braces = append(all[i].Braces, strike.GetBrace())
	}
	return all
}

// Sets are the braces to set with this move.
func (p *statePage) Sets() []setBrace {
	return p.where(func(b setBrace) bool { return b.Move == p.Number })
}

// Earlier are the braces that are on from moves before.
func (p *statePage) Earlier() []setBrace {
	return p.where(func(b setBrace) bool {
		return b.Move != p.Number && slices.Contains(p.State.GetOn(), b.GetId())
	})
}

func (p *statePage) where(keep func(setBrace) bool) []setBrace {
	var some []setBrace
	for _, b := range setBraces(p.Check.Value, p.Stock.Value) {
		if keep(b) {
			b.forces(p.State.GetReleased(), p.State.GetBeside(), p.State.GetOvernight())
			some = append(some, b)
		}
	}
	return some
}

// Uses are what uses most of what it has once the hook lets go.
func (p *statePage) Uses() []*sequencingv1.Use {
	return first(p.State.GetReleased().GetUses(), usesShown)
}

// Sticks are those in the picture.
func (p *statePage) Sticks() []*takeoffv1.Stick {
	var some []*takeoffv1.Stick
	for _, stick := range p.Takeoff.Value.GetSticks() {
		if p.marks[stick.GetMark()] {
			some = append(some, stick)
		}
	}
	return some
}
