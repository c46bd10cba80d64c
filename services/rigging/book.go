package rigging

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/rigging/chart"
)

// Limits of what is put into the company book.
const (
	maxID       = 40
	maxName     = 200
	maxNote     = 2000
	maxLengthMM = 200_000
	maxMassKG   = 5_000_000
	maxCount    = 100_000
)

// checker gathers wrong fields.
type checker struct{ fields []fault.Field }

func (c *checker) add(path, format string, args ...any) {
	c.fields = append(c.fields, fault.Field{Path: path, Message: fmt.Sprintf(format, args...)})
}

func (c *checker) err() error {
	if len(c.fields) == 0 {
		return nil
	}
	return fault.InvalidFields(c.fields)
}

func (c *checker) id(path, id string) {
	if !validID(id) {
		c.add(path, "has to be 1 to %d lower-case letters, digits and hyphens, and begin with a letter or digit", maxID)
	}
}

func validID(id string) bool {
	if id == "" || len(id) > maxID || id[0] == '-' {
		return false
	}
	return !strings.ContainsFunc(id, func(r rune) bool {
		return r != '-' && (r < 'a' || r > 'z') && (r < '0' || r > '9')
	})
}

func (c *checker) text(path, text string, least, most int) {
	n := utf8.RuneCountInString(text)
	switch {
	case !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		c.add(path, "holds characters that cannot be printed; take them out")
	case n < least || n > most || (least > 0 && strings.TrimSpace(text) == ""):
		c.add(path, "has to have %d to %d characters", least, most)
	}
}

// within checks a number against a range; what is not a number is in none.
func (c *checker) within(path string, v, least, most float64, unit string) {
	if !(v >= least && v <= most) {
		c.add(path, "has to be %.0f to %.0f %s", least, most, unit)
	}
}

// above checks a number that may not be nought.
func (c *checker) above(path string, v, most float64, unit string) {
	if !(v > 0 && v <= most) {
		c.add(path, "has to be above 0 and at most %.0f %s", most, unit)
	}
}

// checkCrane finds every fault of a crane; paths begin with crane.
func checkCrane(c *riggingv1.Crane) error {
	if c == nil {
		return fault.Invalid("crane", "is missing; send the whole crane")
	}
	var k checker
	k.id("crane.id", c.GetId())
	k.text("crane.name", c.GetName(), 1, maxName)
	k.text("crane.chart_note", c.GetChartNote(), 0, maxNote)
	// A chart is gross and every hook has a mass, so 0 means that it is not known.
	k.above("crane.deduction_kg", c.GetDeductionKg(), maxMassKG, "kg")
	k.within("crane.two_block_margin_mm", c.GetTwoBlockMarginMm(), 0, maxLengthMM, "mm")
	k.within("crane.boom_pivot_back_mm", c.GetBoomPivotBackMm(), -maxLengthMM, maxLengthMM, "mm")
	k.within("crane.boom_pivot_height_mm", c.GetBoomPivotHeightMm(), 0, maxLengthMM, "mm")
	if _, known := riggingv1.LiftingMachine_name[int32(c.GetMachine())]; !known {
		k.add("crane.machine", "is not one of the known machines")
	}
	_, faults := chart.Parse(chartRows(c.GetChart()))
	for _, f := range faults {
		path := "crane.chart"
		if f.Row >= 0 {
			path = fmt.Sprintf("crane.chart[%d].%s", f.Row, f.Field)
		}
		k.add(path, "%s", f.Message)
	}
	return k.err()
}

func chartRows(rows []*riggingv1.ChartRow) []chart.Row {
	out := make([]chart.Row, len(rows))
	for i, r := range rows {
		out[i] = chart.Row{BoomLengthMM: r.GetBoomLengthMm(), RadiusMM: r.GetRadiusMm(), RatedKG: r.GetRatedKg()}
	}
	return out
}

// checkGear finds every fault of a piece of gear; paths begin with gear.
func checkGear(g *riggingv1.Gear) error {
	if g == nil {
		return fault.Invalid("gear", "is missing; send the whole record")
	}
	var k checker
	k.id("gear.id", g.GetId())
	k.text("gear.name", g.GetName(), 1, maxName)
	if g.GetCount() < 0 || g.GetCount() > maxCount {
		k.add("gear.count", "has to be 0 to %d", maxCount)
	}
	k.above("gear.mass_kg", g.GetMassKg(), maxMassKG, "kg")
	k.above("gear.rated_vertical_kg", g.GetRatedVerticalKg(), maxMassKG, "kg")
	k.within("gear.rated_choker_kg", g.GetRatedChokerKg(), 0, maxMassKG, "kg")
	k.within("gear.rated_basket_kg", g.GetRatedBasketKg(), 0, maxMassKG, "kg")
	switch g.GetKind() {
	case riggingv1.GearKind_GEAR_KIND_SLING, riggingv1.GearKind_GEAR_KIND_SPREADER:
		k.above("gear.length_mm", g.GetLengthMm(), maxLengthMM, "mm")
	case riggingv1.GearKind_GEAR_KIND_SHACKLE:
		if g.GetLengthMm() != 0 || math.IsNaN(g.GetLengthMm()) {
			k.add("gear.length_mm", "has to be 0 for a shackle")
		}
	default:
		k.add("gear.kind", "has to be a sling, a shackle or a spreader")
	}
	if g.GetRatedChokerKg() > g.GetRatedVerticalKg() {
		k.add("gear.rated_choker_kg", "is more than the vertical rating of %g kg, which no tag gives: a choke only weakens a sling; read the tag again", g.GetRatedVerticalKg())
	}
	if g.GetKind() != riggingv1.GearKind_GEAR_KIND_SLING && g.GetRatedChokerKg() > 0 {
		k.add("gear.rated_choker_kg", "has to be 0: only a sling is choked")
	}
	if g.GetKind() != riggingv1.GearKind_GEAR_KIND_SLING && g.GetRatedBasketKg() > 0 {
		k.add("gear.rated_basket_kg", "has to be 0: only a sling makes a basket")
	}
	return k.err()
}
