package standup

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// loose is a set-up some of whose joints do not pull, with the same one in which all do, which is built when it is wanted.
type loose struct {
	s   setup
	all *load
}

// allPull is the set-up with every joint held both ways, at the soft end.
func (c *checker) allPull(s setup) (*load, error) {
	l, err := c.load(s, model.Soft)
	if err != nil {
		return nil, err
	}
	m := l.structure.Model
	for _, j := range l.joints {
		switch {
		case j.Member >= 0 && j.AtJ:
			m.Members[j.Member].GripJ.Pull = nil
		case j.Member >= 0:
			m.Members[j.Member].GripI.Pull = nil
		case j.Link >= 0:
			m.Links[j.Link].Pull = nil
		}
	}
	return l, nil
}

// apart names the joints that come apart at an attitude in which the bent moves freely: those that do not pull, and would
// have to. When there are none, the motion stays what is said.
func (c *checker) apart(l *loose, a attitude, uses []standing.Usage, pulled []int, name string) ([]standing.Usage, []int, error) {
	if l.all == nil {
		all, err := c.allPull(l.s)
		if err != nil {
			return nil, nil, err
		}
		l.all = all
	}
	o, err := l.all.rig.solve(a)
	if err != nil {
		return nil, nil, err
	}
	if o.result.Outcome != statics.Solved {
		return uses, pulled, nil
	}
	type drawn struct {
		joint int
		n     float64
	}
	var list []drawn
	for _, j := range l.all.joints {
		if n, _ := pullOf(j, o.result); n > leastPullN && !(l.s.pegged[j.Joint] && c.pulls(j.Joint)) {
			list = append(list, drawn{j.Joint, n})
		}
	}
	if len(list) == 0 {
		return uses, pulled, nil
	}
	slices.SortStableFunc(list, func(a, b drawn) int { return cmp.Or(cmp.Compare(b.n, a.n), cmp.Compare(a.joint, b.joint)) })
	var joints []int
	for _, d := range list {
		joints = append(joints, d.joint)
		if !slices.Contains(pulled, d.joint) {
			pulled = append(pulled, d.joint)
		}
	}
	u := standing.Usage{
		Kind: standing.JointApart, Piece: c.f.Joints()[joints[0]].ID, Share: math.Inf(1), Demand: list[0].n, Unit: "N", Combination: name,
		Formula: "F/0", Source: "statics with all joints held; a joint without pegs does not pull", Status: wood.Computed,
	}
	u.Words = fmt.Sprintf("It comes apart: %s %s pulled and nothing holds %s, %s with %.0f lb.", c.ids(joints), plural(len(joints), "is", "are"),
		plural(len(joints), "it", "them"), u.Piece, units.PoundsForceFromN(list[0].n))
	return []standing.Usage{u}, pulled, nil
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}
