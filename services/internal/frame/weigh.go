package frame

import "github.com/pikepole/pikepole/services/internal/geom"

const perM3 = 1e-9 // cubic metres in a cubic millimetre

// MassKG is the mass of the wood of timber i, without pegs and hardware: volume of the finished solid
// times its density.
func (f *Frame) MassKG(i int) float64 {
	return f.solids[i].VolumeMM3 * perM3 * f.density[i]
}

// PegMassKG is the mass of the pegs of joint j; 0 when it has none.
func (f *Frame) PegMassKG(j int) float64 { return f.pegMass[j] }

// HardwareMassKG is the mass of the hardware that timber i carries when it is lifted.
func (f *Frame) HardwareMassKG(i int) float64 {
	mass := 0.0
	for _, h := range f.hardwareOn[i] {
		mass += f.hardwareMassKG(h)
	}
	return mass
}

func (f *Frame) hardwareMassKG(h int) float64 {
	return float64(f.draft.Hardware[h].Count) * f.draft.Hardware[h].MassEachKG
}

// Weigh gives the mass and the centre of gravity of a set of timbers as they are lifted: wood, the
// pegs of the joints that they receive (of a post base, that they stand on), and the hardware that
// they carry. Masses of disjoint sets add up. Of an empty set the mass is 0 and the centre the origin.
func (f *Frame) Weigh(indices []int) (massKG float64, cg geom.Vec) {
	var moment geom.Vec
	add := func(mass float64, at geom.Vec) {
		massKG += mass
		moment = geom.Along(moment, mass, at)
	}
	for _, i := range indices {
		add(f.MassKG(i), f.solids[i].Centroid)
		for _, j := range f.jointsOf[i] {
			if f.pegMass[j] > 0 && f.pegCarrier(j) == i {
				add(f.pegMass[j], f.pegCenter(j))
			}
		}
		for _, h := range f.hardwareOn[i] {
			add(f.hardwareMassKG(h), f.draft.Hardware[h].At)
		}
	}
	if massKG == 0 {
		return 0, geom.Vec{}
	}
	return massKG, geom.Scale(1/massKG, moment)
}

// pegCarrier is the timber with which the pegs of joint j are weighed.
func (f *Frame) pegCarrier(j int) int {
	entering, receiving := f.Ends(j)
	if receiving < 0 {
		return entering
	}
	return receiving
}
