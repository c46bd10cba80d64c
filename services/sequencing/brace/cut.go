package brace

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/platform/units"
)

const (
	// lapMM is how far a brace runs on past the middle of its fasteners where it laps a timber, so that they keep their
	// distance from its end.
	lapMM = 120.0
	// kerfMM is what a saw takes between two cuts, and endMM what is cut off a board's rough end.
	kerfMM, endMM = 4.0, 10.0
	// roundMM is what lengths are rounded up to, so that they can be read on a rule.
	roundMM = 1.0
)

// Cut is what to cut for the brace, without stock. Where it laps a timber it is square and runs on past its fasteners; a foot on
// deck or ground is cut level, so it is off square by what the brace lacks to plumb.
func (b Brace) Cut() Cut {
	c := Cut{ID: b.ID, SlopeDeg: b.SlopeDeg()}
	length := b.LengthMM() + lapMM
	if b.OnTimber() {
		length += lapMM
	} else {
		c.FootBevelDeg = 90 - c.SlopeDeg
		// The point is on the middle of the board, so the long point is half a board on.
		length += b.Lumber.DepthMM / 2 * math.Tan(geom.Radians(math.Min(c.FootBevelDeg, mostBevelDeg)))
		c.FootBevelDeg = math.Min(c.FootBevelDeg, mostBevelDeg)
	}
	c.LengthMM = math.Ceil(length/roundMM-1e-6) * roundMM
	c.Words = b.words(c)
	return c
}

// mostBevelDeg is the flattest cut that is made; a flatter brace keeps a blunt foot.
const mostBevelDeg = 70.0

func (b Brace) words(c Cut) string {
	top := fmt.Sprintf("top square, laps %s with %s", b.Mark, b.Head.Name)
	foot := fmt.Sprintf("foot %.0f degrees off square, %s to %s", c.FootBevelDeg, b.Head.Name, b.Anchor.Name)
	if b.OnTimber() {
		foot = fmt.Sprintf("foot square, laps %s with %s", b.FootMark, b.Head.Name)
	}
	return fmt.Sprintf("%s, %s long point to long point (%.0f mm): %s; %s.", b.Lumber.Name, units.FeetInches(c.LengthMM), c.LengthMM, top, foot)
}

// Cuts is what to cut for all braces out of the stock, in the order given. Long ones are cut first, each out of what is left of a
// board already begun or else out of the shortest board at hand that is long enough; a kerf goes between two cuts and the
// rough end comes off. What the stock does not have is 0 in StockMM and said in words.
func Cuts(braces []Brace, stock Stock) []Cut {
	cuts := make([]Cut, len(braces))
	order := make([]int, len(braces))
	for i, b := range braces {
		cuts[i], order[i] = b.Cut(), i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(cuts[b].LengthMM, cuts[a].LengthMM) })
	y := newYard(stock)
	for _, i := range order {
		y.saw(&cuts[i], braces[i].Lumber)
	}
	return cuts
}

// board is one that has been begun.
type board struct {
	lumber    string
	number    int
	lengthMM  float64
	remainsMM float64
}

// yard is the stock while it is cut.
type yard struct {
	lumber map[string]Lumber
	left   map[string][]int
	boards []board
}

func newYard(stock Stock) *yard {
	y := &yard{lumber: map[string]Lumber{}, left: map[string][]int{}}
	for _, l := range stock.Lumber {
		y.lumber[l.ID] = l
		y.left[l.ID] = slices.Clone(l.Counts)
	}
	return y
}

// saw finds a board for a cut.
func (y *yard) saw(c *Cut, own Lumber) {
	l, ok := y.lumber[own.ID]
	if !ok {
		c.Words += fmt.Sprintf(" The stock has no %s.", own.Name)
		return
	}
	best := -1
	for i, b := range y.boards {
		if b.lumber == l.ID && b.remainsMM >= c.LengthMM+kerfMM && (best < 0 || b.remainsMM < y.boards[best].remainsMM) {
			best = i
		}
	}
	if best < 0 {
		best = y.begin(l, c.LengthMM)
	}
	if best < 0 {
		c.Words += fmt.Sprintf(" No %s at hand is long enough; splice none, find one or move the brace.", own.Name)
		return
	}
	b := &y.boards[best]
	b.remainsMM -= c.LengthMM + kerfMM
	c.StockMM, c.Board = b.lengthMM, b.number
	c.Words += fmt.Sprintf(" Cut it from board %d, %s.", b.number, units.FeetInches(b.lengthMM))
}

// begin takes the shortest board that is long enough from the stock; −1 when there is none.
func (y *yard) begin(l Lumber, lengthMM float64) int {
	at := -1
	for i, have := range l.LengthsMM {
		count := -1
		if i < len(y.left[l.ID]) {
			count = y.left[l.ID][i]
		}
		if count != 0 && have >= lengthMM+endMM && (at < 0 || have < l.LengthsMM[at]) {
			at = i
		}
	}
	if at < 0 {
		return -1
	}
	if at < len(y.left[l.ID]) && y.left[l.ID][at] > 0 {
		y.left[l.ID][at]--
	}
	// The cut that ends a board needs no kerf behind it, hence the one that is added here.
	y.boards = append(y.boards, board{lumber: l.ID, number: len(y.boards) + 1, lengthMM: l.LengthsMM[at], remainsMM: l.LengthsMM[at] - endMM + kerfMM})
	return len(y.boards) - 1
}
