package makesafe

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// kit is what one brace can be made of.
type kit struct {
	lumber brace.Lumber
	head   brace.Fastening
	anchor brace.Anchor
}

// yard is the stock that braces are made of.
type yard struct {
	stock brace.Stock
	// counted says that the stock has a count of anything.
	counted bool
	// shortest is the shortest board that was asked for to the deck or the ground and that no length of the stock would do for; 0 for none.
	shortest float64
}

func newYard(stock brace.Stock) *yard {
	y := &yard{stock: stock}
	for _, l := range stock.Lumber {
		y.counted = y.counted || slices.ContainsFunc(l.Counts, func(n int) bool { return n >= 0 })
	}
	return y
}

// plenty is the same stock with as many of everything as wanted.
func (y *yard) plenty() *yard {
	s := y.stock
	s.Lumber = slices.Clone(s.Lumber)
	for i := range s.Lumber {
		l := &s.Lumber[i]
		l.Counts = make([]int, len(l.LengthsMM))
		for k := range l.Counts {
			l.Counts[k] = -1
		}
	}
	return newYard(s)
}

// long says whether the stock has a board that a brace can be cut from.
func (y *yard) long(b *brace.Brace) bool {
	const roughMM = 10 // cut off a board's end, as in brace.Cuts
	need := b.Cut().LengthMM + roughMM
	for i, mm := range b.Lumber.LengthsMM {
		if mm >= need && (i >= len(b.Lumber.Counts) || b.Lumber.Counts[i] != 0) {
			return true
		}
	}
	if b.FootTimber < 0 && (y.shortest == 0 || need < y.shortest) {
		y.shortest = need
	}
	return false
}

// kits lists what a brace in one place can be made of, first choice first: boards that can push before those that only pull,
// then lighter before heavier, each with the first fastening that goes through it and the first anchor. After the
// first come those that are better in one thing, fastening, anchor or board, with as little of the rest changed as may be.
func (y *yard) kits(b brace.Brace, g model.Ground, pushes float64) []kit {
	var anchors []brace.Anchor
	for _, a := range y.stock.Anchors {
		if a.Ground == g {
			anchors = append(anchors, a)
		}
	}
	if g == model.OnTimber {
		anchors = []brace.Anchor{{Ground: model.OnTimber}}
	}
	if len(anchors) == 0 {
		return nil
	}
	var all []kit
	for _, l := range y.boards(b, pushes) {
		for _, a := range anchors {
			for _, h := range y.stock.Fastenings {
				k := kit{l, h, a}
				if h.Fits(l) && (len(all) == 0 || k.improves(all)) {
					all = append(all, k)
				}
			}
		}
	}
	return all
}

// boards are those that a brace can be cut from, first choice first. Where one can push, those that cannot are left out.
func (y *yard) boards(b brace.Brace, pushes float64) []brace.Lumber {
	type board struct {
		l     brace.Lumber
		pushN float64
	}
	var fit []board
	for _, l := range y.stock.Lumber {
		b.Lumber = l
		if y.long(&b) {
			fit = append(fit, board{l, b.PushN(pushes)})
		}
	}
	if slices.ContainsFunc(fit, func(x board) bool { return x.pushN > 0 }) {
		fit = slices.DeleteFunc(fit, func(x board) bool { return x.pushN <= 0 })
	}
	slices.SortStableFunc(fit, func(x, z board) int {
		return compare(x.l.WidthMM*x.l.DepthMM, z.l.WidthMM*z.l.DepthMM)
	})
	var boards []brace.Lumber
	for _, x := range fit {
		boards = append(boards, x.l)
	}
	return boards
}

// improves says whether a kit is better in something than each of some others.
func (k kit) improves(others []kit) bool {
	for _, o := range others {
		if k.head.HoldsN <= o.head.HoldsN && k.area() <= o.area() && k.anchorN() <= o.anchorN() {
			return false
		}
	}
	return true
}

// anchorN is a measure of what an anchor holds, to tell which is stronger.
func (k kit) anchorN() float64 { return math.Min(k.anchor.UpN, k.anchor.AcrossN) }

// area is that of the board's section, in mm².
func (k kit) area() float64 { return k.lumber.WidthMM * k.lumber.DepthMM }

// short says which of some braces there is no board for.
func (y *yard) short(set []brace.Brace) []brace.Brace {
	if !y.counted {
		return nil
	}
	var missing []brace.Brace
	for i, c := range brace.Cuts(set, y.stock) {
		if c.StockMM == 0 {
			missing = append(missing, set[i])
		}
	}
	return missing
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
