package units_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/platform/units"
)

// Exact by definition: 1 in = 25.4 mm and 1 lb = 0.45359237 kg (agreement of 1 July 1959, as in
// NIST SP 811, appendix B); standard gravity 9.80665 m/s². Derived values are those that NIST
// SP 811 B.8 prints to the digits given there; that table is quoted from memory, and the wanted
// values follow from the definitions by hand.
func TestConversions(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name      string
		got, want float64
		tolerance float64 // relative
	}{
		{"1 in", units.MMFromInches(1), 25.4, 0},
		{"1 ft", units.MMFromFeet(1), 304.8, 0},
		{"304.8 mm in feet", units.FeetFromMM(304.8), 1, 1e-15},
		{"25.4 mm in inches", units.InchesFromMM(25.4), 1, 0},
		{"1 lb", units.KGFromPounds(1), 0.45359237, 0},
		{"0.45359237 kg", units.PoundsFromKG(0.45359237), 1, 0},
		{"1 lbf", units.NFromPoundsForce(1), 4.4482216152605, 1e-15},
		{"4.4482216152605 N", units.PoundsForceFromN(4.4482216152605), 1, 1e-15},
		{"weight of 1 kg", units.NFromKG(1), 9.80665, 0},
		{"1 psi", units.PaFromPSI(1), 6894.757293168361, 1e-14},
		{"6894.757 Pa", units.PSIFromPa(6894.757293168361), 1, 1e-14},
		{"1 psf", units.PaFromPSF(1), 47.88025898033584, 1e-14},
		{"47.88026 Pa", units.PSFFromPa(47.88025898033584), 1, 1e-14},
		{"1 lb/ft³", units.KGPerM3FromPCF(1), 16.01846337396014, 1e-14},
		{"16.018463 kg/m³", units.PCFFromKGPerM3(16.01846337396014), 1, 1e-14},
		{"1 board foot", units.MM3FromBoardFeet(1), 2359737.216, 1e-15},
		{"2359737.216 mm³", units.BoardFeetFromMM3(2359737.216), 1, 1e-15},
		{"12 board feet in a cubic foot", units.BoardFeetFromMM3(304.8 * 304.8 * 304.8), 12, 1e-14},
		{"1 mile an hour", units.MPerSFromMPH(1), 0.44704, 1e-15},
		{"0.44704 m/s", units.MPHFromMPerS(0.44704), 1, 1e-15},
		{"short ton", units.KGPerShortTon, 907.18474, 0},
	}
	for _, c := range cases {
		if math.Abs(c.got-c.want) > c.tolerance*math.Abs(c.want) {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

func TestFeetInches(t *testing.T) {
	t.Parallel()
	const in, ft = 25.4, 304.8
	cases := []struct {
		mm   float64
		want string
	}{
		{0, `0'-0"`},
		{12*ft + 3.5*in, `12'-3 1/2"`},
		{in / 16, `0'-0 1/16"`},
		{3 * in / 16, `0'-0 3/16"`},
		{in / 4, `0'-0 1/4"`},
		{7*in + in*14/16, `0'-7 7/8"`},
		{ft, `1'-0"`},
		{12*in - in/32, `1'-0"`},               // half a sixteenth below a foot rounds away from zero
		{12*in - in/32 - 0.01, `0'-11 15/16"`}, // and just below half does not
		{2*in - 0.1, `0'-2"`},
		{in / 33, `0'-0"`},
		{-in / 33, `0'-0"`},
		{-ft - in/16, `-1'-0 1/16"`},
		{-3.5 * in, `-0'-3 1/2"`},
		{100 * ft, `100'-0"`},
		{math.Inf(1), `+Inf mm`},
		{math.NaN(), `NaN mm`},
		{1e300, `1e+300 mm`},
	}
	for _, c := range cases {
		if got := units.FeetInches(c.mm); got != c.want {
			t.Errorf("FeetInches(%v) is %s, want %s", c.mm, got, c.want)
		}
	}
}

func TestInches(t *testing.T) {
	t.Parallel()
	const in = 25.4
	cases := []struct {
		mm   float64
		want string
	}{
		{7.5 * in, `7 1/2"`},
		{0, `0"`},
		{-in / 4, `-0 1/4"`},
		{16*in - in/40, `16"`},
		{-in / 40, `0"`},
		{math.Inf(-1), `-Inf mm`},
	}
	for _, c := range cases {
		if got := units.Inches(c.mm); got != c.want {
			t.Errorf("Inches(%v) is %s, want %s", c.mm, got, c.want)
		}
	}
}

// What is written is never further from the length than half a sixteenth, the fraction is in
// lowest terms, and inches stay below 12.
func TestFeetInchesIsTheNearest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(-1e6, 1e6).Draw(t, "mm")
		text := units.FeetInches(mm)
		feet, inches, num, den := read(t, text)
		if inches > 11 || den > 16 || num >= den || num%2 == 0 && num != 0 {
			t.Fatalf("%v is written as %s", mm, text)
		}
		back := float64(feet)*304.8 + (float64(inches)+float64(num)/float64(den))*25.4
		if off := math.Abs(math.Abs(mm) - back); off > 25.4/32*(1+1e-9) {
			t.Fatalf("%v is written as %s, %v mm off", mm, text, off)
		}
	})
}
