package sequencing

import (
	"fmt"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
	"github.com/pikepole/pikepole/services/sequencing/standup"
)

// planningCaution stands first in everything that is said about standing.
const planningCaution = "This is a check for planning. Temporary works need a qualified person and the rules of the place; nobody goes under a frame because of this answer alone."

// none is the etag of rules or stock that a company has not put.
const none = "0"

// standCautions are what a reader of an answer about standing must be told.
func (in *site) standCautions() []string {
	out := []string{
		planningCaution,
		"Deck, ground and anchors are taken to hold what the stock says; whoever is on site must see that they do.",
		"Joints are taken as drawn up tight and pegged as said, wood as its grade says: a joint that gapes, a cracked stick or a wet deck is not in it.",
	}
	if in.rules.GetEtag() == none {
		out = append(out, "The rules of the check are defaults, some of them from memory; put the company's own.")
	}
	if in.stock.GetEtag() == none {
		out = append(out, "Lumber, fastenings and anchors are defaults; put what the company really has and what it is known to hold.")
	}
	return out
}

// liftCautions are what a reader of a lift check must be told.
func (in *site) liftCautions() []string {
	out := []string{
		planningCaution,
		"The hook is taken to go up in a straight path at a walking pace; slings, shackles and crane have checks of their own (see picks).",
		"Joints are taken as drawn up tight and pegged as said, wood as its grade says.",
	}
	if in.rules.GetEtag() == none {
		out = append(out, "The rules of the check are defaults, some of them from memory; put the company's own.")
	}
	return out
}

// standBasis says how a verdict came about, and what the braces that are part of it hold.
func (in *site) standBasis(braces []brace.Brace) []*sheetv1.Basis {
	r := in.rules
	out := []*sheetv1.Basis{
		frameBasis(),
		{
			Quantity: "does it stand",
			Formula: "each combination in four directions along and across the frame's own grid, with both ends of the range of joint stiffness, second order; it stands when " +
				"none moves freely, goes over, slides, opens a joint, or uses more than 1 of a capacity, sway or buckling limit",
			Source: "equilibrium in the displaced shape; feet only push and rub, tenons that are not pegged do not pull",
			Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED, Inputs: combinationWords(r),
		},
		{
			Quantity: "wind on each stick",
			Formula:  "w = q·cf·b·sin φ along the wind, q = 0.613·Kz·Kzt·Kd·(period factor·V)² in Pa with V in m/s; b the extent of the section across wind and stick",
			Source:   "velocity pressure of air of 1.226 kg/m³; force coefficient and factors are rules of the company", Status: ruleStatus("force_coefficient"),
			Inputs: []string{
				fmt.Sprintf("Kz·Kzt·Kd %g, cf %g", r.GetExposure(), r.GetForceCoefficient()),
				fmt.Sprintf("period factor %g, shielding %g", r.GetPeriodFactor(), r.GetShielding()),
				fmt.Sprintf("gusts of 3 s: work %g, night %g, with a brace knocked out %g m/s", r.GetWorkingGustMPerS(), r.GetNightGustMPerS(), r.GetLowGustMPerS()),
			},
		},
		strengthBasis(r),
	}
	out = append(out, in.ruleBasis()...)
	return append(out, in.braceBasis(braces)...)
}

// frameBasis says how forces are found.
func frameBasis() *sheetv1.Basis {
	return &sheetv1.Basis{
		Quantity: "forces and displacements",
		Formula: "K·u = F of a space frame on the sticks' centre lines with the eccentricity of each joint; joints are springs; repeated until one-sided parts and, " +
			"in the second order, the displaced shape settle",
		Source: "direct stiffness method; equilibrium and energy are checked on every result, the residual is reported", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
	}
}

func strengthBasis(r *sequencingv1.StandRules) *sheetv1.Basis {
	return &sheetv1.Basis{
		Quantity: "strength of sticks, joints and braces",
		Formula:  "demand over capacity; each use names its own formula and source. Sticks: axial force and bending in both directions, and shear; braces: buckling with le/d, fastening, anchor",
		Source:   "named with each use", Status: ruleStatus("duration_factor"),
		Inputs: []string{
			fmt.Sprintf("load duration factor %g", r.GetDurationFactor()),
			fmt.Sprintf("a peg of 25.4 mm holds %g N against pull-out", r.GetPegHoldsN()),
			fmt.Sprintf("le/d of a brace that pushes at most %g", r.GetSlendernessPush()),
		},
	}
}

// ruleBasis lists each rule with its value, and where that comes from.
func (in *site) ruleBasis() []*sheetv1.Basis {
	now := ruleValues(in.rules)
	fallback := ruleValues(rulesPB(standing.DefaultRules()))
	var out []*sheetv1.Basis
	for _, s := range standing.RuleStatuses() {
		value, known := now[s.Field]
		if !known {
			continue
		}
		b := &sheetv1.Basis{Quantity: s.Name, Formula: "a rule of the company", Source: "default: " + s.Source, Status: sheet.Status(s.Status), Inputs: []string{value}}
		if value != fallback[s.Field] {
			b.Source, b.Status = "the company's own value", sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
		}
		out = append(out, b)
	}
	return out
}

// ruleValues are the numbers of rules with their units, by field.
func ruleValues(r *sequencingv1.StandRules) map[string]string {
	out := map[string]string{}
	for _, n := range ruleNumbers(r) {
		out[n.field] = fmt.Sprintf("%g", n.v)
		if n.unit != "" {
			out[n.field] += " " + n.unit
		}
	}
	return out
}

// ruleStatus is the status of a rule's default.
func ruleStatus(field string) sheetv1.SourceStatus {
	for _, s := range standing.RuleStatuses() {
		if s.Field == field {
			return sheet.Status(s.Status)
		}
	}
	return sheet.Status(wood.FromMemory)
}

func combinationWords(r *sequencingv1.StandRules) []string {
	var out []string
	for _, c := range r.GetCombinations() {
		out = append(out, combinationWord(c))
	}
	for _, c := range r.GetNeighbourCombinations() {
		out = append(out, "while a neighbour is being set: "+combinationWord(c))
	}
	return out
}

func combinationWord(c *sequencingv1.Combination) string {
	text := fmt.Sprintf("%s: %g·weight", c.GetName(), c.GetWeight())
	for _, p := range []struct {
		factor float64
		word   string
	}{
		{c.GetNotional(), "lateral load"}, {c.GetWind(), "wind"}, {c.GetPerson(), "person"}, {c.GetComeAlong(), "come-along"}, {c.GetBump(), "bump"},
	} {
		if p.factor != 0 {
			text += fmt.Sprintf(" + %g·%s", p.factor, p.word)
		}
	}
	return text
}

// braceBasis says what the lumber, the fastenings and the anchors of braces are taken to hold, each once.
func (in *site) braceBasis(braces []brace.Brace) []*sheetv1.Basis {
	source := "the company's stock"
	if in.stock.GetEtag() == none {
		source = "default stock; put the company's own"
	}
	seen := map[string]bool{}
	var out []*sheetv1.Basis
	add := func(key, quantity string, status wood.Status, inputs ...string) {
		if seen[key] {
			return
		}
		seen[key] = true
		out = append(out, &sheetv1.Basis{
			Quantity: quantity, Formula: "a value of the stock", Source: source, Status: sheet.Status(status), Inputs: inputs,
		})
	}
	for _, b := range braces {
		add("f:"+b.Head.ID, "fastening "+b.Head.Name, b.Head.Status,
			fmt.Sprintf("holds %.0f N along the brace", b.Head.HoldsN), fmt.Sprintf("gives %.3g N/m", b.Head.GivesNPerM))
		if b.FootTimber < 0 {
			add("a:"+b.Anchor.ID, "anchor "+b.Anchor.Name, b.Anchor.Status,
				fmt.Sprintf("holds %.0f N up, %.0f N across, %.0f N down", b.Anchor.UpN, b.Anchor.AcrossN, b.Anchor.DownN),
				fmt.Sprintf("gives %.3g N/m", b.Anchor.GivesNPerM))
		}
	}
	return out
}

// liftBasis says how the check of a lift came about.
func (in *site) liftBasis(p *standup.Problem) []*sheetv1.Basis {
	dynamic, sling := p.DynamicFactor, p.SlingDeg
	if dynamic == 0 {
		dynamic = standup.DefaultDynamicFactor
	}
	if sling == 0 {
		sling = slingDeg
	}
	out := []*sheetv1.Basis{
		frameBasis(),
		{
			Quantity: "bent on the hook",
			Formula: "at each tilt from flat to plumb the bent is held by its slings and turns about its feet, with gravity turned and the weight times the dynamic factor; then it hangs free. " +
				"Friction needed = force across over force up at the feet",
			Source: "equilibrium at each step; feet only push and rub, joints that are not pegged do not pull", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
			Inputs: []string{fmt.Sprintf("dynamic factor %g", dynamic), fmt.Sprintf("slings at %g° from level", sling)},
		},
		strengthBasis(in.rules),
	}
	return append(out, in.ruleBasis()...)
}
