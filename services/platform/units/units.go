// Package units converts between metric and United States customary units, exactly as the
// latter are defined, and writes lengths the way they are read off a tape in a frame shop.
//
// Sources of the constants: the international inch and avoirdupois pound are exact by the
// agreement of 1 July 1959 (1 in = 25.4 mm, 1 lb = 0.45359237 kg); standard gravity is exactly
// 9.80665 m/s² (3rd CGPM, 1901). Everything else here follows from these three.
package units

import (
	"fmt"
	"math"
	"strconv"
)

// Exact constants.
const (
	// MMPerInch is millimetres in an inch.
	MMPerInch = 25.4
	// MMPerFoot is millimetres in a foot of 12 inches.
	MMPerFoot = 12 * MMPerInch
	// KGPerPound is kilograms in an avoirdupois pound.
	KGPerPound = 0.45359237
	// StandardGravity is in m/s²; a mass of 1 kg weighs so many newtons.
	StandardGravity = 9.80665
	// NPerPoundForce is newtons in a pound-force.
	NPerPoundForce = KGPerPound * StandardGravity
	// PaPerPSI is pascals in a pound-force per square inch.
	PaPerPSI = NPerPoundForce / (MMPerInch * MMPerInch) * 1e6
	// PaPerPSF is pascals in a pound-force per square foot.
	PaPerPSF = NPerPoundForce / (MMPerFoot * MMPerFoot) * 1e6
	// KGPerM3PerPCF is kilograms per cubic metre in a pound per cubic foot.
	KGPerM3PerPCF = KGPerPound / (MMPerFoot * MMPerFoot * MMPerFoot) * 1e9
	// MM3PerBoardFoot is cubic millimetres in a board foot of 144 cubic inches.
	MM3PerBoardFoot = 144 * MMPerInch * MMPerInch * MMPerInch
	// KGPerShortTon is kilograms in a ton of 2000 lb.
	KGPerShortTon = 2000 * KGPerPound
	// MPerSPerMPH is metres per second in a mile (5280 ft) per hour.
	MPerSPerMPH = 5280 * MMPerFoot / 1000 / 3600
)

// InchesFromMM converts a length in millimetres to inches.
func InchesFromMM(mm float64) float64 { return mm / MMPerInch }

// MMFromInches converts a length in inches to millimetres.
func MMFromInches(in float64) float64 { return in * MMPerInch }

// FeetFromMM converts a length in millimetres to feet.
func FeetFromMM(mm float64) float64 { return mm / MMPerFoot }

// MMFromFeet converts a length in feet to millimetres.
func MMFromFeet(ft float64) float64 { return ft * MMPerFoot }

// PoundsFromKG converts a mass in kilograms to pounds.
func PoundsFromKG(kg float64) float64 { return kg / KGPerPound }

// KGFromPounds converts a mass in pounds to kilograms.
func KGFromPounds(lb float64) float64 { return lb * KGPerPound }

// PoundsForceFromN converts a force in newtons to pounds-force.
func PoundsForceFromN(n float64) float64 { return n / NPerPoundForce }

// NFromPoundsForce converts a force in pounds-force to newtons.
func NFromPoundsForce(lbf float64) float64 { return lbf * NPerPoundForce }

// NFromKG is the weight in newtons of a mass in kilograms under standard gravity.
func NFromKG(kg float64) float64 { return kg * StandardGravity }

// PSIFromPa converts a stress in pascals to pounds-force per square inch.
func PSIFromPa(pa float64) float64 { return pa / PaPerPSI }

// PaFromPSI converts a stress in pounds-force per square inch to pascals.
func PaFromPSI(psi float64) float64 { return psi * PaPerPSI }

// PSFFromPa converts a pressure in pascals to pounds-force per square foot.
func PSFFromPa(pa float64) float64 { return pa / PaPerPSF }

// PaFromPSF converts a pressure in pounds-force per square foot to pascals.
func PaFromPSF(psf float64) float64 { return psf * PaPerPSF }

// PCFFromKGPerM3 converts a density in kg/m³ to pounds per cubic foot.
func PCFFromKGPerM3(d float64) float64 { return d / KGPerM3PerPCF }

// KGPerM3FromPCF converts a density in pounds per cubic foot to kg/m³.
func KGPerM3FromPCF(d float64) float64 { return d * KGPerM3PerPCF }

// BoardFeetFromMM3 converts a volume in mm³ to board feet.
func BoardFeetFromMM3(mm3 float64) float64 { return mm3 / MM3PerBoardFoot }

// MM3FromBoardFeet converts board feet to mm³.
func MM3FromBoardFeet(bf float64) float64 { return bf * MM3PerBoardFoot }

// MPHFromMPerS converts a speed in m/s to miles per hour.
func MPHFromMPerS(v float64) float64 { return v / MPerSPerMPH }

// MPerSFromMPH converts a speed in miles per hour to m/s.
func MPerSFromMPH(v float64) float64 { return v * MPerSPerMPH }

// sixteenthsLimit is the largest count of sixteenths that float64 holds exactly.
const sixteenthsLimit = 1 << 53

// FeetInches writes a length in millimetres as feet, inches and sixteenths, rounded to the
// nearest 1/16 in (halves away from zero), the fraction in lowest terms: 12'-3 1/2", 0'-0",
// -1'-0 1/16". A length that is not a number or beyond 2^53 sixteenths is written in mm.
func FeetInches(mm float64) string {
	sixteenths := math.Round(math.Abs(mm) / MMPerInch * 16)
	if math.IsNaN(mm) || sixteenths >= sixteenthsLimit {
		return strconv.FormatFloat(mm, 'g', -1, 64) + " mm"
	}
	n := int64(sixteenths)
	sign := ""
	if mm < 0 && n > 0 {
		sign = "-"
	}
	return fmt.Sprintf("%s%d'-%s", sign, n/(12*16), inches(n%(12*16)))
}

// Inches writes a length in millimetres as inches and sixteenths, as sections are written:
// 7 1/2", -0 1/4". It rounds as FeetInches does.
func Inches(mm float64) string {
	sixteenths := math.Round(math.Abs(mm) / MMPerInch * 16)
	if math.IsNaN(mm) || sixteenths >= sixteenthsLimit {
		return strconv.FormatFloat(mm, 'g', -1, 64) + " mm"
	}
	n := int64(sixteenths)
	if mm < 0 && n > 0 {
		return "-" + inches(n)
	}
	return inches(n)
}

func inches(sixteenths int64) string {
	whole, num, den := sixteenths/16, sixteenths%16, int64(16)
	if num == 0 {
		return fmt.Sprintf(`%d"`, whole)
	}
	for num%2 == 0 {
		num, den = num/2, den/2
	}
	return fmt.Sprintf(`%d %d/%d"`, whole, num, den)
}
