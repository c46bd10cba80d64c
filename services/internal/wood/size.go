package wood

import "fmt"

// InchMM is an inch in millimetres, exact.
const InchMM = 25.4

// CubicMetresPerBoardFoot is the volume of a board foot, 144 cubic inches, exact.
const CubicMetresPerBoardFoot = 0.002359737216

// BoardFeet is the measure of a stick by its nominal section: b·d·L/12 with b and d in inches and L in
// feet. Full precision is kept; sellers round by piece or by line.
func BoardFeet(widthIn, depthIn, lengthFt float64) float64 {
	return widthIn * depthIn * lengthFt / 12
}

// DressedIn is the finished size in inches of a nominal size of 5 inches and more, sold planed and
// green: half an inch less (published lists of timber sellers). Other lists take three quarters off
// 8 inches and more: measure what was delivered. It gives an error for a size under 5 inches, whose rules differ
// between thickness and width; see DressedBoardIn.
func DressedIn(nominalIn float64) (float64, error) {
	if !finite(nominalIn) || nominalIn < 5 {
		return 0, fmt.Errorf("dressed timber size: nominal %g in is under 5 in", nominalIn)
	}
	return nominalIn - 0.5, nil
}

// DressedBoardIn is the finished section in inches of dry dimension lumber, nominal 2 to 4 inches thick:
// half an inch off the thickness; off the width half an inch up to 6 inches, three quarters above.
// Source: PS 20 as quoted in published design examples.
func DressedBoardIn(thicknessIn, widthIn float64) (thickness, width float64, err error) {
	if !finite(thicknessIn) || !finite(widthIn) || thicknessIn < 2 || thicknessIn > 4 || widthIn < 2 {
		return 0, 0, fmt.Errorf("dressed board size: %g × %g in is not nominal 2 to 4 in thick", thicknessIn, widthIn)
	}
	off := 0.5
	if widthIn > 6 {
		off = 0.75
	}
	return thicknessIn - 0.5, widthIn - off, nil
}
