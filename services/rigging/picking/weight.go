package picking

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// fittingMM is how far outside what is lifted the middle of its hardware may lie: no fitting stands out
// farther (common practice). Hardware drawn elsewhere would move the center of gravity to where it is not.
const fittingMM = 1000

// carried lists the hardware by the timber that carries it.
func (p *planner) carried() map[int][]int {
	on := map[int][]int{}
	for h, hardware := range p.frame.Hardware() {
		if i, ok := p.frame.Index(hardware.Timber); ok {
			on[i] = append(on[i], h)
		}
	}
	return on
}

// weighed refuses a load whose mass or center of gravity is not known.
func (p *planner) weighed(l load, out *Pick) bool {
	if !(l.massKG > 0) || math.IsInf(l.massKG, 0) || !geom.Finite(l.center) {
		out.refuse("The mass of %s is not known: give every stick of it a species and a moisture content.", l.id)
		return false
	}
	box := geom.EmptyBox()
	for _, m := range l.timbers {
		for _, c := range p.frame.Solid(m).Corners {
			box = box.With(c)
		}
	}
	box = box.Grow(fittingMM)
	known := true
	for _, m := range l.timbers {
		for _, h := range p.hardware[m] {
			hardware := p.frame.Hardware()[h]
			if !box.Contains(hardware.At) {
				out.refuse("The center of gravity of %s is not known: hardware %s on %s is drawn more than %d mm outside what is lifted. Put it where it is when it is lifted.", l.id, hardware.ID, hardware.Timber, fittingMM)
				known = false
			}
		}
	}
	return known
}
