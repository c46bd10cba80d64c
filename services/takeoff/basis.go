package takeoff

import (
	"fmt"

	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/takeoff/measure"
)

// basis explains the numbers of a takeoff, with the first stick as the example and the figures of each
// species that it uses.
func basis(t measure.Takeoff) []*sheetv1.Basis {
	const (
		computed = sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED
		practice = sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
	)
	out := []*sheetv1.Basis{
		{
			Quantity: "board feet", Formula: "bf = b·d·L/12, b and d nominal in inches, L overall in feet",
			Source: "definition of the board foot, 144 cubic inches; sellers round by piece or by line, this does not",
			Status: computed, Inputs: example(t),
		},
		{
			Quantity: "overall length", Formula: "shoulder length + what the farthest tenon or long point reaches beyond each shoulder",
			Source: "geometry of the sticks and joints of the frame", Status: computed,
		},
		{
			Quantity: "volume", Formula: "V = b·d·shoulder length + tenons and let-in ends − mortises and housings, finished section",
			Source: "geometry of the sticks and joints of the frame; peg holes are filled by their pegs", Status: computed,
		},
	}
	for _, g := range t.BySpecies {
		out = append(out, densityBasis(g.Label))
	}
	return append(out,
		&sheetv1.Basis{
			Quantity: "mass", Formula: "m = ρ·V, density at the stick's moisture content",
			Source: "product of the two; the gravity of wood varies by about 10 percent within a species (Wood Handbook), so weigh what comes near a limit",
			Status: computed, Inputs: massExample(t),
		},
		&sheetv1.Basis{
			Quantity: "mass of pegs", Formula: "m = count·π/4·d²·L·ρ of the pegs' species at 12 percent moisture",
			Source: "geometry; pegs are taken as dry", Status: practice,
		},
		&sheetv1.Basis{
			Quantity: "groups and total", Formula: "sums over sticks in the order of their marks; pegs and hardware stand in lines of their own",
			Source: "arithmetic", Status: computed,
		},
	)
}

// densityBasis explains the density of one species; it is no better than its specific gravity.
func densityBasis(species string) *sheetv1.Basis {
	b := &sheetv1.Basis{
		Quantity: "density of " + species,
		Formula:  "ρ = 1000·Gx·(1 + x/100) kg/m³, Gx = Gb/(1 − 0.265·Gb·a), a = max(0, 1 − x/30), x moisture in percent",
		Source:   "Wood Handbook (FPL-GTR-282 of 2021), eq. 4-12 to 4-14",
		Status:   sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED,
	}
	if s, ok := wood.Lookup(species); ok {
		b.Inputs = []string{fmt.Sprintf("Gb = %.2f, oven-dry mass over green volume (%s)", s.GreenGravity, s.GravityStatus)}
		b.Status = sheet.Status(s.GravityStatus)
	}
	return b
}

func example(t measure.Takeoff) []string {
	if len(t.Sticks) == 0 {
		return nil
	}
	s := t.Sticks[0]
	return []string{fmt.Sprintf("%s: %s in × %s in × %.3f ft / 12 = %.2f bf", s.Mark,
		measure.Inches(s.NominalWidthIn), measure.Inches(s.NominalDepthIn), s.OverallMM/measure.FootMM, s.BoardFeet)}
}

func massExample(t measure.Takeoff) []string {
	if len(t.Sticks) == 0 {
		return nil
	}
	s := t.Sticks[0]
	return []string{fmt.Sprintf("%s: %.1f kg/m³ × %.4f m³ = %.1f kg", s.Mark, s.DensityKgPerM3, s.VolumeM3, s.MassKG)}
}
