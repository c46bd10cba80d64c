package makesafe

import (
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// mend answers a fall with a stronger brace, one more, one more after another was moved, or without one that is too weak; nil
// when there is nothing.
func (s *search) mend(set []choice, f *fall) []choice {
	if stronger := s.strengthen(set, f.v); stronger != nil {
		return stronger
	}
	if f.v.Governing.Kind == standing.AnchorOut && f.v.Governing.Share > hopeless {
		if less := s.giveUp(set, f.v, model.OnGround); less != nil {
			return less
		}
	}
	k := s.beside(set, f.v)
	if k < 0 {
		k = s.best(set, f.v, f.move)
	}
	if k < 0 && !s.plain {
		k = s.habit(set)
	}
	if k >= 0 {
		return append(slices.Clone(set), choice{place: k})
	}
	if more := s.makeRoom(set, f.v, f.move); more != nil {
		return more
	}
	return s.giveUp(set, f.v, model.OnDeck, model.OnGround, model.OnTimber)
}

// giveUp takes out a brace on some grounds that is too weak and cannot be helped, and does not use its place again; nil when it is no such
// brace that governs.
func (s *search) giveUp(set []choice, v *standing.Verdict, grounds ...model.Ground) []choice {
	switch v.Governing.Kind {
	case standing.BraceBuckled, standing.BraceFastening, standing.AnchorOut:
	default:
		return nil
	}
	for i, o := range set {
		if s.id(i) == v.Governing.Piece && slices.Contains(grounds, s.c.places[o.place].brace.Anchor.Ground) {
			s.usable = slices.DeleteFunc(s.usable, func(k int) bool { return k == o.place })
			return slices.Delete(slices.Clone(set), i, i+1)
		}
	}
	return nil
}

// strengthen makes the brace that governs stronger, when it is a brace that fails and there is such; else nil.
func (s *search) strengthen(set []choice, v *standing.Verdict) []choice {
	switch v.Governing.Kind {
	case standing.BraceBuckled, standing.BraceFastening, standing.AnchorOut:
	default:
		return nil
	}
	for i := range set {
		if s.id(i) != v.Governing.Piece {
			continue
		}
		kits := s.c.places[set[i].place].kits
		for k := set[i].kit + 1; k < len(kits); k++ {
			more := slices.Clone(set)
			more[i].kit = k
			if better(kits[set[i].kit], kits[k], v.Governing.Kind) && len(s.short(more)) == 0 && !s.swells(more, i) {
				return more
			}
		}
	}
	return nil
}

// beside is a place beside a brace that is too weak: on the same stick, to the same side; −1 for none.
func (s *search) beside(set []choice, v *standing.Verdict) int {
	i := 0
	for i < len(set) && s.id(i) != v.Governing.Piece {
		i++
	}
	if i == len(set) {
		return -1
	}
	p := &s.c.places[set[i].place]
	for _, k := range s.usable {
		o := &s.c.places[k]
		if o.brace.Timber == p.brace.Timber && o.kind == p.kind && geom.Dot(o.side, p.side) > 0.9 && s.fits(k, set) {
			return k
		}
	}
	return -1
}

// better says whether kit b is better than a against a kind of failure, and no worse in anything.
func better(a, b kit, kind standing.FailureKind) bool {
	if b.area() < a.area() || b.head.HoldsN < a.head.HoldsN || b.anchorN() < a.anchorN() {
		return false
	}
	switch kind {
	case standing.BraceBuckled:
		return b.area() > a.area()
	case standing.BraceFastening:
		return b.head.HoldsN > a.head.HoldsN
	}
	return b.anchorN() > a.anchorN()
}

// best is the easiest place, for what it takes of the motion, among those that take at least half as much as any that fits;
// −1 for none.
func (s *search) best(set []choice, v *standing.Verdict, move mover) int {
	type candidate struct {
		place int
		share float64
	}
	var fit []candidate
	most := 0.0
	tried := map[int]bool{}
	for _, k := range s.usable { // cheapest first: of a slot the first that fits
		p := &s.c.places[k]
		if tried[p.slot] {
			continue
		}
		share := p.share(v, move)
		if share < leastShare || !s.fits(k, set) {
			continue
		}
		tried[p.slot] = true
		fit = append(fit, candidate{k, share})
		most = max(most, share)
	}
	best, score := -1, 0.0
	for _, c := range fit {
		if x := c.share / s.c.places[c.place].cost; c.share >= most/2 && x > score*1.0001 {
			best, score = c.place, x
		}
	}
	return best
}

// share is how much of the motion of a falling state a brace would take; without a motion, whether it holds what fails.
func (p *place) share(v *standing.Verdict, move mover) float64 {
	switch {
	case move != nil:
		return move(&p.brace, p.pulls)
	case p.brace.Mark == v.Governing.Piece:
		return 1
	}
	return 0
}

// habit is the place that a rigger would take without knowing what governs: on the post that has fewest braces in a
// direction, at most one to either side; −1 for none.
func (s *search) habit(set []choice) int {
	best, fewest := -1, 2
	on := s.on(set)
	for _, k := range s.usable {
		p := &s.c.places[k]
		if p.kind != fromPost && p.kind != toStake {
			continue
		}
		n := 0
		for i := range on {
			d := geom.Unit(geom.V(on[i].Foot.X-on[i].Top.X, on[i].Foot.Y-on[i].Top.Y, 0))
			if on[i].Timber == p.brace.Timber && math.Abs(geom.Dot(d, p.side)) > sideShare {
				n++
				if geom.Dot(d, p.side) > 0 {
					n = fewest // that side has one
				}
			}
		}
		if n < fewest && s.fits(k, set) {
			best, fewest = k, n
		}
	}
	return best
}

// makeRoom adds a place that takes part of the motion after one brace that is in its way was moved to another place of
// its slot; nil when there is none.
func (s *search) makeRoom(set []choice, v *standing.Verdict, move mover) []choice {
	for _, k := range s.usable {
		p := &s.c.places[k]
		if slices.ContainsFunc(set, func(o choice) bool { return s.c.places[o.place].slot == p.slot }) || p.share(v, move) < leastShare {
			continue
		}
		at := -1
		for i, o := range set {
			if s.together(o, choice{place: k}) {
				continue
			}
			if at >= 0 {
				at = -1
				break
			}
			at = i
		}
		if at < 0 {
			continue
		}
		rest := append(slices.Delete(slices.Clone(set), at, at+1), choice{place: k})
		slot := s.c.places[set[at].place].slot
		for _, o := range s.usable {
			if s.c.places[o].slot == slot && s.fits(o, rest) {
				more := slices.Clone(set)
				more[at] = choice{place: o}
				return append(more, choice{place: k})
			}
		}
	}
	return nil
}
