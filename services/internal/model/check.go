package model

import (
	"fmt"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// namedPieces is how many pieces a fault names.
const namedPieces = 8

func fault(piece, format string, args ...any) error {
	return &statics.InputError{Piece: piece, Problem: fmt.Sprintf(format, args...)}
}

// check checks a state against the frame, and marks what stands.
func (w *work) check() error {
	b := w.b
	w.standing = make([]bool, len(b.sticks))
	if len(w.s.Standing) == 0 {
		return fault("state", "nothing stands; name the timbers that do")
	}
	for _, i := range w.s.Standing {
		if i < 0 || i >= len(b.sticks) {
			return fault("state", "the timber with index %d is not in the frame, which has %d; name one that is", i, len(b.sticks))
		}
		if w.standing[i] {
			return fault(b.sticks[i].mark, "it stands twice; name it once")
		}
		w.standing[i] = true
	}
	if n := len(w.s.Pegged); n != 0 && n != len(b.joints) {
		return fault("state", "it says of %d joints whether they are pegged, but the frame has %d; say it of each", n, len(b.joints))
	}
	for _, p := range w.s.Points {
		if p.Timber < 0 || p.Timber >= len(b.sticks) || !w.standing[p.Timber] {
			return fault("state", "a point lies on no timber that stands; name one")
		}
		if s := &b.sticks[p.Timber]; !(p.FromStartMM >= 0 && p.FromStartMM <= s.lengthMM) {
			return fault(s.mark, "a point %v mm from its start is not on it, which is %.0f mm long; move it", p.FromStartMM, s.lengthMM)
		}
	}
	for k := range w.s.Braces {
		br := &w.s.Braces[k]
		if err := w.checkBrace(br); err != nil {
			return err
		}
		if i, through := w.through(br); through {
			return fault(br.Name, "it passes through %s; move its top or its foot", b.sticks[i].mark)
		}
	}
	return nil
}

// through is Through with the boxes at hand.
func (w *work) through(br *Brace) (int, bool) {
	box := geom.BoxOf(br.Top, br.Foot).Grow(reach(br))
	for i := range w.b.sticks {
		if s := &w.b.sticks[i]; w.standing[i] && box.Overlaps(s.box) && pierces(s.solid, br, i) {
			return i, true
		}
	}
	return 0, false
}

// checkCarried names the pieces that nothing connects to the deck.
func (w *work) checkCarried() error {
	if w.s.Carried {
		return nil
	}
	b := w.b
	deck := len(b.sticks)
	sets := make([]int, deck+1)
	for i := range sets {
		sets[i] = i
	}
	root := func(i int) int {
		for sets[i] != i {
			sets[i] = sets[sets[i]]
			i = sets[i]
		}
		return i
	}
	for _, j := range w.closed {
		p := &b.joints[j]
		to := p.receiving
		if to < 0 {
			to = deck
		}
		sets[root(p.entering)] = root(to)
	}
	for k := range w.s.Braces {
		br := &w.s.Braces[k]
		to := deck
		if br.Ground == OnTimber {
			to = br.FootTimber
		}
		sets[root(br.Timber)] = root(to)
	}
	var adrift []string
	more := 0
	for _, i := range b.f.InOrder() {
		if !w.standing[i] || root(i) == root(deck) {
			continue
		}
		if len(adrift) < namedPieces {
			adrift = append(adrift, b.sticks[i].mark)
		} else {
			more++
		}
	}
	if len(adrift) == 0 {
		return nil
	}
	list := strings.Join(adrift, ", ")
	if more > 0 {
		list += fmt.Sprintf(" and %d more", more)
	}
	return fault(adrift[0], "these pieces are not connected to the deck: %s; add the pieces or braces that carry them, or take them away", list)
}
