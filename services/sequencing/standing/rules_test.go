package standing

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/statics"
)

func TestDefaultRules(t *testing.T) {
	t.Parallel()
	r := DefaultRules()
	if err := r.Check(); err != nil {
		t.Fatalf("the defaults are refused: %v", err)
	}
	statuses := RuleStatuses()
	if len(statuses) < 20 {
		t.Fatalf("only %d defaults say where they come from", len(statuses))
	}
	for _, s := range statuses {
		if s.Field == "" || s.Name == "" || s.Value == "" || s.Source == "" {
			t.Errorf("the status of %q lacks something: %+v", s.Field, s)
		}
	}
}

func TestRulesRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, field string
		spoil       func(*Rules)
	}{
		{"no number", "night_gust_m_per_s", func(r *Rules) { r.NightGustMPS = math.NaN() }},
		{"infinite", "person_kg", func(r *Rules) { r.PersonKG = math.Inf(1) }},
		{"negative", "working_gust_m_per_s", func(r *Rules) { r.WorkingGustMPS = -1 }},
		{"a wind of 200 m/s", "low_gust_m_per_s", func(r *Rules) { r.LowGustMPS = 200 }},
		{"percent for a share", "notional_share", func(r *Rules) { r.NotionalShare = 2 }},
		{"swapped ends", "peg_soft_n_per_m", func(r *Rules) {
			r.Joints.PegSoftNPerM, r.Joints.PegStiffNPerM = r.Joints.PegStiffNPerM, r.Joints.PegSoftNPerM
		}},
		{"no combinations", "combinations", func(r *Rules) { r.Combinations = nil }},
		{"no name", "combinations[1].name", func(r *Rules) { r.Combinations[1].Name = "" }},
		{"a factor of none", "combinations[2].wind", func(r *Rules) { r.Combinations[2].Wind = math.NaN() }},
		{"weightless", "neighbour_combinations[0].weight", func(r *Rules) { r.NeighbourCombinations[0].Weight = 0 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := DefaultRules()
			c.spoil(&r)
			var fault *statics.InputError
			if err := r.Check(); !errors.As(err, &fault) {
				t.Fatalf("the error is %v, want one that names the field", err)
			}
			if fault.Piece != c.field || !strings.Contains(fault.Problem, " ") {
				t.Errorf("the fault names %q (%s), want %q", fault.Piece, fault.Problem, c.field)
			}
		})
	}
	r := DefaultRules()
	r.WorkingGustMPS, r.NotionalShare, r.Combinations[0].Wind = -1, math.NaN(), 99
	if got := r.Faults(); len(got) != 3 {
		t.Errorf("of three faults %d are named: %v", len(got), got)
	}
}
