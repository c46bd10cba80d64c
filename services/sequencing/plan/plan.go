// Package plan puts the raising of a frame together: the order, the machine and the minutes of each move, the
// temporary braces, and the sentences that say what to do.
package plan

import (
	"context"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/natural"
	"github.com/pikepole/pikepole/services/sequencing/bracing"
	"github.com/pikepole/pikepole/services/sequencing/raising"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// Site is what the raising needs to know of the place.
type Site struct {
	// Deck is the outline of the deck, counter-clockwise; empty when it is not known.
	Deck []geom.Vec
	// DeckMM is its height above the ground where the machines stand.
	DeckMM float64
	// Crane says that a crane is planned for the job.
	Crane bool
}

// Before is an earlier move that a move must follow.
type Before struct {
	// Move is its number, from 1.
	Move int
	// Joints are the ids of the joints that ask for it.
	Joints []string
	// Reason is why, as a sentence.
	Reason string
}

// Move is one step of the raising.
type Move struct {
	// Number is from 1.
	Number int
	// Assembly is the id of the assembly that moves; empty for loose sticks.
	Assembly string
	// Pieces are the timbers that move, by index in the frame, and Marks their marks: the sticks of the
	// assembly first, else the heaviest first.
	Pieces []int
	Marks  []string
	// Closing is how they come home, and Home the way.
	Closing raising.Closing
	Home    geom.Vec
	// Joints are the ids of the joints that close, those with the deck included.
	Joints []string
	After  []Before
	// MassKG is the mass of what moves, with pegs and hardware.
	MassKG  float64
	Machine work.Machine
	// Persons is how many it takes by hand; 0 for a machine.
	Persons int
	Minutes float64
	Braces  []bracing.Brace
	// Instruction is what to do, in sentences.
	Instruction string
	// Missing says which machine is asked for and not there; empty when none is.
	Missing string
}

// Raising is the whole raising of a frame.
type Raising struct {
	Moves []Move
	// CraneHours include setting the crane up; TotalHours are all moves one after another, with the same.
	CraneHours, TotalHours float64
	// DeckKnown says that the outline of the deck was known.
	DeckKnown bool
}

// Make makes the raising of a frame. Its error is a *raising.Locked when nothing opens the frame, or that of the
// context.
func Make(ctx context.Context, f *frame.Frame, at Site, rates work.Rates) (*Raising, error) {
	order, err := raising.OfFrame(ctx, f)
	if err != nil {
		return nil, err
	}
	m := &maker{f: f, order: order, at: at, rates: rates, deck: deckOf(f, at)}
	m.of = make([]int, len(order.Units))
	for i, mv := range order.Moves {
		for _, u := range mv.Units {
			m.of[u] = i
		}
	}
	m.deck.Ways = m.ways()
	r := &Raising{Moves: make([]Move, len(order.Moves)), DeckKnown: len(at.Deck) > 2}
	for i := range order.Moves {
		r.Moves[i] = m.begin(i)
	}
	var sum work.Sum
	for i := range order.Moves {
		m.finish(&r.Moves[i], r.Moves)
		sum.Add(r.Moves[i].Machine, r.Moves[i].Minutes)
	}
	r.CraneHours, r.TotalHours = sum.Hours(rates)
	return r, nil
}

// maker is a raising in the making.
type maker struct {
	f     *frame.Frame
	order *raising.Plan
	at    Site
	rates work.Rates
	deck  *bracing.Deck
	of    []int // the move of each unit
}

// begin gathers the pieces of a move and how it comes home.
func (m *maker) begin(i int) Move {
	from := m.order.Moves[i]
	mv := Move{Number: i + 1, Closing: from.Closing, Home: tidy(from.Home)}
	var loose []int
	for _, u := range from.Units {
		if m.order.Units[u].Assembly {
			mv.Assembly = m.order.Units[u].Name
			mv.Pieces = slices.Clone(m.order.Pieces[u])
			slices.SortFunc(mv.Pieces, func(a, b int) int {
				return natural.Compare(m.mark(a), m.mark(b))
			})
			continue
		}
		loose = append(loose, m.order.Pieces[u]...)
	}
	slices.SortStableFunc(loose, func(a, b int) int {
		switch x, y := m.f.MassKG(a), m.f.MassKG(b); {
		case x-y > 0.01:
			return -1
		case y-x > 0.01:
			return 1
		}
		return natural.Compare(m.mark(a), m.mark(b))
	})
	mv.Pieces = append(mv.Pieces, loose...)
	for _, p := range mv.Pieces {
		mv.Marks = append(mv.Marks, m.mark(p))
	}
	mv.MassKG, _ = m.f.Weigh(mv.Pieces)
	mv.Joints = m.ids(from.Links)
	return mv
}

// finish adds braces, machine, minutes and words, once the pieces of all moves are known.
func (m *maker) finish(mv *Move, all []Move) {
	from := &m.order.Moves[mv.Number-1]
	for _, b := range from.After {
		mv.After = append(mv.After, Before{
			Move: b.Move + 1, Joints: m.ids(b.Links), Reason: m.reason(mv, &all[b.Move], b),
		})
	}
	mv.Braces = m.braces(mv, from)
	joints := 0
	for _, l := range from.Links {
		if m.order.Links[l].Receiving != raising.Deck {
			joints++
		}
	}
	choice := m.rates.Choose(m.load(mv, from), work.Place{Crane: m.at.Crane, DeckMM: m.at.DeckMM})
	mv.Machine, mv.Persons, mv.Missing = choice.Machine, choice.Persons, choice.Missing
	mv.Minutes = m.rates.Minutes(mv.Machine, joints, len(mv.Braces))
	mv.Instruction = m.instruction(mv, from)
}

// load is what a move lifts and how high.
func (m *maker) load(mv *Move, from *raising.Move) work.Load {
	mass, centre := m.f.Weigh(mv.Pieces)
	l := work.Load{MassKG: mass, CentreMM: centre.Z}
	for _, p := range mv.Pieces {
		solid := m.f.Solid(p)
		l.LongestMM = max(l.LongestMM, solid.OverallMM)
		for _, c := range solid.Corners {
			l.TopMM = max(l.TopMM, c.Z)
		}
	}
	for _, k := range from.Links {
		link := &m.order.Links[k]
		if link.Receiving != raising.Deck {
			l.JointMM = max(l.JointMM, link.At.Z)
		}
	}
	return l
}

// ids are the ids of links, in natural order.
func (m *maker) ids(links []int) []string {
	ids := make([]string, len(links))
	for i, l := range links {
		ids[i] = m.order.Links[l].ID
	}
	slices.SortFunc(ids, natural.Compare)
	return ids
}

func (m *maker) mark(i int) string { return m.f.Timbers()[i].Mark }

// tidy takes rounding dust off a unit direction.
func tidy(v geom.Vec) geom.Vec {
	f := func(x float64) float64 {
		if x > -1e-9 && x < 1e-9 {
			return 0
		}
		return x
	}
	return geom.V(f(v.X), f(v.Y), f(v.Z))
}
