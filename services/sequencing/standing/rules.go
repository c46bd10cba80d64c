package standing

import (
	"fmt"
	"math"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// MostGustMPS is the highest gust that is looked at, in m/s.
const MostGustMPS = 90

// RuleStatus says how far the default of a rule can be trusted.
type RuleStatus struct {
	// Field names the rule as the API does, such as "night_gust_m_per_s", and Name in words.
	Field, Name string
	// Value is the default with its unit.
	Value  string
	Status wood.Status
	Source string
}

// rule is one number of the rules with its default, its bounds and where it comes from.
type rule struct {
	field, name string
	at          func(*Rules) *float64
	value       float64
	unit        string
	least, most float64
	status      wood.Status
	source      string
}

// rules are all numbers of the rules, in the order of the fields of the API.
func rules() []rule { return append(loadRules(), limitRules()...) }

// loadRules are those of what acts on the frame.
func loadRules() []rule {
	return []rule{
		{
			"working_gust_m_per_s", "gust for hours of work", func(r *Rules) *float64 { return &r.WorkingGustMPS }, 12, "m/s", 0, MostGustMPS, wood.CommonPractice,
			"cranes and crews stop at gusts of about this; stop work below what was checked",
		},
		{
			"night_gust_m_per_s", "gust for a night", func(r *Rules) *float64 { return &r.NightGustMPS }, 15, "m/s", 0, MostGustMPS, wood.CommonPractice,
			"a night without a storm warning; put the forecast gust of the place here",
		},
		{
			"low_gust_m_per_s", "gust with any one brace knocked out", func(r *Rules) *float64 { return &r.LowGustMPS }, 8, "m/s", 0, MostGustMPS, wood.CommonPractice,
			"a fresh breeze, until the brace is set again",
		},
		{
			"exposure", "exposure Kz·Kzt·Kd", func(r *Rules) *float64 { return &r.Exposure }, 1, "", 0.2, 5, wood.CommonPractice,
			"1 for a gust that is measured or forecast at the height of the frame; more on a ridge",
		},
		{
			"force_coefficient", "force coefficient of a bare stick", func(r *Rules) *float64 { return &r.ForceCoefficient }, 2, "", 0.5, 4, wood.FromMemory,
			"flat-sided sticks of an open frame, ASCE 7, solidity below 0.1; EN 1991-1-4 gives 2.1 for a square",
		},
		{
			"period_factor", "factor on the speed for a short construction period", func(r *Rules) *float64 { return &r.PeriodFactor }, 1, "", 0.5, 1, wood.CommonPractice,
			"none taken; ASCE 37 has factors on the speed, to be read there",
		},
		{
			"shielding", "share of the wind that a stick behind another is spared", func(r *Rules) *float64 { return &r.Shielding }, 0, "", 0, 0.9, wood.CommonPractice,
			"none unless a standard's factor is applied on purpose",
		},
		{
			"notional_share", "lateral load as a share of the weight", func(r *Rules) *float64 { return &r.NotionalShare }, 0.02, "", 0, 0.5, wood.FromMemory,
			"2 percent of the vertical load, as for falsework; BS 5975 has 2.5 percent",
		},
		{
			"person_kg", "a person with tools", func(r *Rules) *float64 { return &r.PersonKG }, 115, "kg", 0, 1000, wood.CommonPractice,
			"a person of 100 kg with 15 kg of tools and harness",
		},
		{
			"come_along_n", "pull of a come-along", func(r *Rules) *float64 { return &r.ComeAlongN }, 1500, "N", 0, 100_000, wood.CommonPractice,
			"what one hand on the lever puts in to draw a bent home; far less than the tool can pull",
		},
		{
			"bump_share", "blow of the swinging neighbour as a share of its weight", func(r *Rules) *float64 { return &r.BumpShare }, 0.05, "", 0, 2, wood.CommonPractice,
			"a bent on tag lines that is let touch, not one that swings free",
		},
	}
}

// limitRules are those of what the frame may do and bears, and of its stiffness.
func limitRules() []rule {
	stiff := model.Defaults()
	return []rule{
		{
			"sway_share", "most sway as a share of the height", func(r *Rules) *float64 { return &r.SwayShare }, 0.04, "", 0.0005, 0.2, wood.CommonPractice,
			"one in 25, at the tips of trusses too: beyond that nobody calls it upright; strength and stability are checked as it leans",
		},
		{
			"least_buckling", "least buckling factor", func(r *Rules) *float64 { return &r.LeastBuckling }, 3, "", 1, 100, wood.CommonPractice,
			"below 3 a displaced frame grows its own sway by half",
		},
		{
			"slenderness_push", "most le/d of a brace that is counted on to push", func(r *Rules) *float64 { return &r.SlendernessPush }, 50, "", 10, 75, wood.Published,
			"NDS 3.7.1.3: le/d at most 50; the 75 of NDS 3.7.1.4 for construction is from memory",
		},
		{
			"peg_holds_n", "what one peg of 25.4 mm holds against pull-out", func(r *Rules) *float64 { return &r.PegHoldsN }, 3000, "N", 0, 100_000, wood.FromMemory,
			"mode V of the timber-frame standard for oak pegs in softwood, 690 to 950 lb",
		},
		{
			"duration_factor", "load duration factor", func(r *Rules) *float64 { return &r.DurationFactor }, 1.25, "", 0.9, 1.6, wood.Published,
			"NDS CD for construction loads of seven days; with wind it is raised as 1.6 is over 1.25, to at most 1.6",
		},
		{
			"friction", "friction between a foot and the deck", func(r *Rules) *float64 { return &r.Joints.Friction }, stiff.Friction, "", 0, 1.5, wood.FromMemory,
			"wood on a wood deck, damp",
		},
		{
			"peg_soft_n_per_m", "stiffness of a peg of 25.4 mm, lower end", func(r *Rules) *float64 { return &r.Joints.PegSoftNPerM }, stiff.PegSoftNPerM, "N/m", 1e3, 1e9, wood.FromMemory,
			"one oak peg in double shear, the range run at both ends",
		},
		{
			"peg_stiff_n_per_m", "stiffness of a peg of 25.4 mm, upper end", func(r *Rules) *float64 { return &r.Joints.PegStiffNPerM }, stiff.PegStiffNPerM, "N/m", 1e3, 1e9, wood.FromMemory,
			"one oak peg in double shear, the range run at both ends",
		},
		{
			"shoulder_soft_n_per_m", "stiffness of a joint pushed on its shoulders, lower end", func(r *Rules) *float64 { return &r.Joints.ShoulderSoftNPerM }, stiff.ShoulderSoftNPerM, "N/m", 1e4, 1e11, wood.FromMemory,
			"compression on shoulders, the range run at both ends",
		},
		{
			"shoulder_stiff_n_per_m", "stiffness of a joint pushed on its shoulders, upper end", func(r *Rules) *float64 { return &r.Joints.ShoulderStiffNPerM }, stiff.ShoulderStiffNPerM, "N/m", 1e4, 1e11, wood.FromMemory,
			"compression on shoulders, the range run at both ends",
		},
		{
			"day_hours", "hours of a working day", func(r *Rules) *float64 { return &r.DayHours }, 9, "h", 1, 24, wood.CommonPractice,
			"the crew's own day",
		},
	}
}

// DefaultRules are the rules of a company that has set none. RuleStatuses says how far each can be trusted.
func DefaultRules() Rules {
	r := Rules{
		Joints: model.Defaults(),
		Combinations: []Combination{
			{Name: "own weight and lateral load", Weight: 1, Notional: 1},
			{Name: "0.6 own weight and lateral load", Weight: 0.6, Notional: 1},
			{Name: "own weight and wind", Weight: 1, Wind: 1},
			{Name: "0.6 own weight and wind", Weight: 0.6, Wind: 1},
			{Name: "own weight, a person and lateral load", Weight: 1, Notional: 1, Person: 1},
		},
		NeighbourCombinations: []Combination{
			{Name: "own weight and come-along", Weight: 1, ComeAlong: 1},
			{Name: "0.6 own weight and come-along", Weight: 0.6, ComeAlong: 1},
			{Name: "own weight and bump", Weight: 1, Bump: 1},
			{Name: "0.6 own weight and bump", Weight: 0.6, Bump: 1},
		},
	}
	for _, x := range rules() {
		*x.at(&r) = x.value
	}
	return r
}

// RuleStatuses are status and source of each default, in the order of the fields, the combinations last.
func RuleStatuses() []RuleStatus {
	var list []RuleStatus
	for _, x := range rules() {
		value := fmt.Sprintf("%g", x.value)
		if x.unit != "" {
			value += " " + x.unit
		}
		list = append(list, RuleStatus{Field: x.field, Name: x.name, Value: value, Status: x.status, Source: x.source})
	}
	return append(list, RuleStatus{
		Field: "combinations", Name: "combinations of load cases", Status: wood.FromMemory,
		Value:  "1.0 or 0.6 times the weight with each lateral load in turn",
		Source: "allowable-stress combinations for stability, 0.6 D + W; the lateral load is always that of the full weight",
	})
}

// Fault is a rule that cannot be used.
type Fault struct {
	// Field is its path as the API names it, such as "combinations[2].wind".
	Field string
	// Message says what is wrong and what to do.
	Message string
}

// Check reports the first of Faults as a *statics.InputError that names its field.
func (r Rules) Check() error {
	for _, f := range r.Faults() {
		return &statics.InputError{Piece: f.Field, Problem: f.Message}
	}
	return nil
}

// Faults are all rules that cannot be used, in the order of the fields.
func (r Rules) Faults() []Fault {
	var faults []Fault
	for _, x := range rules() {
		faults = within(faults, x.field, *x.at(&r), x.least, x.most, x.unit)
	}
	if r.Joints.PegSoftNPerM > r.Joints.PegStiffNPerM {
		faults = append(faults, Fault{"peg_soft_n_per_m", "the lower end of the range lies above the upper one; give it at most peg_stiff_n_per_m"})
	}
	if r.Joints.ShoulderSoftNPerM > r.Joints.ShoulderStiffNPerM {
		faults = append(faults, Fault{"shoulder_soft_n_per_m", "the lower end of the range lies above the upper one; give it at most shoulder_stiff_n_per_m"})
	}
	if len(r.Combinations) == 0 {
		faults = append(faults, Fault{"combinations", "there are none; give at least one with weight and lateral load"})
	}
	faults = combinationFaults(faults, "combinations", r.Combinations)
	return combinationFaults(faults, "neighbour_combinations", r.NeighbourCombinations)
}

// mostFactor is the largest factor on a load case that is believed.
const mostFactor = 5

// mostCombinations bounds what one check runs.
const mostCombinations = 24

func combinationFaults(faults []Fault, field string, list []Combination) []Fault {
	if len(list) > mostCombinations {
		return append(faults, Fault{field, fmt.Sprintf("%d combinations are more than the %d that one check runs", len(list), mostCombinations)})
	}
	for i, c := range list {
		at := fmt.Sprintf("%s[%d]", field, i)
		if c.Name == "" {
			faults = append(faults, Fault{at + ".name", "it has no name; name it by its load cases"})
		}
		for _, x := range c.factors() {
			faults = within(faults, at+"."+x.field, x.value, 0, mostFactor, "")
		}
		if c.Weight == 0 {
			faults = append(faults, Fault{at + ".weight", "the weight is left out; what stands weighs something, give a factor above 0"})
		}
	}
	return faults
}

type factor struct {
	field string
	value float64
}

func (c Combination) factors() []factor {
	return []factor{
		{"weight", c.Weight}, {"notional", c.Notional}, {"wind", c.Wind}, {"person", c.Person}, {"come_along", c.ComeAlong}, {"bump", c.Bump},
	}
}

// within adds a fault for a number that is none or lies outside its bounds.
func within(faults []Fault, field string, v, least, most float64, unit string) []Fault {
	if unit != "" {
		unit = " " + unit
	}
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return append(faults, Fault{field, fmt.Sprintf("%g is not a number; give %g to %g%s", v, least, most, unit)})
	case v < least || v > most:
		return append(faults, Fault{field, fmt.Sprintf("%g%s is outside what is believed; give %g to %g%s", v, unit, least, most, unit)})
	}
	return faults
}
