package raising_test

import (
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// tester is what check needs of a test or of a property under test.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Failed() bool
}

// check replays an order forward and refuses a move whose joints with what stands do not close along its
// way home, that is joined to nothing that stands, or whose units cannot have been put together before.
// It shares no code with the search.
func check(t tester, p raising.Puzzle, moves []raising.Move) {
	t.Helper()
	when := make([]int, len(p.Units))
	for i := range when {
		when[i] = -1
	}
	for m, mv := range moves {
		for _, u := range mv.Units {
			if when[u] >= 0 {
				t.Errorf("%s is raised twice, in moves %d and %d", p.Units[u].Name, when[u]+1, m+1)
			}
			when[u] = m
		}
	}
	for u, w := range when {
		if w < 0 {
			t.Errorf("%s is never raised", p.Units[u].Name)
		}
	}
	if t.Failed() {
		return
	}
	joined := make([]bool, len(p.Units)) // to the deck, through what stands
	for m, mv := range moves {
		away := geom.Scale(-1, mv.Home)
		closing := []int{}
		supported := false
		for i, l := range p.Links {
			e, r := when[l.Entering], -1
			if l.Receiving != raising.Deck {
				r = when[l.Receiving]
			}
			switch {
			case e == m && r < m:
				closing = append(closing, i)
				supported = supported || l.Receiving == raising.Deck || joined[l.Receiving]
				if !l.Opens(away) {
					t.Errorf("move %d: %s does not close along %v", m+1, l.ID, mv.Home)
				}
			case r == m && e < m && l.Receiving != raising.Deck:
				closing = append(closing, i)
				supported = supported || joined[l.Entering]
				if !l.Opens(geom.Scale(-1, away)) {
					t.Errorf("move %d: %s does not close along %v", m+1, l.ID, mv.Home)
				}
			}
		}
		if !supported {
			t.Errorf("move %d: %s is joined to nothing that stands", m+1, p.Units[mv.Units[0]].Name)
		}
		got := slices.Clone(mv.Links)
		slices.Sort(got)
		if !slices.Equal(got, closing) {
			t.Errorf("move %d: it says that links %v close, but %v do", m+1, got, closing)
		}
		for _, u := range mv.Units {
			joined[u] = true
		}
		if len(mv.Units) > 1 && !assembles(p, mv.Units) {
			t.Errorf("move %d: %v cannot be put together beforehand", m+1, mv.Units)
		}
		for _, b := range mv.After {
			if b.Move >= m || len(b.Links) == 0 {
				t.Errorf("move %d: it follows move %d by links %v", m+1, b.Move+1, b.Links)
			}
		}
	}
}

// assembles says whether a group comes apart into two parts along some way of the joints between its
// units, and so do the parts, until single units are left.
func assembles(p raising.Puzzle, units []int) bool {
	if len(units) < 2 {
		return true
	}
	for _, seed := range units {
		for _, d := range waysOf(p, units) {
			part := []int{seed}
			for i := 0; i < len(part); i++ {
				for _, l := range p.Links {
					x, y, way := l.Entering, l.Receiving, d
					if y == part[i] {
						x, y, way = y, x, geom.Scale(-1, d)
					}
					if x == part[i] && slices.Contains(units, y) && !slices.Contains(part, y) && !l.Opens(way) {
						part = append(part, y)
					}
				}
			}
			if len(part) < len(units) {
				rest := slices.DeleteFunc(slices.Clone(units), func(u int) bool { return slices.Contains(part, u) })
				return assembles(p, part) && assembles(p, rest)
			}
		}
	}
	return false
}

// waysOf lists the ways of the joints between some units, and their opposites, and up for units without.
func waysOf(p raising.Puzzle, units []int) []geom.Vec {
	ways := []geom.Vec{geom.Up()}
	for _, l := range p.Links {
		if slices.Contains(units, l.Entering) && slices.Contains(units, l.Receiving) {
			for _, w := range l.Ways {
				ways = append(ways, w, geom.Scale(-1, w))
			}
		}
	}
	return ways
}
