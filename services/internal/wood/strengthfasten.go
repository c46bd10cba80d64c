package wood

import "math"

// NailWithdrawalNPerM is what a nail driven into side grain holds against being pulled straight out, in newtons per metre of
// penetration, for normal duration: W = 1380·G^2.5·D lb/in, G the specific gravity of the group, D the diameter in
// inches (clause 12.2.3 of the national standard for wood construction). Nails in end grain hold nothing; where wood is
// driven green and dries, a quarter is left.
func NailWithdrawalNPerM(gravity, diameterMM float64) float64 {
	return 1380 * math.Pow(gravity, 2.5) * (diameterMM / InchMM) * lbf / (InchMM / 1000)
}

// LagWithdrawalNPerM is what a lag screw in side grain holds against being pulled straight out, in newtons per metre of
// thread, for normal duration: W = 1800·G^1.5·D^0.75 lb/in, D the diameter of the shank in inches (clause 12.2.1 of the
// national standard). In end grain three quarters of it.
func LagWithdrawalNPerM(gravity, diameterMM float64) float64 {
	return 1800 * math.Pow(gravity, 1.5) * math.Pow(diameterMM/InchMM, 0.75) * lbf / (InchMM / 1000)
}

// Nail is a nail through a side piece into a main piece.
type Nail struct {
	DiameterMM, LengthMM float64
	// SideMM is the thickness of the piece under its head.
	SideMM float64
	// SideGravity and MainGravity are the specific gravities of the two.
	SideGravity, MainGravity float64
}

// CommonNail16d is the nail that braces are fixed with: 0.162 in by 3½ in.
func CommonNail16d(sideMM, sideGravity, mainGravity float64) Nail {
	return Nail{DiameterMM: 0.162 * InchMM, LengthMM: 3.5 * InchMM, SideMM: sideMM, SideGravity: sideGravity, MainGravity: mainGravity}
}

// LateralN is what a nail in single shear holds across itself in side grain, in newtons, for normal duration: the least
// of the six yield modes Im, Is, II, IIIm, IIIs, IV (section 12.3 of the national standard) with Fe = 16,600·G^1.84 rounded to
// 50 psi, KD = 2.2 up to 0.17 in, then 10·D + 0.5, Fyb = 100, 90 or 80 ksi up to 0.142, 0.177 and 0.236 in, the
// bearing length in the main piece less the point, and p/10D for penetrations from 6 to 10 diameters. It is 0 below
// 6 diameters, for a nail of 1/4 in and more, and for one that does not come out of the side piece. Into end grain
// two thirds of it hold.
func (n Nail) LateralN() float64 {
	d, ls := n.DiameterMM/InchMM, n.SideMM/InchMM
	p := n.LengthMM/InchMM - ls
	if !(d > 0) || d >= 0.25 || !(ls > 0) || p < 6*d {
		return 0
	}
	lm := p - d
	fem, fes := nailBearing(n.MainGravity), nailBearing(n.SideGravity)
	fyb := 80_000.0
	switch {
	case d <= 0.142:
		fyb = 100_000
	case d <= 0.177:
		fyb = 90_000
	}
	kd := 2.2
	if d > 0.17 {
		kd = 10*d + 0.5
	}
	re, rt := fem/fes, lm/ls
	k1 := (math.Sqrt(re+2*re*re*(1+rt+rt*rt)+rt*rt*re*re*re) - re*(1+rt)) / (1 + re)
	k2 := -1 + math.Sqrt(2*(1+re)+2*fyb*(1+2*re)*d*d/(3*fem*lm*lm))
	k3 := -1 + math.Sqrt(2*(1+re)/re+2*fyb*(2+re)*d*d/(3*fem*ls*ls))
	least := math.Inf(1)
	for _, z := range [6]float64{
		d * lm * fem, d * ls * fes, k1 * d * ls * fes, k2 * d * lm * fem / (1 + 2*re), k3 * d * ls * fem / (2 + re),
		d * d * math.Sqrt(2*fem*fyb/(3*(1+re))),
	} {
		least = math.Min(least, z/kd)
	}
	return least * math.Min(1, p/(10*d)) * lbf
}

// nailBearing is Fe of a nail in psi.
func nailBearing(gravity float64) float64 {
	return math.Round(16_600*math.Pow(gravity, 1.84)/50) * 50
}
