package sequencing

import (
	"fmt"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// rulesPB are rules of the stand check as a message, without an etag.
func rulesPB(r standing.Rules) *sequencingv1.StandRules {
	return &sequencingv1.StandRules{
		WorkingGustMPerS: r.WorkingGustMPS, NightGustMPerS: r.NightGustMPS, LowGustMPerS: r.LowGustMPS,
		Exposure: r.Exposure, ForceCoefficient: r.ForceCoefficient, PeriodFactor: r.PeriodFactor, Shielding: r.Shielding,
		NotionalShare: r.NotionalShare, PersonKg: r.PersonKG, ComeAlongN: r.ComeAlongN, BumpShare: r.BumpShare,
		SwayShare: r.SwayShare, LeastBuckling: r.LeastBuckling, SlendernessPush: r.SlendernessPush,
		PegHoldsN: r.PegHoldsN, DurationFactor: r.DurationFactor, Friction: r.Joints.Friction,
		PegSoftNPerM: r.Joints.PegSoftNPerM, PegStiffNPerM: r.Joints.PegStiffNPerM,
		ShoulderSoftNPerM: r.Joints.ShoulderSoftNPerM, ShoulderStiffNPerM: r.Joints.ShoulderStiffNPerM,
		DayHours: r.DayHours, Combinations: combinationsPB(r.Combinations), NeighbourCombinations: combinationsPB(r.NeighbourCombinations),
	}
}

func combinationsPB(cs []standing.Combination) []*sequencingv1.Combination {
	var out []*sequencingv1.Combination
	for _, c := range cs {
		out = append(out, &sequencingv1.Combination{
			Name: c.Name, Weight: c.Weight, Notional: c.Notional, Wind: c.Wind, Person: c.Person, ComeAlong: c.ComeAlong, Bump: c.Bump,
		})
	}
	return out
}

// rulesOf are the rules of a message.
func rulesOf(r *sequencingv1.StandRules) standing.Rules {
	return standing.Rules{
		WorkingGustMPS: r.GetWorkingGustMPerS(), NightGustMPS: r.GetNightGustMPerS(), LowGustMPS: r.GetLowGustMPerS(),
		Exposure: r.GetExposure(), ForceCoefficient: r.GetForceCoefficient(), PeriodFactor: r.GetPeriodFactor(), Shielding: r.GetShielding(),
		NotionalShare: r.GetNotionalShare(), PersonKG: r.GetPersonKg(), ComeAlongN: r.GetComeAlongN(), BumpShare: r.GetBumpShare(),
		SwayShare: r.GetSwayShare(), LeastBuckling: r.GetLeastBuckling(), SlendernessPush: r.GetSlendernessPush(),
		PegHoldsN: r.GetPegHoldsN(), DurationFactor: r.GetDurationFactor(),
		Joints: model.Settings{
			Friction: r.GetFriction(), PegSoftNPerM: r.GetPegSoftNPerM(), PegStiffNPerM: r.GetPegStiffNPerM(),
			ShoulderSoftNPerM: r.GetShoulderSoftNPerM(), ShoulderStiffNPerM: r.GetShoulderStiffNPerM(),
		},
		DayHours: r.GetDayHours(), Combinations: combinationsOf(r.GetCombinations()), NeighbourCombinations: combinationsOf(r.GetNeighbourCombinations()),
	}
}

func combinationsOf(cs []*sequencingv1.Combination) []standing.Combination {
	var out []standing.Combination
	for _, c := range cs {
		out = append(out, standing.Combination{
			Name: c.GetName(), Weight: c.GetWeight(), Notional: c.GetNotional(), Wind: c.GetWind(), Person: c.GetPerson(),
			ComeAlong: c.GetComeAlong(), Bump: c.GetBump(),
		})
	}
	return out
}

// mostName is how long a name or an id may be.
const mostName = 80

// checker gathers wrong fields.
type checker struct{ fields []fault.Field }

func (c *checker) add(path, format string, args ...any) {
	c.fields = append(c.fields, fault.Field{Path: path, Message: fmt.Sprintf(format, args...)})
}

// within refuses a number outside of its range, and what is none.
func (c *checker) within(path string, v, least, most float64, unit string) {
	if !(v >= least && v <= most) {
		if unit != "" {
			unit = " " + unit
		}
		c.add(path, "must be from %g to %g%s, not %g", least, most, unit, v)
	}
}

// name refuses a name that is empty or too long.
func (c *checker) name(path, s string) {
	if s == "" || len(s) > mostName {
		c.add(path, "must be a name of 1 to %d letters", mostName)
	}
}

// id refuses an id that is empty, too long or taken.
func (c *checker) id(at, id string, taken map[string]bool) {
	c.name(at+".id", id)
	if taken[id] {
		c.add(at+".id", "%q stands a second time; give each its own", id)
	}
	taken[id] = true
}

func (c *checker) err() error {
	if len(c.fields) == 0 {
		return nil
	}
	return fault.InvalidFields(c.fields)
}

// ruleNumber is one number of the rules.
type ruleNumber struct {
	field string
	v     float64
	unit  string
}

// ruleNumbers are all numbers of rules, in the order of their fields.
func ruleNumbers(r *sequencingv1.StandRules) []ruleNumber {
	return []ruleNumber{
		{"working_gust_m_per_s", r.GetWorkingGustMPerS(), "m/s"},
		{"night_gust_m_per_s", r.GetNightGustMPerS(), "m/s"},
		{"low_gust_m_per_s", r.GetLowGustMPerS(), "m/s"},
		{"exposure", r.GetExposure(), ""},
		{"force_coefficient", r.GetForceCoefficient(), ""},
		{"period_factor", r.GetPeriodFactor(), ""},
		{"shielding", r.GetShielding(), ""},
		{"notional_share", r.GetNotionalShare(), ""},
		{"person_kg", r.GetPersonKg(), "kg"},
		{"come_along_n", r.GetComeAlongN(), "N"},
		{"bump_share", r.GetBumpShare(), ""},
		{"sway_share", r.GetSwayShare(), ""},
		{"least_buckling", r.GetLeastBuckling(), ""},
		{"slenderness_push", r.GetSlendernessPush(), ""},
		{"peg_holds_n", r.GetPegHoldsN(), "N"},
		{"duration_factor", r.GetDurationFactor(), ""},
		{"friction", r.GetFriction(), ""},
		{"peg_soft_n_per_m", r.GetPegSoftNPerM(), "N/m"},
		{"peg_stiff_n_per_m", r.GetPegStiffNPerM(), "N/m"},
		{"shoulder_soft_n_per_m", r.GetShoulderSoftNPerM(), "N/m"},
		{"shoulder_stiff_n_per_m", r.GetShoulderStiffNPerM(), "N/m"},
		{"day_hours", r.GetDayHours(), "hours"},
	}
}

// checkRules finds every fault of rules that are put; paths begin with rules.
func checkRules(r *sequencingv1.StandRules) error {
	if r == nil {
		return fault.Invalid("rules", "is missing; send all rules")
	}
	var c checker
	for _, f := range rulesOf(r).Faults() {
		c.add("rules."+f.Field, "%s", f.Message)
	}
	c.combinations(r.GetCombinations())
	return c.err()
}

// combinations checks that those of a state on its own make it stand in wind and without, and are about nothing else.
func (c *checker) combinations(cs []*sequencingv1.Combination) {
	const path = "rules.combinations"
	windy, still := false, false
	for i, k := range cs {
		if k.GetComeAlong() > 0 || k.GetBump() > 0 {
			c.add(fmt.Sprintf("%s[%d]", path, i), "has the pull or the blow of a neighbour; put it into neighbour_combinations")
		}
		windy = windy || k.GetWind() > 0
		still = still || k.GetWind() == 0 && k.GetNotional() > 0
	}
	if len(cs) > 0 && !windy {
		c.add(path, "must have one with wind, else every gust would be stood")
	}
	if len(cs) > 0 && !still {
		c.add(path, "must have one without wind and with the lateral load that is a share of the weight, for still air")
	}
}
