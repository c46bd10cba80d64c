package makesafe

import (
	"context"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// judge says whether a state stands. A state with a brace knocked out has nobody on it: the rule is self weight and a low
// gust.
type judge interface {
	// look ends at the first failure and says how the state moves then; nil when that is not known. The verdict of a state
	// that stands is whole.
	look(ctx context.Context, s standing.Situation, knocked bool) (*standing.Verdict, mover, error)
	// verdict says all of it, without the motions.
	verdict(ctx context.Context, s standing.Situation, knocked bool) (*standing.Verdict, error)
}

// mover says how much of the motion in which a state falls a brace takes: by how much it would be drawn out or pushed
// together, or drawn out alone when it only pulls; 1 is as much as anything moves.
type mover func(b *brace.Brace, pulls bool) float64

// checked is the judge of package standing: one checker for states as they are, one for those with a brace knocked out.
type checked struct{ whole, knocked *standing.Checker }

func newChecked(f *frame.Frame, r standing.Rules) checked {
	return checked{whole: standing.NewChecker(f, r), knocked: standing.NewChecker(f, knockedRules(r))}
}

// knockedRules are the rules for a state with a brace knocked out: own weight and the low gust, until the brace is set again. Of
// the combinations with wind and without a person they are those with the most weight; all where there are none.
func knockedRules(r standing.Rules) standing.Rules {
	fits := func(c standing.Combination) bool { return c.Person == 0 && c.Wind > 0 }
	most := 0.0
	for _, c := range r.Combinations {
		if fits(c) {
			most = max(most, c.Weight)
		}
	}
	some := slices.DeleteFunc(slices.Clone(r.Combinations), func(c standing.Combination) bool { return !fits(c) || c.Weight < most })
	if len(some) > 0 {
		r.Combinations = some
	}
	return r
}

func (j checked) of(knocked bool) *standing.Checker {
	if knocked {
		return j.knocked
	}
	return j.whole
}

func (j checked) verdict(ctx context.Context, s standing.Situation, knocked bool) (*standing.Verdict, error) {
	return j.of(knocked).Check(ctx, s, standing.Ask{})
}

func (j checked) look(ctx context.Context, s standing.Situation, knocked bool) (*standing.Verdict, mover, error) {
	v, err := j.of(knocked).Check(ctx, s, standing.Ask{Light: true, Keep: true})
	if err != nil {
		return nil, nil, err
	}
	bare := *v
	bare.Runs, bare.Structures = nil, [2]*model.Structure{}
	if v.Stands {
		return &bare, nil, nil
	}
	return &bare, moverOf(v), nil
}

// motion is how a structure moves in one run, and the most that it moves, in metres.
type motion struct {
	run   *standing.Run
	nodes []statics.Vec6
	most  float64
	// free says that it is a free motion, which may run either way.
	free bool
}

// moverOf measures bars in the free motions of the runs that fall; where none moves freely, in the displacements of the run
// that governs.
func moverOf(v *standing.Verdict) mover {
	var all []motion
	for i := range v.Runs {
		r := &v.Runs[i]
		if r.Result == nil || r.Result.Outcome == statics.Solved {
			continue
		}
		for _, m := range r.Result.Motions {
			all = append(all, motion{run: r, nodes: m.Nodes, free: true})
		}
		if len(r.Result.Motions) == 0 && len(r.Result.Displacements) > 0 {
			all = append(all, motion{run: r, nodes: r.Result.Displacements})
		}
	}
	if len(all) == 0 {
		i := slices.IndexFunc(v.Runs, func(r standing.Run) bool {
			return r.Result != nil && r.Name != "" && strings.Contains(v.Governing.Combination, r.Name)
		})
		if i < 0 {
			i = slices.IndexFunc(v.Runs, func(r standing.Run) bool { return r.Result != nil })
		}
		if i < 0 {
			return nil
		}
		all = append(all, motion{run: &v.Runs[i], nodes: v.Runs[i].Result.Displacements})
	}
	for i := range all {
		for _, n := range all[i].nodes {
			all[i].most = max(all[i].most, geom.Norm(geom.V(n[0], n[1], n[2])))
		}
	}
	return func(b *brace.Brace, pulls bool) float64 {
		u := geom.Unit(geom.Sub(b.Top, b.Foot))
		sum := 0.0
		for i := range all {
			m := &all[i]
			if m.most == 0 {
				continue
			}
			d := m.at(v, b.Timber, b.Top)
			if b.FootTimber >= 0 {
				d = geom.Sub(d, m.at(v, b.FootTimber, b.Foot))
			}
			if longer := geom.Dot(d, u) / m.most; m.free || !pulls {
				sum += math.Abs(longer)
			} else {
				sum += max(0, longer)
			}
		}
		return sum / float64(len(all))
	}
}

// at is how a point that is fixed to a timber moves: with the node nearest to it.
func (m *motion) at(v *standing.Verdict, timber int, p geom.Vec) geom.Vec {
	st := v.Structures[m.run.Stiffness]
	if st == nil || timber >= len(st.Members) || len(st.Members[timber]) == 0 {
		return geom.Vec{}
	}
	p = geom.Scale(1e-3, p)
	near, best := -1, math.Inf(1)
	for _, k := range st.Members[timber] {
		for _, n := range [2]int{st.Model.Members[k].I, st.Model.Members[k].J} {
			if d := geom.Dist(st.Model.Nodes[n].At, p); d < best && n < len(m.nodes) {
				near, best = n, d
			}
		}
	}
	if near < 0 {
		return geom.Vec{}
	}
	d := m.nodes[near]
	turn := geom.Cross(geom.V(d[3], d[4], d[5]), geom.Sub(p, st.Model.Nodes[near].At))
	return geom.Add(geom.V(d[0], d[1], d[2]), turn)
}
