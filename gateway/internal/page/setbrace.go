package page

import (
	"cmp"
	"slices"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
)

// setBrace is a temporary brace of the checked list, as it is set and cut.
type setBrace struct {
	*sequencingv1.PlacedBrace
	// Move is the move with which it is set; 0 for none.
	Move int32
	// LengthMM is long point to long point.
	LengthMM float64
	// Cut is what to cut for it; nil when nobody said.
	Cut *sequencingv1.BraceCut
	// LumberName, TopName and FootName say in words what it is made of and how it is fixed.
	LumberName, TopName, FootName string
	// PullN and PushN are the largest forces in it in the state that is shown.
	PullN, PushN float64
}

// setBraces are all braces of a check in the order in which they are set.
func setBraces(check *sequencingv1.RaisingCheck, stock *sequencingv1.BraceStock) []setBrace {
	var all []setBrace
	for _, state := range check.GetStates() {
		for _, b := range placedBraces(state.GetSet(), check.GetCuts(), stock) {
			b.Move = state.GetMove()
			all = append(all, b)
		}
	}
	return all
}

// placedBraces puts together where braces go, what is cut for them and what the stock calls their parts.
func placedBraces(placed []*sequencingv1.PlacedBrace, cuts []*sequencingv1.BraceCut, stock *sequencingv1.BraceStock) []setBrace {
	names := stockNames(stock)
	cutOf := make(map[string]*sequencingv1.BraceCut, len(cuts))
	for _, cut := range cuts {
		cutOf[cut.GetBrace()] = cut
	}
	all := make([]setBrace, len(placed))
	for i, p := range placed {
		b := setBrace{
			PlacedBrace: p, Cut: cutOf[p.GetId()], LengthMM: distance(p.GetFoot(), p.GetTop()),
			LumberName: names.of("lumber", p.GetLumber()), TopName: names.of("fastening", p.GetFastening()),
		}
		if length := b.Cut.GetLengthMm(); length > 0 {
			b.LengthMM = length
		}
		b.FootName = b.TopName
		if p.GetAnchor() != "" {
			b.FootName = names.of("anchor", p.GetAnchor())
		}
		all[i] = b
	}
	return all
}

// OnTimber says whether the foot is fixed to a timber.
func (b setBrace) OnTimber() bool { return b.GetGround() == sequencingv1.Ground_GROUND_TIMBER }

// OnStake says whether the foot is fixed to a stake in the ground.
func (b setBrace) OnStake() bool { return b.GetGround() == sequencingv1.Ground_GROUND_STAKE }

// BelowMM is how far below the deck the foot is.
func (b setBrace) BelowMM() float64 { return -b.GetFoot().GetZMm() }

// forces takes over the largest forces in the brace from some verdicts.
func (b *setBrace) forces(verdicts ...*sequencingv1.Verdict) {
	for _, verdict := range verdicts {
		for _, f := range verdict.GetBraceForces() {
			if f.GetBrace() == b.GetId() {
				b.PullN, b.PushN = max(b.PullN, f.GetPullN()), max(b.PushN, f.GetPushN())
			}
		}
	}
}

// nameBook are the names of a stock's parts by kind and id.
type nameBook map[[2]string]string

func stockNames(stock *sequencingv1.BraceStock) nameBook {
	names := nameBook{}
	for _, l := range stock.GetLumber() {
		names[[2]string{"lumber", l.GetId()}] = l.GetName()
	}
	for _, f := range stock.GetFastenings() {
		names[[2]string{"fastening", f.GetId()}] = f.GetName()
	}
	for _, a := range stock.GetAnchors() {
		names[[2]string{"anchor", a.GetId()}] = a.GetName()
	}
	return names
}

// of gives the name of a part; its id when the stock no longer has it.
func (n nameBook) of(kind, id string) string { return cmp.Or(n[[2]string{kind, id}], id) }

// board is how many pieces of one length of lumber there must be.
type board struct {
	Lumber string
	// LengthMM is the length of the stock; of a piece that no stock is long enough for, 0.
	LengthMM float64
	Count    int
}

// boards counts the pieces by lumber and length of stock, in the order of both.
func boards(braces []setBrace) []board {
	type key struct {
		lumber string
		length float64
	}
	counts := map[key]int{}
	for _, b := range braces {
		counts[key{b.LumberName, b.Cut.GetStockMm()}]++
	}
	all := make([]board, 0, len(counts))
	for k, n := range counts {
		all = append(all, board{Lumber: k.lumber, LengthMM: k.length, Count: n})
	}
	slices.SortFunc(all, func(a, b board) int {
		return cmp.Or(cmp.Compare(a.Lumber, b.Lumber), cmp.Compare(a.LengthMM, b.LengthMM))
	})
	return all
}
