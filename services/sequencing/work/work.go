// Package work turns a company's rates of work into the machine and the minutes of each move of a raising.
//
// Every number in it is a setting: the defaults are common practice for a small crew, from no single source,
// and are meant to be replaced by what the company has timed itself.
package work

import (
	"fmt"
	"math"
)

// Machine is what a move is done with; the numbers are those of the API.
type Machine int32

// The machines.
const (
	Unspecified Machine = iota
	Crane
	Telehandler
	GinPole
	Hands
)

// Machines are all machines, in the order in which they are shown.
func Machines() []Machine { return []Machine{Crane, Telehandler, GinPole, Hands} }

// Known says whether it is one of Machines.
func (m Machine) Known() bool { return m >= Crane && m <= Hands }

// String is the machine in trade words.
func (m Machine) String() string {
	names := [...]string{"unspecified", "crane", "telehandler", "gin pole", "hands"}
	if m < 0 || int(m) >= len(names) {
		return "unknown machine"
	}
	return names[m]
}

// What persons do from the deck, without ladders or staging. Common practice.
const (
	// HandReachMM is how high above the deck hands set a joint.
	HandReachMM = 2100
	// PairMM is the length of stick above which two persons carry, whatever it weighs.
	PairMM = 2400
)

// Rates are a company's rates of work.
type Rates struct {
	// CarryPerPersonKG is the most that one person carries, in kilograms.
	CarryPerPersonKG float64
	// CrewCount is how many persons are at hand for carrying and setting.
	CrewCount int
	// TelehandlerKG is what the telehandler lifts at working reach, in kilograms; 0 for none.
	TelehandlerKG float64
	// TelehandlerReachMM is its highest reach above the ground, in millimetres.
	TelehandlerReachMM float64
	// GinPoleKG is what a gin pole lifts, in kilograms; 0 for none.
	GinPoleKG float64
	// MoveMinutes are the minutes to rig or take hold, lift, set and let go, by machine.
	MoveMinutes map[Machine]float64
	// BraceMinutes are the minutes to set one temporary brace.
	BraceMinutes float64
	// JointMinutes are the minutes to draw up and peg one joint.
	JointMinutes float64
	// CraneSetUpMinutes are the minutes to set up the crane, once.
	CraneSetUpMinutes float64
}

// Default are the rates of a company that has put none: 23 kg is the usual planning limit for carrying
// timbers; the minutes are round numbers. Common practice, to be replaced.
func Default() Rates {
	return Rates{
		CarryPerPersonKG: 23, CrewCount: 4,
		MoveMinutes:  map[Machine]float64{Crane: 20, Telehandler: 15, GinPole: 60, Hands: 8},
		BraceMinutes: 5, JointMinutes: 6, CraneSetUpMinutes: 60,
	}
}

// Fault is one wrong rate.
type Fault struct {
	// Field is the path of the field in the API's message of rates.
	Field string
	// Message says what is wrong and what to do.
	Message string
}

// Check finds every wrong rate. The minutes of single machines are checked where they are listed.
func (r Rates) Check() []Fault {
	var faults []Fault
	within := func(field string, v, least, most float64, unit string) {
		if !(v >= least && v <= most) {
			faults = append(faults, Fault{field, fmt.Sprintf("must be from %g to %g %s, not %g", least, most, unit, v)})
		}
	}
	within("carry_per_person_kg", r.CarryPerPersonKG, 1, 100, "kg")
	within("crew_count", float64(r.CrewCount), 1, 200, "persons")
	within("telehandler_kg", r.TelehandlerKG, 0, 50_000, "kg")
	within("telehandler_reach_mm", r.TelehandlerReachMM, 0, 50_000, "mm")
	within("gin_pole_kg", r.GinPoleKG, 0, 20_000, "kg")
	within("minutes_per_brace", r.BraceMinutes, 0, 240, "minutes")
	within("minutes_per_joint", r.JointMinutes, 0, 240, "minutes")
	within("crane_set_up_minutes", r.CraneSetUpMinutes, 0, 1440, "minutes")
	if r.TelehandlerKG > 0 && r.TelehandlerReachMM == 0 {
		faults = append(faults, Fault{"telehandler_reach_mm", "must be more than 0 when there is a telehandler"})
	}
	for _, m := range Machines() {
		if _, ok := r.MoveMinutes[m]; !ok {
			faults = append(faults, Fault{"rates", fmt.Sprintf("must give the minutes of a move with the %s", m)})
		}
	}
	return faults
}

// CheckMinutes says what is wrong with the minutes of a move; it is empty when nothing is.
func CheckMinutes(minutes float64) string {
	if !(minutes > 0 && minutes <= 1440) {
		return fmt.Sprintf("must be more than 0 and at most 1440 minutes, not %g", minutes)
	}
	return ""
}

// Load is what a move lifts and how high.
type Load struct {
	// MassKG is its mass, with pegs and hardware.
	MassKG float64
	// TopMM is its highest point when it is home, and JointMM that of the joints that close then, above the
	// deck; CentreMM is the height of its centre of gravity.
	TopMM, JointMM, CentreMM float64
	// LongestMM is its longest stick.
	LongestMM float64
}

// Place is what the site has.
type Place struct {
	// Crane says that the job has a crane.
	Crane bool
	// DeckMM is the height of the deck above the ground, in millimetres.
	DeckMM float64
}

// Choice is the machine for a move.
type Choice struct {
	Machine Machine
	// Persons is how many it takes by hand; 0 for a machine.
	Persons int
	// Missing says what is asked for and not there; empty when nothing is.
	Missing string
}

// Choose takes the first that will do: hands, when the crew can carry it and every joint and its centre of gravity
// are within reach; the telehandler, when it lifts the mass at
// working reach as high as its top; the job's crane; where the job has no crane, a gin pole that lifts it.
// When nothing will do a crane is asked for. Whether the crane can is for its own chart to say.
func (r Rates) Choose(l Load, at Place) Choice {
	persons := max(1, int(math.Ceil(l.MassKG/r.CarryPerPersonKG)))
	if l.LongestMM > PairMM {
		persons = max(persons, 2)
	}
	reachable := l.JointMM <= HandReachMM && l.CentreMM <= HandReachMM
	switch {
	case persons <= r.CrewCount && reachable:
		return Choice{Machine: Hands, Persons: persons}
	case r.TelehandlerKG > 0 && l.MassKG <= r.TelehandlerKG && l.TopMM+at.DeckMM <= r.TelehandlerReachMM:
		return Choice{Machine: Telehandler}
	case at.Crane:
		return Choice{Machine: Crane}
	case r.GinPoleKG > 0 && l.MassKG <= r.GinPoleKG:
		return Choice{Machine: GinPole}
	}
	return Choice{Machine: Crane, Missing: fmt.Sprintf(
		"It takes a crane for %.0f kg at %.1f m above the deck, and no crane is planned for this job yet.", l.MassKG, l.TopMM/1000)}
}

// Minutes of one move: t = t_machine + n_joints · t_joint + n_braces · t_brace.
func (r Rates) Minutes(m Machine, joints, braces int) float64 {
	return r.MoveMinutes[m] + float64(joints)*r.JointMinutes + float64(braces)*r.BraceMinutes
}

// Sum adds up moves.
type Sum struct {
	crane, all float64
	craneUsed  bool
}

// Add counts one move.
func (s *Sum) Add(m Machine, minutes float64) {
	s.all += minutes
	if m == Crane {
		s.crane += minutes
		s.craneUsed = true
	}
}

// Hours are the hours of the crane, with setting it up once, and of all moves one after another, with the same.
func (s *Sum) Hours(r Rates) (crane, total float64) {
	setUp := 0.0
	if s.craneUsed {
		setUp = r.CraneSetUpMinutes
	}
	return (s.crane + setUp) / 60, (s.all + setUp) / 60
}
