package page

import (
	"fmt"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/platform/units"
)

// slingLines says how a pick is slung, with the slings that are used alike said once.
func slingLines(points []*riggingv1.PickPoint) []string {
	type use struct{ sling, hitch, angle, force string }
	var uses []use
	counts, marks := map[use]int{}, map[use][]string{}
	for _, p := range points {
		u := use{p.GetSling(), p.GetHitch(), decimals(p.GetAngleFromLevelDeg(), 1), whole(units.PoundsForceFromN(p.GetTensionN()))}
		if counts[u] == 0 {
			uses = append(uses, u)
		}
		counts[u]++
		marks[u] = append(marks[u], place(p, points))
	}
	lines := make([]string, len(uses))
	for i, u := range uses {
		lines[i] = fmt.Sprintf("%s on %s from the tip, %s, %s° from level, %s lbf", u.sling, marksAnd(marks[u]), u.hitch, u.angle, u.force)
		if n := counts[u]; n > 1 {
			lines[i] = fmt.Sprintf("%d × %s each", n, lines[i])
		}
	}
	return lines
}

// place says where along its stick a sling goes; the mark of a stick that two hold is said once.
func place(p *riggingv1.PickPoint, all []*riggingv1.PickPoint) string {
	at := "at " + units.FeetInches(p.GetFromTipMm())
	if p != all[0] && p.GetMark() == all[0].GetMark() {
		return at
	}
	return p.GetMark() + " " + at
}
