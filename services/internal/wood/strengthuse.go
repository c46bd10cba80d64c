package wood

import (
	"fmt"
	"math"
)

// MostSlenderness is the most le/d of a column while building; from memory. In a finished frame it is 50.
const MostSlenderness = 75

// Demand is what a section of a stick has to bear, in newtons, newton-metres and metres. The section's width lies along local
// z and its depth along local y, as in package statics.
type Demand struct {
	// N is the axial force, tension positive.
	N float64
	// Mz bends it over its depth, My over its width; Vy and Vz are the shears along depth and width; T twists it.
	My, Mz, Vy, Vz, T float64
	// WidthM and DepthM are the section.
	WidthM, DepthM float64
	// LengthYM is the length that buckles out along the width, LengthZM that along the depth: between points that keep it
	// from moving that way.
	LengthYM, LengthZM float64
	// TurnM is the length between points that keep the section from turning, for a beam tipping over sideways; 0
	// leaves that out.
	TurnM float64
	// Duration is the load duration factor CD; 0 is 1.
	Duration float64
}

// MemberShare is how much of a stick's strength a demand uses, and by which formula. Above 1 it is overstressed, and it is
// +Inf where the formula has no answer because the column would buckle. Clauses 3.4, 3.7 and 3.9 of the national
// standard for wood construction; the interaction of bending about both axes with compression is from memory:
//
//	tension      ft/F't + fb1/F*b1 + fb2/F'b2,  and (fb1 − ft)/F**b1 + fb2/F'b2
//	compression  (fc/F'c)² + fb1/(F'b1·(1 − fc/FcE1)) + fb2/(F'b2·(1 − fc/FcE2 − (fb1/FbE)²))
//	shear        1.5·V/A + T·(3 + 1.8·c/a)/(a·c²) over F'v; a the longer side, c the shorter
//
// 1 is over the depth and 2 over the width. Compression in a column more slender than MostSlenderness counts as overstressed by
// the quotient of the two.
func (d Design) MemberShare(u Demand) (share float64, formula string) {
	if !(u.Duration > 0) {
		u.Duration = 1
	}
	area := u.WidthM * u.DepthM
	fb1 := math.Abs(u.Mz) * 6 / (area * u.DepthM)
	fb2 := math.Abs(u.My) * 6 / (area * u.WidthM)
	fbStar1, fbStar2 := d.Fb*u.Duration, d.FbFlat*u.Duration
	if u.DepthM < u.WidthM {
		fbStar1, fbStar2 = fbStar2, fbStar1
	}
	u.TurnM = effectiveLength(u.TurnM, math.Max(u.DepthM, u.WidthM))
	cl := BeamFactor(fbStar1, d.EMin, u.TurnM, u.DepthM, u.WidthM)
	if u.DepthM < u.WidthM {
		// Bent over its width it is the deeper way round that may tip.
		cl = 1
		fbStar2 *= BeamFactor(fbStar2, d.EMin, u.TurnM, u.WidthM, u.DepthM)
	}
	if u.N < 0 {
		share, formula = d.compressed(u, -u.N/area, [2]float64{fb1, fb2}, [2]float64{fbStar1 * cl, fbStar2})
	} else {
		share, formula = d.stretched(u, u.N/area, [2]float64{fb1, fb2}, [2]float64{fbStar1, fbStar2}, cl)
	}
	if s := d.shearShare(u); s > share {
		return s, "fv/F'v"
	}
	return share, formula
}

// effectiveLength is le of a beam of one span, however it is loaded, from the length between points that keep it from turning and
// its depth: 2.06·lu below 7 depths, 1.63·lu + 3·d up to 14.3, 1.84·lu beyond (clause 3.3.3 of the national standard; from
// memory).
func effectiveLength(lu, depth float64) float64 {
	switch r := lu / depth; {
	case r < 7:
		return 2.06 * lu
	case r <= 14.3:
		return 1.63*lu + 3*depth
	}
	return 1.84 * lu
}

func (d Design) stretched(u Demand, ft float64, fb, fbStar [2]float64, cl float64) (share float64, formula string) {
	across := fb[1] / fbStar[1]
	pull := ft/(d.Ft*u.Duration) + fb[0]/fbStar[0] + across
	if tip := (fb[0]-ft)/(fbStar[0]*cl) + across; tip > pull {
		return tip, "(fb1 − ft)/F**b1 + fb2/F'b2"
	}
	if ft == 0 {
		return pull, "fb1/F'b1 + fb2/F'b2"
	}
	return pull, "ft/F't + fb1/F*b1 + fb2/F'b2"
}

func (d Design) compressed(u Demand, fc float64, fb, fbPrime [2]float64) (share float64, formula string) {
	slender := [2]float64{u.LengthZM / u.DepthM, u.LengthYM / u.WidthM}
	most := math.Max(slender[0], slender[1])
	fcStar := d.Fc * u.Duration
	fcPrime := fcStar * ColumnFactor(fcStar, d.EMin, most, 0.8)
	formula = "(fc/F'c)² + fb1/(F'b1·(1 − fc/FcE1)) + fb2/(F'b2·(1 − fc/FcE2 − (fb1/FbE)²))"
	var left [2]float64
	for i, s := range slender {
		left[i] = 1
		if s > 0 {
			left[i] -= fc * s * s / (0.822 * d.EMin)
		}
	}
	if u.TurnM > 0 && u.DepthM > u.WidthM {
		fbE := 1.20 * d.EMin * u.WidthM * u.WidthM / (u.TurnM * u.DepthM)
		left[1] -= (fb[0] / fbE) * (fb[0] / fbE)
	}
	share = (fc / fcPrime) * (fc / fcPrime)
	for i := range left {
		switch {
		case left[i] <= 0:
			return math.Inf(1), formula
		case fb[i] > 0:
			share += fb[i] / (fbPrime[i] * left[i])
		}
	}
	// A trace of compression from rounding makes no column.
	if most > MostSlenderness && fc > 1e-4*fcStar && most/MostSlenderness > share {
		return most / MostSlenderness, fmt.Sprintf("le/d over %d", MostSlenderness)
	}
	// The square hides how near pure compression is to its limit; its root is the share of the load.
	if fb[0] == 0 && fb[1] == 0 {
		return fc / fcPrime, "fc/F'c"
	}
	return share, formula
}

func (d Design) shearShare(u Demand) float64 {
	long, short := math.Max(u.WidthM, u.DepthM), math.Min(u.WidthM, u.DepthM)
	fv := 1.5*math.Hypot(u.Vy, u.Vz)/(long*short) + math.Abs(u.T)*(3+1.8*short/long)/(long*short*short)
	return fv / (d.Fv * u.Duration)
}

// ColumnN is the compression along the grain in newtons that a column bears: F'c·A with CP about the worse of its two axes. Sizes
// and lengths are in metres; lengths as in Demand.
func (d Design) ColumnN(widthM, depthM, lengthYM, lengthZM, duration float64) float64 {
	fcStar := d.Fc * duration
	return fcStar * ColumnFactor(fcStar, d.EMin, math.Max(lengthYM/widthM, lengthZM/depthM), 0.8) * widthM * depthM
}
