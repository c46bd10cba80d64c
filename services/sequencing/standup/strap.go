package standup

import (
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// tornShare is the share of its pull from which a joint is strapped along with those that are pulled apart: what one strap
// takes, the next joint gets.
const tornShare = 0.9

// strap holds joints together with straps that are drawn tight across them.
func (l *load) strap(joints []int) {
	m := l.structure.Model
	for _, j := range l.joints {
		if !slices.Contains(joints, j.Joint) {
			continue
		}
		pull := lashNPerM
		switch {
		case j.Member >= 0 && j.AtJ:
			m.Members[j.Member].GripJ.Pull = &statics.Hold{K: pull}
		case j.Member >= 0:
			m.Members[j.Member].GripI.Pull = &statics.Hold{K: pull}
		case j.Link >= 0:
			m.Links[j.Link].Pull = &pull
		}
	}
}

// straps are the shares of the straps of a set-up: each carries all of what pulls its joint.
func (l *load) straps(c *checker, s setup, o *outcome, name string) []standing.Usage {
	var list []standing.Usage
	for _, j := range l.joints {
		if !slices.Contains(s.strapped, j.Joint) {
			continue
		}
		pull, _ := pullOf(j, o.result)
		if pull <= leastPullN {
			continue
		}
		id := c.f.Joints()[j.Joint].ID
		list = append(list, standing.Usage{
			Kind: standing.JointApart, Piece: id, Share: pull / lashHoldsN, Demand: pull, Capacity: lashHoldsN, Unit: "N", Combination: name,
			Formula: "F/holds", Source: "a ratchet strap drawn tight, from memory", Status: wood.FromMemory,
			Words: fmt.Sprintf("The strap across %s is pulled with %.0f lb; it is counted to hold %.0f lb.", id, units.PoundsForceFromN(pull), units.PoundsForceFromN(lashHoldsN)),
		})
	}
	return list
}

// noteTorn gathers the joints that are pulled apart or nearly so.
func (t *tried) noteTorn(c *checker, uses []standing.Usage) {
	for _, u := range uses {
		if u.Kind != standing.JointApart || u.Share < tornShare {
			continue
		}
		if j, ok := c.f.JointIndex(u.Piece); ok && !slices.Contains(t.torn, j) {
			t.torn = append(t.torn, j)
		}
	}
	slices.Sort(t.torn)
}
