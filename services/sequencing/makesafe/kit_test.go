package makesafe

import (
	"context"
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/standing"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// small are the numbers of a small frame with plates and wall braces.
func small(bents int) rough.King {
	return rough.King{
		Title: "Trial", BentCount: bents, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743,
		RoofPitchDeg: 40, PurlinsPerSlope: 2, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 25,
	}
}

func roughFrame(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, k)
}

// movesOf are the moves of a frame, raised with a crane and a telehandler.
func movesOf(t testing.TB, f *frame.Frame) []Move {
	t.Helper()
	rates := work.Default()
	rates.TelehandlerKG, rates.TelehandlerReachMM = 900, 6000
	r, err := plan.Make(t.Context(), f, plan.Site{Crane: true}, rates)
	if err != nil {
		t.Fatal(err)
	}
	return Moves(r, f, 8)
}

// wideDeck is a deck that reaches some way beyond the posts on all sides.
func wideDeck(f *frame.Frame, beyondMM float64) []geom.Vec {
	b := geom.EmptyBox()
	for _, i := range f.Posts() {
		for _, c := range f.Solid(i).Corners {
			b = b.With(c)
		}
	}
	b = b.Grow(beyondMM)
	return []geom.Vec{geom.V(b.Min.X, b.Min.Y, 0), geom.V(b.Max.X, b.Min.Y, 0), geom.V(b.Max.X, b.Max.Y, 0), geom.V(b.Min.X, b.Max.Y, 0)}
}

// after is the problem of making safe what stands after a move.
func after(t testing.TB, f *frame.Frame, move int, gustMPS float64) Problem {
	moves := movesOf(t, f)
	r := RaisingProblem{Frame: f, Moves: moves, Rules: standing.DefaultRules()}
	state := r.State(move, nil, Overnight)
	state.GustMPS = gustMPS
	return Problem{
		Frame: f, State: state, Rules: r.Rules, Stock: brace.DefaultStock(), Coming: moves[move:],
		Site: Site{Deck: wideDeck(f, 3000), DeckMM: 600},
	}
}

// counter is a judge without statics: each post must have as many braces in each direction of the plan as the gust asks for,
// one for every 20 m/s begun, until so many sticks stand that they hold one another.
type counter struct {
	f      *frame.Frame
	enough int
}

func (j counter) missing(s standing.Situation) (post, axis int) {
	need := int(math.Ceil(s.GustMPS / 20))
	if j.enough > 0 && len(s.Standing) >= j.enough {
		need = 0
	}
	for _, p := range s.Standing {
		if j.f.Timbers()[p].Role != frame.RolePost {
			continue
		}
		var n [2]int
		for i := range s.Braces {
			b := &s.Braces[i]
			d := geom.Unit(geom.V(b.Foot.X-b.Top.X, b.Foot.Y-b.Top.Y, 0))
			if b.Timber == p && b.SlopeDeg() < steepDeg {
				if math.Abs(d.X) > 0.7 {
					n[0]++
				} else {
					n[1]++
				}
			}
		}
		for a := range n {
			if n[a] < need {
				return p, a
			}
		}
	}
	return -1, 0
}

func (j counter) verdict(ctx context.Context, s standing.Situation, _ bool) (*standing.Verdict, error) {
	v, _, err := j.look(ctx, s, false)
	return v, err
}

func (j counter) look(ctx context.Context, s standing.Situation, _ bool) (*standing.Verdict, mover, error) {
	p, axis := j.missing(s)
	if p < 0 {
		return &standing.Verdict{Stands: true}, nil, ctx.Err()
	}
	u := [2]geom.Vec{geom.V(1, 0, 0), geom.V(0, 1, 0)}[axis]
	mark := j.f.Timbers()[p].Mark
	v := &standing.Verdict{Governing: standing.Usage{Kind: standing.Mechanism, Share: math.Inf(1), Piece: mark, Words: mark + " goes over."}}
	return v, func(b *brace.Brace, _ bool) float64 {
		if b.Timber != p {
			return 0
		}
		return math.Abs(geom.Dot(u, geom.Unit(geom.Sub(b.Top, b.Foot))))
	}, ctx.Err()
}
