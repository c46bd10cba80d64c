package work_test

import (
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/sequencing/work"
)

func TestChoose(t *testing.T) {
	t.Parallel()
	r := work.Default()
	r.TelehandlerKG, r.TelehandlerReachMM, r.GinPoleKG = 800, 6000, 400
	for _, tc := range []struct {
		name    string
		load    work.Load
		at      work.Place
		machine work.Machine
		persons int
		missing bool
	}{
		{"one person", work.Load{MassKG: 20, JointMM: 1500}, work.Place{Crane: true}, work.Hands, 1, false},
		{"a long light stick takes two", work.Load{MassKG: 20, JointMM: 1500, LongestMM: 3000}, work.Place{}, work.Hands, 2, false},
		{"whole crew at the limit", work.Load{MassKG: 92, JointMM: 2100}, work.Place{}, work.Hands, 4, false},
		{"too heavy for the crew", work.Load{MassKG: 92.1, JointMM: 2100, TopMM: 2400}, work.Place{}, work.Telehandler, 0, false},
		{"light but too high for hands", work.Load{MassKG: 20, JointMM: 2101, TopMM: 2400}, work.Place{}, work.Telehandler, 0, false},
		{"tall post, centre too high", work.Load{MassKG: 80, CentreMM: 2500, TopMM: 5000}, work.Place{}, work.Telehandler, 0, false},
		{"tall post on a sill within reach, centre too high", work.Load{MassKG: 80, JointMM: 200, CentreMM: 2500, TopMM: 5000}, work.Place{}, work.Telehandler, 0, false},
		{"short post", work.Load{MassKG: 80, CentreMM: 1400, TopMM: 2800}, work.Place{}, work.Hands, 4, false},
		{"above the telehandler from a high deck", work.Load{MassKG: 300, JointMM: 5000, TopMM: 5500}, work.Place{Crane: true, DeckMM: 501}, work.Crane, 0, false},
		{"within it from a low deck", work.Load{MassKG: 300, JointMM: 5000, TopMM: 5500}, work.Place{Crane: true, DeckMM: 500}, work.Telehandler, 0, false},
		{"gin pole without a crane", work.Load{MassKG: 400, JointMM: 6500, TopMM: 7000}, work.Place{}, work.GinPole, 0, false},
		{"crane rather than gin pole", work.Load{MassKG: 400, JointMM: 6500, TopMM: 7000}, work.Place{Crane: true}, work.Crane, 0, false},
		{"nothing will do", work.Load{MassKG: 2000, JointMM: 6500, TopMM: 7000}, work.Place{}, work.Crane, 0, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got := r.Choose(tc.load, tc.at)
			if got.Machine != tc.machine || got.Persons != tc.persons || (got.Missing != "") != tc.missing {
				t.Errorf("got %+v, want %v with %d persons, missing %v", got, tc.machine, tc.persons, tc.missing)
			}
		})
	}
}

func TestMinutesAndHours(t *testing.T) {
	t.Parallel()
	r := work.Default()
	// By hand: 20 + 4·6 + 2·5 = 54 minutes with the crane, 8 + 2·6 = 20 by hand.
	if got := r.Minutes(work.Crane, 4, 2); got != 54 {
		t.Errorf("crane move: %g minutes, want 54", got)
	}
	var s work.Sum
	s.Add(work.Hands, r.Minutes(work.Hands, 2, 0))
	if crane, total := s.Hours(r); crane != 0 || math.Abs(total-20.0/60) > 1e-12 {
		t.Errorf("hands alone: %g crane hours of %g, want 0 of 0.333", crane, total)
	}
	s.Add(work.Crane, 54)
	crane, total := s.Hours(r)
	if math.Abs(crane-114.0/60) > 1e-12 || math.Abs(total-134.0/60) > 1e-12 {
		t.Errorf("%g crane hours of %g, want 1.9 of 2.2333: setting up counts once", crane, total)
	}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	if f := work.Default().Check(); len(f) > 0 {
		t.Fatalf("the defaults are refused: %v", f)
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, tc := range []struct {
		name, field string
		change      func(*work.Rates)
	}{
		{"no carrying", "carry_per_person_kg", func(r *work.Rates) { r.CarryPerPersonKG = 0 }},
		{"not a number", "carry_per_person_kg", func(r *work.Rates) { r.CarryPerPersonKG = nan }},
		{"no crew", "crew_count", func(r *work.Rates) { r.CrewCount = 0 }},
		{"huge crew", "crew_count", func(r *work.Rates) { r.CrewCount = math.MaxInt32 }},
		{"negative telehandler", "telehandler_kg", func(r *work.Rates) { r.TelehandlerKG = -1 }},
		{"telehandler without reach", "telehandler_reach_mm", func(r *work.Rates) { r.TelehandlerKG = 500 }},
		{"endless reach", "telehandler_reach_mm", func(r *work.Rates) { r.TelehandlerReachMM = inf }},
		{"gin pole", "gin_pole_kg", func(r *work.Rates) { r.GinPoleKG = nan }},
		{"braces", "minutes_per_brace", func(r *work.Rates) { r.BraceMinutes = -1 }},
		{"joints", "minutes_per_joint", func(r *work.Rates) { r.JointMinutes = inf }},
		{"set-up", "crane_set_up_minutes", func(r *work.Rates) { r.CraneSetUpMinutes = 1441 }},
		{"a machine left out", "rates", func(r *work.Rates) { delete(r.MoveMinutes, work.GinPole) }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r := work.Default()
			tc.change(&r)
			faults := r.Check()
			if len(faults) != 1 || faults[0].Field != tc.field || faults[0].Message == "" {
				t.Errorf("faults %+v, want one at %s", faults, tc.field)
			}
		})
	}
	for _, m := range []float64{0, -1, nan, inf, 1441} {
		if work.CheckMinutes(m) == "" {
			t.Errorf("%g minutes for a move are accepted", m)
		}
	}
	if s := work.CheckMinutes(20); s != "" {
		t.Errorf("20 minutes: %s", s)
	}
}
