package sequencing

import (
	"fmt"
	"slices"
	"strings"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// all stands for every joint, or for every post, in a request.
const all = "all"

// mostBraces is how many temporary braces a request may place.
const mostBraces = 2000

// reader turns the marks and ids of a request into a frame's own numbers, and gathers what it cannot find.
type reader struct {
	checker
	f *frame.Frame
}

// pieces are the timbers that marks and ids of assemblies name, each once, by index. Not named is not an error.
func (r *reader) pieces(path string, names []string) []int {
	var out []int
	from := map[int]string{}
	for i, name := range names {
		at := fmt.Sprintf("%s[%d]", path, i)
		found := r.f.Members(name)
		if t, ok := r.f.Index(name); ok {
			found = []int{t}
		}
		if len(found) == 0 {
			r.add(at, "%q is neither the mark of a stick nor the id of an assembly of this frame; see its takeoff", name)
		}
		for _, t := range found {
			if before, twice := from[t]; twice {
				r.add(at, "names %s a second time, after %q; name each stick once", r.mark(t), before)
				continue
			}
			from[t] = name
			out = append(out, t)
		}
	}
	slices.Sort(out)
	return out
}

func (r *reader) mark(t int) string { return r.f.Timbers()[t].Mark }

// standing are the pieces that a request says stand: those named, else those of the moves up to one.
func (r *reader) standing(names []string, afterMove int32, moves []plan.Move) []int {
	switch {
	case len(names) > 0 && afterMove != 0:
		r.add("after_move", "is given beside standing; give one of the two")
	case len(names) > 0:
		return r.pieces("standing", names)
	case afterMove < 1 || int(afterMove) > len(moves):
		r.add("after_move", "must be a move from 1 to %d when standing names no piece, not %d", len(moves), afterMove)
	default:
		return piecesUpTo(moves, int(afterMove))
	}
	return nil
}

// piecesUpTo are the timbers of the moves up to one, by index.
func piecesUpTo(moves []plan.Move, n int) []int {
	var out []int
	for i := range moves[:n] {
		out = append(out, moves[i].Pieces...)
	}
	slices.Sort(out)
	return out
}

// onHook are the pieces of a neighbour; none of them may stand already.
func (r *reader) onHook(names []string, standing []int) []int {
	hook := r.pieces("on_hook", names)
	for _, t := range hook {
		if _, stands := slices.BinarySearch(standing, t); stands {
			r.add("on_hook", "%s stands already; take it out of one of the two", r.mark(t))
		}
	}
	return hook
}

// pegged says for each joint whether its pegs are in: all but those named.
func (r *reader) pegged(path string, unpegged []string) []bool {
	out := make([]bool, len(r.f.Joints()))
	if slices.Contains(unpegged, all) {
		if len(unpegged) > 1 {
			r.add(path, "names joints beside %q; give one of the two", all)
		}
		return out
	}
	for j := range out {
		out[j] = true
	}
	for i, id := range unpegged {
		j, ok := r.f.JointIndex(id)
		if !ok {
			r.add(fmt.Sprintf("%s[%d]", path, i), "there is no joint %q in this frame; give the id of a joint or %q", id, all)
			continue
		}
		out[j] = false
	}
	return out
}

// braces are temporary braces of a request. Lumber is looked up among the boards given, then in the stock.
func (r *reader) braces(path string, given []*sequencingv1.PlacedBrace, stock brace.Stock, standing []int) []brace.Brace {
	if len(given) > mostBraces {
		r.add(path, "has %d braces; at most %d are taken", len(given), mostBraces)
		return nil
	}
	var out []brace.Brace
	ids := map[string]bool{}
	for i, g := range given {
		at := fmt.Sprintf("%s[%d]", path, i)
		r.id(at, g.GetId(), ids)
		out = append(out, r.brace(at, g, stock, standing))
	}
	return out
}

func (r *reader) brace(at string, g *sequencingv1.PlacedBrace, stock brace.Stock, standing []int) brace.Brace {
	b := brace.Brace{ID: g.GetId(), Timber: -1, FootTimber: -1, Mark: g.GetMark(), FootMark: g.GetFootMark()}
	b.Timber = r.holds(at+".mark", g.GetMark(), standing)
	b.Top, b.Foot = r.point(at+".top", g.GetTop()), r.point(at+".foot", g.GetFoot())
	b.Lumber = pick(r, at+".lumber", g.GetLumber(), stock.Lumber, func(l brace.Lumber) string { return l.ID })
	b.Head = pick(r, at+".fastening", g.GetFastening(), stock.Fastenings, func(f brace.Fastening) string { return f.ID })
	switch g.GetGround() {
	case sequencingv1.Ground_GROUND_TIMBER:
		b.FootTimber = r.holds(at+".foot_mark", g.GetFootMark(), standing)
		if b.FootTimber >= 0 && b.FootTimber == b.Timber {
			r.add(at+".foot_mark", "is the stick that the brace holds; a brace needs another to stand on")
		}
		if g.GetAnchor() != "" {
			r.add(at+".anchor", "must be empty where the foot is fixed to a timber")
		}
		b.Anchor = brace.Anchor{Ground: model.OnTimber}
	case sequencingv1.Ground_GROUND_DECK, sequencingv1.Ground_GROUND_STAKE:
		if g.GetFootMark() != "" {
			r.add(at+".foot_mark", "must be empty unless the foot is fixed to a timber")
		}
		b.Anchor = pick(r, at+".anchor", g.GetAnchor(), stock.Anchors, func(a brace.Anchor) string { return a.ID })
		if b.Anchor.ID != "" && groundPB(b.Anchor.Ground) != g.GetGround() {
			r.add(at+".anchor", "%s cannot be used there; see its ground in the stock", b.Anchor.ID)
		}
	default:
		r.add(at+".ground", "must say what the foot is fixed to: deck, stake or timber")
	}
	return b
}

// holds finds a stick that stands.
func (r *reader) holds(path, mark string, standing []int) int {
	t, ok := r.f.Index(mark)
	if !ok {
		r.add(path, "there is no stick %q in this frame", mark)
		return -1
	}
	if standing != nil {
		if _, stands := slices.BinarySearch(standing, t); !stands {
			r.add(path, "%s does not stand, so no brace holds it", mark)
		}
	}
	return t
}

func (r *reader) point(path string, p *framev1.Point) geom.Vec {
	if p == nil {
		r.add(path, "is missing")
		return geom.Vec{}
	}
	for _, f := range []struct {
		axis string
		v    float64
	}{{"x_mm", p.GetXMm()}, {"y_mm", p.GetYMm()}, {"z_mm", p.GetZMm()}} {
		r.within(path+"."+f.axis, f.v, -1e6, 1e6, "mm")
	}
	return geom.V(p.GetXMm(), p.GetYMm(), p.GetZMm())
}

// pick finds an entry of the stock by its id.
func pick[T any](r *reader, path, id string, from []T, idOf func(T) string) T {
	var none T
	var ids []string
	for _, e := range from {
		if idOf(e) == id {
			return e
		}
		ids = append(ids, idOf(e))
	}
	r.add(path, "%q is not in the stock; it has %s", id, strings.Join(ids, ", "))
	return none
}

// gust is the gust of a request, or another when it names none.
func (r *reader) gust(path string, given *float64, otherwise float64) float64 {
	if given == nil {
		return otherwise
	}
	if !(*given >= 0 && *given <= standing.MostGustMPS) {
		r.add(path, "must be from 0 to %d m/s, not %g; a stronger one leaves no bare frame alone", standing.MostGustMPS, *given)
	}
	return *given
}

// placedPB is a brace as a message.
func placedPB(b brace.Brace) *sequencingv1.PlacedBrace {
	out := &sequencingv1.PlacedBrace{
		Id: b.ID, Mark: b.Mark, Top: pointPB(b.Top), Foot: pointPB(b.Foot), Ground: groundPB(b.Anchor.Ground),
		Lumber: b.Lumber.ID, Fastening: b.Head.ID, Anchor: b.Anchor.ID,
	}
	if b.FootTimber >= 0 {
		out.Ground, out.FootMark, out.Anchor = sequencingv1.Ground_GROUND_TIMBER, b.FootMark, ""
	}
	return out
}

func placedPBs(bs []brace.Brace) []*sequencingv1.PlacedBrace {
	var out []*sequencingv1.PlacedBrace
	for _, b := range bs {
		out = append(out, placedPB(b))
	}
	return out
}

func cutsPB(cuts []brace.Cut) []*sequencingv1.BraceCut {
	var out []*sequencingv1.BraceCut
	for _, c := range cuts {
		out = append(out, &sequencingv1.BraceCut{
			Brace: c.ID, LengthMm: c.LengthMM, StockMm: c.StockMM, TopBevelDeg: c.TopBevelDeg, FootBevelDeg: c.FootBevelDeg,
			SlopeDeg: c.SlopeDeg, Instruction: c.Words, Board: int32(c.Board),
		})
	}
	return out
}
