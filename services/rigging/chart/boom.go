package chart

import (
	"fmt"
	"math"
)

// Boom is a straight boom on its pivot.
type Boom struct {
	// LengthMM is from the pivot to the tip, in millimetres.
	LengthMM float64
	// PivotBackMM is how far the pivot lies behind the center of rotation, in millimetres; negative in front.
	PivotBackMM float64
	// PivotHeightMM is the height of the pivot above the ground, in millimetres.
	PivotHeightMM float64
}

// RadiusMM is the radius at a boom angle from level in degrees: R = Lb cos q − t. The bending of the
// boom under load, which adds to it, is not in it.
func (b Boom) RadiusMM(angleDeg float64) float64 {
	return b.LengthMM*math.Cos(angleDeg*math.Pi/180) - b.PivotBackMM
}

// AngleDeg is the angle of the boom from level at a radius: q = acos((R + t)/Lb). A radius that the boom
// cannot have is an error.
func (b Boom) AngleDeg(radiusMM float64) (float64, error) {
	cos := (radiusMM + b.PivotBackMM) / b.LengthMM
	if !(cos >= 0 && cos <= 1) {
		return 0, fmt.Errorf("a boom of %.0f mm does not reach a radius of %.0f mm", b.LengthMM, radiusMM)
	}
	return math.Acos(cos) * 180 / math.Pi, nil
}

// TipHeightMM is the height of the boom tip above the ground at a radius: Lb sin q + h. A radius that
// the boom cannot have is an error.
func (b Boom) TipHeightMM(radiusMM float64) (float64, error) {
	angle, err := b.AngleDeg(radiusMM)
	if err != nil {
		return 0, err
	}
	return b.LengthMM*math.Sin(angle*math.Pi/180) + b.PivotHeightMM, nil
}
