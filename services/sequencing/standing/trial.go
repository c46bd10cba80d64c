package standing

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// trial is one combination in one direction, at either end of the range of stiffness.
type trial struct {
	name  string
	combo *Combination
	// way is the direction of the notional load and the wind; −1 for none.
	way int
	// pull is a force of the neighbour on a place of what stands, with its factor; nil for none.
	pull *pull
}

// windy says that the gust has a part in it.
func (t *trial) windy() bool { return t.combo.Wind > 0 }

// pull is a force in N, level, at a place of what stands.
type pull struct {
	timber int
	fromMM float64
	force  geom.Vec
	words  string
}

// trials are all combinations with their directions and places. Those that tend to govern come first: less weight
// before more, the wind before what is only notional.
func (c *Checker) trials(s *state) []trial {
	var windy, other []trial
	add := func(combo *Combination) {
		for _, t := range c.spread(s, combo) {
			if t.windy() {
				windy = append(windy, t)
			} else {
				other = append(other, t)
			}
		}
	}
	for _, lists := range [2][]Combination{c.rules.Combinations, c.rules.NeighbourCombinations} {
		for i := range lists {
			add(&lists[i])
		}
		if len(s.OnHook) == 0 {
			break
		}
	}
	s.windyTrials = len(windy)
	return append(windy, other...)
}

// spread tries one combination in every direction and at every place that it has.
func (c *Checker) spread(s *state, combo *Combination) []trial {
	ways := []int{-1}
	if combo.Notional > 0 || combo.Wind > 0 {
		ways = []int{0, 1, 2, 3}
	}
	pulls := []*pull{nil}
	if combo.ComeAlong > 0 || combo.Bump > 0 {
		if pulls = c.neighbourPulls(s, combo); len(pulls) == 0 {
			pulls = []*pull{nil}
		}
	}
	var list []trial
	for _, w := range ways {
		for _, p := range pulls {
			name := combo.Name
			if w >= 0 {
				name += " " + c.ways[w].words
			}
			if p != nil {
				name += " " + p.words
			}
			list = append(list, trial{name: name, combo: combo, way: w, pull: p})
		}
	}
	return list
}

// caseOf is the loading of a trial on the structure of one end.
func (c *Checker) caseOf(s *state, e *end, t *trial, gustMPS float64) statics.Case {
	k := statics.Case{Name: t.name, Gravity: geom.V(0, 0, -statics.StandardGravity*t.combo.Weight)}
	if t.way >= 0 {
		k.Gravity = geom.Along(k.Gravity, statics.StandardGravity*c.rules.NotionalShare*t.combo.Notional, c.ways[t.way].dir)
	}
	if t.windy() && gustMPS > 0 {
		k.Line = make([]statics.LineLoad, len(e.breeze[t.way]))
		f := t.combo.Wind * gustMPS * gustMPS
		for i, l := range e.breeze[t.way] {
			k.Line[i] = statics.LineLoad{Member: l.Member, W: geom.Scale(f, l.W)}
		}
	}
	if t.combo.Person > 0 && s.person != nil {
		k.Point = appendPoint(k.Point, e.st, s.person.timber, s.person.fromMM,
			geom.V(0, 0, -statics.StandardGravity*c.rules.PersonKG*t.combo.Person))
	}
	if t.pull != nil {
		k.Point = appendPoint(k.Point, e.st, t.pull.timber, t.pull.fromMM, t.pull.force)
	}
	return k
}

func appendPoint(list []statics.PointLoad, st *model.Structure, timber int, fromMM float64, force geom.Vec) []statics.PointLoad {
	if at, ok := st.Locate(timber, fromMM); ok {
		list = append(list, statics.PointLoad{Member: at.Member, At: at.AtM, F: force})
	}
	return list
}
