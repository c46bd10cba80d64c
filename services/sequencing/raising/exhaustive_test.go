package raising_test

import (
	"errors"
	"fmt"
	"math/bits"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// sixWays are the ways of the tenons of random puzzles.
var sixWays = [...]geom.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}}

// drawPuzzle makes a small puzzle in which everything is joined to the deck.
func drawPuzzle(t *rapid.T) raising.Puzzle {
	m := newMaker()
	n := rapid.IntRange(1, 6).Draw(t, "units")
	feet := 0
	for i := range n {
		name := fmt.Sprintf("u%d", i)
		stands := i == 0 || rapid.IntRange(0, 3).Draw(t, "stands") == 0
		class := raising.Class(rapid.IntRange(1, 2).Draw(t, "class"))
		if stands {
			class = raising.Standing
			feet++
		}
		m.unit(name, class, rapid.Int64Range(0, 5).Draw(t, "x"), rapid.Int64Range(0, 5).Draw(t, "z"),
			rapid.IntRange(0, 4).Draw(t, "assembly") == 0)
		if stands {
			m.stand(name, rapid.Bool().Draw(t, "bearing"), geom.V(float64(i)*1000, 0, 0))
		}
		if i > 0 && !stands {
			other := fmt.Sprintf("u%d", rapid.IntRange(0, i-1).Draw(t, "on"))
			m.tenon(fmt.Sprintf("j%d", i), name, other, rapid.SampledFrom(sixWays[:]).Draw(t, "way"), geom.V(0, 0, 1000))
		}
	}
	for k := range rapid.IntRange(0, n).Draw(t, "more") {
		a, b := rapid.IntRange(0, n-1).Draw(t, "a"), rapid.IntRange(0, n-1).Draw(t, "b")
		if a != b {
			m.tenon(fmt.Sprintf("k%d", k), fmt.Sprintf("u%d", a), fmt.Sprintf("u%d", b),
				rapid.SampledFrom(sixWays[:]).Draw(t, "way"), geom.V(0, 0, 1000))
		}
	}
	return m.p
}

// oracle decides by trying every set in every way, with memory of the states that lead nowhere.
type oracle struct {
	p      raising.Puzzle
	failed map[uint]bool
}

// closed says whether set may leave the rest of there along d.
func (o *oracle) closed(there, set uint, d geom.Vec, deck bool) bool {
	for _, l := range o.p.Links {
		e := set>>l.Entering&1 == 1
		if l.Receiving == raising.Deck {
			if deck && e && !l.Opens(d) {
				return false
			}
			continue
		}
		r := set>>l.Receiving&1 == 1
		if e == r || there>>l.Entering&1 == 0 || there>>l.Receiving&1 == 0 {
			continue
		}
		if e && !l.Opens(d) || r && !l.Opens(geom.Scale(-1, d)) {
			return false
		}
	}
	return true
}

// joined says whether all of a set is joined to the deck.
func (o *oracle) joined(set uint) bool {
	var seen uint
	for changed := true; changed; {
		changed = false
		for _, l := range o.p.Links {
			e := uint(1) << l.Entering
			if l.Receiving == raising.Deck {
				if set&e != 0 && seen&e == 0 {
					seen, changed = seen|e, true
				}
				continue
			}
			both := e | uint(1)<<l.Receiving
			if set&both == both && seen&both != 0 && seen&both != both {
				seen, changed = seen|both, true
			}
		}
	}
	return seen == set
}

// group says whether a set may be put together beforehand and moved as one. All feet of these puzzles
// stand in one line, so every set lies flat.
func (o *oracle) group(set uint) bool {
	assemblies := 0
	for u, unit := range o.p.Units {
		if set>>u&1 == 1 && unit.Assembly {
			assemblies++
		}
	}
	return assemblies <= 1 && o.apart(set)
}

// apart says whether a set lying free comes apart into single units.
func (o *oracle) apart(set uint) bool {
	if bits.OnesCount(set) < 2 {
		return true
	}
	for part := (set - 1) & set; part > 0; part = (part - 1) & set {
		for _, d := range sixWays {
			if o.closed(set, part, d, false) && o.apart(part) && o.apart(set&^part) {
				return true
			}
		}
	}
	return false
}

// opens says whether what is there can be taken away step by step.
func (o *oracle) opens(there uint) bool {
	if there == 0 {
		return true
	}
	if o.failed[there] {
		return false
	}
	for part := there; part > 0; part = (part - 1) & there {
		if !o.joined(there&^part) || !o.group(part) {
			continue
		}
		for _, d := range sixWays {
			if o.closed(there, part, d, true) && o.opens(there&^part) {
				return true
			}
		}
	}
	o.failed[there] = true
	return false
}

// Against trying everything: an order is found where there is one, and a lock is named where there is none.
func TestOrderAgainstExhaustiveSearch(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(r *rapid.T) {
		p := drawPuzzle(r)
		o := &oracle{p: p, failed: map[uint]bool{}}
		possible := o.opens(1<<len(p.Units) - 1)
		moves, err := raising.Order(t.Context(), p)
		var lock *raising.Locked
		switch {
		case err == nil && !possible:
			r.Fatalf("an order was found where there is none: %v", moves)
		case err != nil && possible:
			r.Fatalf("no order was found where there is one: %v", err)
		case err != nil && !errors.As(err, &lock):
			r.Fatalf("error %T", err)
		case err != nil && len(lock.Joints) == 0:
			r.Fatalf("lock without joints: %v", err)
		case err == nil:
			check(r, p, moves)
		}
	})
}
