package model

import (
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

const (
	// softShare is the soft end of the range of the modulus: the coefficient of variation of visually graded wood is 0.25
	// (the reference design values: Emin follows from it).
	softShare = 0.75
	// shearRatio is E/G along the grain, the round figure of the Wood Handbook for softwoods.
	shearRatio = 16
	// shearArea is the share of a rectangle that counts in shear.
	shearArea = 5.0 / 6
	// acrossShare is the stiffness of a foot along the deck as a share of that into it. Taken for the model: it spreads
	// the thrust over the corners of a foot, and hardly anything else depends on it.
	acrossShare = 0.5
)

// Defaults are the settings to begin with, from memory all of them: none was read in a standard.
//
//	friction             0.3: wood on a dry wooden deck, the low end
//	pegs and shoulders   those of joinery.DefaultHold
//	bedding              0.5 to 2 GN/m³: some 300 mm of floor timber across the grain with E⊥ of 150 to 600 MPa, so that a
//	                     200 mm square foot gives 20 to 80 MN/m
func Defaults() Settings {
	h := joinery.DefaultHold()
	return Settings{
		Friction:     0.3,
		PegSoftNPerM: h.PegNPerM[0], PegStiffNPerM: h.PegNPerM[1],
		ShoulderSoftNPerM: h.ShoulderNPerM[0], ShoulderStiffNPerM: h.ShoulderNPerM[1],
		BeddingSoftNPerM3: 0.5e9, BeddingStiffNPerM3: 2e9,
	}
}

// check names the first setting that cannot be computed with.
func (o Settings) check() error {
	if o.Stiffness != Soft && o.Stiffness != Stiff {
		return fault("settings", "the stiffness is neither soft nor stiff; choose one")
	}
	if !(o.Friction >= 0 && o.Friction <= 2) {
		return fault("settings", "the friction of a foot, %v, is not between 0 and 2; put it right", o.Friction)
	}
	for _, r := range [...]struct {
		name        string
		soft, stiff float64
		least, most float64
		unit        string
	}{
		{"a peg", o.PegSoftNPerM, o.PegStiffNPerM, 1e4, 1e9, "N/m"},
		{"a shoulder", o.ShoulderSoftNPerM, o.ShoulderStiffNPerM, 1e5, 1e11, "N/m"},
		{"the deck under a foot", o.BeddingSoftNPerM3, o.BeddingStiffNPerM3, 1e6, 1e13, "N/m³"},
	} {
		for _, k := range [2]float64{r.soft, r.stiff} {
			if !(k >= r.least && k <= r.most) {
				return fault("settings", "the stiffness of %s, %v %s, is not between %.0e and %.0e; put it right", r.name, k, r.unit, r.least, r.most)
			}
		}
		if r.soft > r.stiff {
			return fault("settings", "the soft end of %s is stiffer than the stiff end; swap them", r.name)
		}
	}
	return nil
}

// pick is the end of a range that the settings ask for.
func (o Settings) pick(soft, stiff float64) float64 {
	if o.Stiffness == Stiff {
		return stiff
	}
	return soft
}

// material is the wood of a timber: E as its grade gives, at the soft end three quarters of it.
func (o Settings) material(e, rho float64) statics.Material {
	e *= o.pick(softShare, 1)
	return statics.Material{E: e, G: e / shearRatio, Rho: rho}
}

// section is that of a timber of the given sizes in metres; local y is its depth.
func section(width, depth float64) statics.Section {
	s := statics.Rectangle(width, depth)
	s.Asy, s.Asz = shearArea*s.A, shearArea*s.A
	return s
}
