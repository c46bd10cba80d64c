package sequencing

import (
	"context"
	"errors"
	"fmt"
	"slices"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// whole is a raising whose every state was checked, with what it was computed from.
type whole struct {
	*site
	problem makesafe.RaisingProblem
	plan    *makesafe.RaisingPlan
	// key names all inputs.
	key string
}

// GetStanding checks every state of the raising order with planned braces and the company's rules.
func (s *Service) GetStanding(ctx context.Context, req *sequencingv1.GetStandingRequest) (*sequencingv1.RaisingCheck, error) {
	w, err := s.standing(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	return w.render(), nil
}

// standing is the answer of GetStanding and of the documents made of it.
func (s *Service) standing(ctx context.Context, job, revision string) (*whole, error) {
	return s.checkRaising(ctx, &sequencingv1.CheckRaisingRequest{Job: job, Revision: revision})
}

// CheckRaising checks every state of the raising order.
func (s *Service) CheckRaising(ctx context.Context, req *sequencingv1.CheckRaisingRequest) (*sequencingv1.RaisingCheck, error) {
	w, err := s.checkRaising(ctx, req)
	if err != nil {
		return nil, err
	}
	return w.render(), nil
}

func (s *Service) checkRaising(ctx context.Context, req *sequencingv1.CheckRaisingRequest) (*whole, error) {
	in, err := s.site(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	moves, err := s.moves(ctx, in, true)
	if err != nil {
		return nil, err
	}
	w := &whole{site: in}
	r := reader{f: in.frame}
	w.problem = r.raising(req, moves, rulesOf(in.rules), stockOf(in.stock))
	if err := r.err(); err != nil {
		return nil, err
	}
	w.problem.Site = in.deck()
	w.problem.Moves = makesafe.Moves(in.raising, in.frame, w.problem.Rules.DayHours)
	endDays(w.problem.Moves, req.GetDayEnds())
	w.key = compute.Key("standing", in.key, in.rules, in.stock, &sequencingv1.CheckRaisingRequest{
		Braces: req.GetBraces(), WithoutBraces: req.GetWithoutBraces(), DayEnds: req.GetDayEnds(),
		WorkingGustMPerS: req.WorkingGustMPerS, NightGustMPerS: req.NightGustMPerS,
	})
	w.plan, err = compute.Do(ctx, s.pool, s.standings, w.key, func(ctx context.Context) (*makesafe.RaisingPlan, error) {
		return raise(ctx, w.problem)
	})
	if err != nil {
		return nil, refused(err)
	}
	return w, nil
}

// raise plans the whole raising, or as much of it as the time allows.
func raise(ctx context.Context, p makesafe.RaisingProblem) (*makesafe.RaisingPlan, error) {
	limited, cancel := compute.Within(ctx, searchTime)
	defer cancel()
	var known makesafe.RaisingPlan
	made, err := makesafe.Raising(limited, p, makesafe.Budget{}, func(so makesafe.RaisingPlan) { known = so })
	if err == nil {
		return &made, nil
	}
	if ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded) || len(known.Stages) == 0 {
		return nil, err
	}
	note := "The time was over: the states were not all checked again with each of their braces knocked out."
	if n := len(known.Stages); n < len(p.Moves) {
		note = fmt.Sprintf("The time was over: only the first %d of %d moves were checked.", n, len(p.Moves))
	}
	known.Notes = append(slices.Clone(known.Notes), note)
	return &known, nil
}

// raising reads the problem of a request; its moves and its site are left out.
func (r *reader) raising(req *sequencingv1.CheckRaisingRequest, moves []plan.Move, rules standing.Rules, stock brace.Stock) makesafe.RaisingProblem {
	rules.WorkingGustMPS = r.gust("working_gust_m_per_s", req.WorkingGustMPerS, rules.WorkingGustMPS)
	rules.NightGustMPS = r.gust("night_gust_m_per_s", req.NightGustMPerS, rules.NightGustMPS)
	p := makesafe.RaisingProblem{Frame: r.f, Rules: rules, Stock: stock}
	switch {
	case req.GetWithoutBraces() && len(req.GetBraces()) > 0:
		r.add("without_braces", "is set although braces are given; leave one of the two out")
	case req.GetWithoutBraces():
		p.Given = map[int]makesafe.Given{}
	case len(req.GetBraces()) > 0:
		p.Given = r.given(req.GetBraces(), moves, stock)
	}
	seen := map[int32]bool{}
	for i, n := range req.GetDayEnds() {
		at := fmt.Sprintf("day_ends[%d]", i)
		r.within(at, float64(n), 1, float64(len(moves)), "")
		if seen[n] {
			r.add(at, "names move %d a second time", n)
		}
		seen[n] = true
	}
	return p
}

// given are the braces of a request by move. What is struck must have been set by then, and only once.
func (r *reader) given(groups []*sequencingv1.MoveBraces, moves []plan.Move, stock brace.Stock) map[int]makesafe.Given {
	out := map[int]makesafe.Given{}
	setAt, ids := map[string]int{}, map[string]bool{}
	total := 0
	for i, g := range groups {
		at, n := fmt.Sprintf("braces[%d]", i), int(g.GetMove())
		if n < 1 || n > len(moves) {
			r.add(at+".move", "must be a move from 1 to %d, not %d", len(moves), n)
			continue
		}
		if _, twice := out[n]; twice {
			r.add(at+".move", "names move %d a second time; put its braces together", n)
			continue
		}
		if total += len(g.GetSet()); total > mostBraces {
			r.add("braces", "has more than %d braces; check fewer moves", mostBraces)
			return out
		}
		stands := piecesUpTo(moves, n)
		got := makesafe.Given{Strike: slices.Clone(g.GetStrike())}
		for k, b := range g.GetSet() {
			path := fmt.Sprintf("%s.set[%d]", at, k)
			r.id(path, b.GetId(), ids)
			setAt[b.GetId()] = n
			got.Set = append(got.Set, r.brace(path, b, stock, stands))
		}
		out[n] = got
	}
	struck := map[string]bool{}
	for i, g := range groups {
		for k, id := range g.GetStrike() {
			at := fmt.Sprintf("braces[%d].strike[%d]", i, k)
			if n, set := setAt[id]; !set || n > int(g.GetMove()) {
				r.add(at, "there is no brace %q on after move %d", id, g.GetMove())
			} else if struck[id] {
				r.add(at, "brace %q comes off a second time", id)
			}
			struck[id] = true
		}
	}
	return out
}

// endDays ends days after the moves given, and at the end; none given leaves them as they are.
func endDays(moves []makesafe.Move, ends []int32) {
	if len(ends) == 0 {
		return
	}
	for i := range moves {
		moves[i].DayEnds = slices.Contains(ends, int32(moves[i].Number))
	}
}

// render is the answer as a message.
func (w *whole) render() *sequencingv1.RaisingCheck {
	p := w.plan
	out := &sequencingv1.RaisingCheck{
		ComputedFrom: w.from, Stands: w.stands(), FirstFallingMove: int32(p.First), Planned: p.Planned,
		Cuts: cutsPB(p.Cuts), Notes: slices.Clone(p.Notes), Basis: w.standBasis(w.braces()), Cautions: w.standCautions(),
	}
	for i := range p.Stages {
		out.States = append(out.States, w.statePB(&p.Stages[i]))
	}
	return out
}

// stands says whether every state does; of states that were not looked at, or not with each brace knocked out, it does not.
func (w *whole) stands() bool { return w.plan.Checked && w.plan.First == 0 }

// braces are all braces of the raising, in the order in which they are set.
func (w *whole) braces() []brace.Brace {
	var out []brace.Brace
	for i := range w.plan.Stages {
		out = append(out, w.plan.Stages[i].Set...)
	}
	return out
}

// kept are the braces that stay on after a move: what was struck may be off overnight, and when the next comes.
func kept(s *makesafe.Stage) []brace.Brace {
	return slices.DeleteFunc(slices.Clone(s.On), func(b brace.Brace) bool {
		return slices.ContainsFunc(s.Strike, func(k makesafe.Strike) bool { return k.ID == b.ID })
	})
}

func (w *whole) statePB(s *makesafe.Stage) *sequencingv1.RaisingState {
	rules, kept := &w.problem.Rules, kept(s)
	out := &sequencingv1.RaisingState{
		Move: int32(s.Move), Released: verdictPB(s.Released, stateUses, rules.WorkingGustMPS, s.On),
		Overnight: verdictPB(s.Overnight, stateUses, rules.NightGustMPS, kept), Set: placedPBs(s.Set),
		Beside:     verdictPB(s.Beside, besideUses, rules.WorkingGustMPS, kept),
		KnockedOut: knockedPB(s.Knocked, rules.LowGustMPS, s.On), Refusal: s.Refusal, PegFirst: s.PegFirst,
	}
	for _, k := range s.Strike {
		out.Strike = append(out.Strike, &sequencingv1.Strike{Brace: k.ID, Once: k.Once})
	}
	for _, b := range s.On {
		out.On = append(out.On, b.ID)
	}
	return out
}
