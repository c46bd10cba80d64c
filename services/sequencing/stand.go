package sequencing

import (
	"context"
	"slices"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// GetStandRules gives the company's rules of the stand check, or the defaults when it has put none.
func (s *Service) GetStandRules(ctx context.Context, _ *sequencingv1.GetStandRulesRequest) (*sequencingv1.StandRules, error) {
	return rulesLeaf().get(ctx, s.db)
}

// PutStandRules puts the company's rules of the stand check in place of the old.
func (s *Service) PutStandRules(ctx context.Context, req *sequencingv1.PutStandRulesRequest) (*sequencingv1.StandRules, error) {
	if err := checkRules(req.GetRules()); err != nil {
		return nil, err
	}
	return rulesLeaf().set(ctx, s.db, req.GetRules(), store.Micros(s.now()))
}

// GetBraceStock gives what the company braces with, or the defaults when it has put nothing.
func (s *Service) GetBraceStock(ctx context.Context, _ *sequencingv1.GetBraceStockRequest) (*sequencingv1.BraceStock, error) {
	return stockLeaf().get(ctx, s.db)
}

// PutBraceStock puts what the company braces with in place of the old.
func (s *Service) PutBraceStock(ctx context.Context, req *sequencingv1.PutBraceStockRequest) (*sequencingv1.BraceStock, error) {
	if err := checkStock(req.GetStock()); err != nil {
		return nil, err
	}
	return stockLeaf().set(ctx, s.db, req.GetStock(), store.Micros(s.now()))
}

// site is what every answer about standing is computed from: the frame and its job, the rates that the raising order
// needs, the rules and the stock.
type site struct {
	*answer
	rules *sequencingv1.StandRules
	stock *sequencingv1.BraceStock
}

// site gathers the inputs of an answer about standing; the raising order is not among them yet.
func (s *Service) site(ctx context.Context, job, revision string) (*site, error) {
	a, err := s.load(ctx, job, revision)
	if err != nil {
		return nil, err
	}
	in := &site{answer: a}
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		if in.rules, _, err = rulesLeaf().read(ctx, tx, a.company); err != nil {
			return err
		}
		in.stock, _, err = stockLeaf().read(ctx, tx, a.company)
		return err
	})
	return in, err
}

// moves are the moves of the raising order, computed when they are wanted.
func (s *Service) moves(ctx context.Context, in *site, wanted bool) ([]plan.Move, error) {
	if !wanted {
		return nil, nil
	}
	if err := s.order(ctx, in.answer); err != nil {
		return nil, err
	}
	return in.raising.Moves, nil
}

// CheckStand says whether a set of pieces stands.
func (s *Service) CheckStand(ctx context.Context, req *sequencingv1.CheckStandRequest) (*sequencingv1.StandCheck, error) {
	in, err := s.site(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	moves, err := s.moves(ctx, in, len(req.GetStanding()) == 0)
	if err != nil {
		return nil, err
	}
	rules := rulesOf(in.rules)
	r := reader{f: in.frame}
	state := standing.Situation{Standing: r.standing(req.GetStanding(), req.GetAfterMove(), moves)}
	state.OnHook = r.onHook(req.GetOnHook(), state.Standing)
	state.Pegged = r.pegged("unpegged", req.GetUnpegged())
	state.Braces = r.braces("braces", req.GetBraces(), stockOf(in.stock), state.Standing)
	state.GustMPS = r.gust("gust_m_per_s", req.GustMPerS, rules.WorkingGustMPS)
	if err := r.err(); err != nil {
		return nil, err
	}
	v, err := s.verdict(ctx, in, state, standing.Ask{HighestGust: true})
	if err != nil {
		return nil, err
	}
	out := &sequencingv1.StandCheck{
		ComputedFrom: in.from, Verdict: verdictPB(v, mostUses, state.GustMPS, state.Braces),
		Notes: slices.Clone(v.Notes), Basis: in.standBasis(state.Braces), Cautions: in.standCautions(),
	}
	for _, t := range state.Standing {
		out.Standing = append(out.Standing, r.mark(t))
	}
	return out, nil
}

// verdict checks one state, or gives the kept verdict of the same state.
func (s *Service) verdict(ctx context.Context, in *site, state standing.Situation, ask standing.Ask) (*standing.Verdict, error) {
	cache := s.verdicts
	if ask.Keep {
		// A verdict with all its runs is large, and only a picture is made of it, which is kept itself.
		cache = nil
	}
	v, err := compute.Do(ctx, s.pool, cache, compute.Key("stand", in.named(), in.rules, state, ask),
		func(ctx context.Context) (*standing.Verdict, error) {
			return standing.Check(ctx, in.frame, state, rulesOf(in.rules), ask)
		})
	return v, refused(err)
}

// deck is the deck as the choice of braces sees it.
func (in *site) deck() makesafe.Site {
	at := siteOf(in.job)
	return makesafe.Site{Deck: at.Deck, DeckMM: at.DeckMM}
}

// stockWith is the company's stock with the boards of a request in place of its own, when it names some.
func (in *site) stockWith(given []*sequencingv1.Lumber) brace.Stock {
	stock := stockOf(in.stock)
	if len(given) == 0 {
		return stock
	}
	stock.Lumber = nil
	for _, l := range given {
		stock.Lumber = append(stock.Lumber, lumberOf(l))
	}
	return stock
}

// allBoards adds the company's own boards to a stock, for braces that are on already.
func (in *site) allBoards(stock brace.Stock) brace.Stock {
	stock.Lumber = slices.Concat(stock.Lumber, stockOf(in.stock).Lumber)
	return stock
}
