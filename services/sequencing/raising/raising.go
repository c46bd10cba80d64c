// Package raising finds an order in which the pieces of a frame can go together, from how the
// joints close and from nothing else.
//
// It works backwards, by taking the finished frame apart. Units are what moves as one: an assembly, or a
// loose stick. For a direction d a unit u is blocked by a unit v when a joint between them does not
// let u leave along d while v stays; u and v must then leave together. A set that is closed under
// blocking can leave along d. So that nothing is left hanging, a unit that would lose its last
// connection to the deck through joints leaves with the set as well. The smallest such set that holds
// a given unit is found by following these two rules from the unit; a set that holds no smaller one
// leaves, and its units are put together beforehand and raised as one move. The order of raising is
// the order of leaving, turned round.
//
// Only joints are looked at: whether the way of a piece through the air is clear of other timbers is
// not, nor is whether what stands stays standing.
package raising

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// Deck stands for the deck as the receiving side of a Link.
const Deck = -1

// What may be put together beforehand: at most this many units, and at most one assembly among them.
// A rule of ours, so that a half of a frame is never called one piece.
const (
	// MaxGroup is the most units that are put together beforehand and moved as one.
	MaxGroup = 32
	// FlatMM is how far the feet and sticks of a group with several feet may lie out of one plane.
	FlatMM = 100
)

// PlayDeg is the angle between a tenon and the way of its mortise within which it still goes in.
const PlayDeg = float64(joinery.PlayDeg)

// Unit is what moves as one: an assembly or a loose stick.
type Unit struct {
	// Name is the id of the assembly or the mark of the stick.
	Name string
	// Assembly says that it is an assembly, put together flat.
	Assembly bool
	// Rank orders units whose joints leave the choice.
	Rank Rank
	// Feet are where it stands on the deck.
	Feet []Foot
	// Extent holds the ends of its sticks, to see whether a group lies in one plane.
	Extent []geom.Vec
}

// Foot is the foot of a post.
type Foot struct {
	// At is the middle of the foot.
	At geom.Vec
	// HalfWidth and HalfDepth reach from the middle to the middles of its sides.
	HalfWidth, HalfDepth geom.Vec
}

// reach is how far the foot reaches from its middle along a direction.
func (f Foot) reach(d geom.Vec) float64 {
	return abs(geom.Dot(f.HalfWidth, d)) + abs(geom.Dot(f.HalfDepth, d))
}

// Link is a joint between two units, or between a unit and the deck.
type Link struct {
	// ID is the joint's id.
	ID string
	// Entering and Receiving are indices of units; Receiving is Deck for a post base.
	Entering, Receiving int
	// Opens says whether the entering timber may leave the receiving one along a unit direction.
	Opens func(direction geom.Vec) bool
	// Ways are representative directions in which it opens, the nominal ones first.
	Ways []geom.Vec
	// At is where the joint is.
	At geom.Vec
	// TenonMM is the length of its tenon; 0 for none.
	TenonMM float64
}

// Puzzle is a frame as the search sees it.
type Puzzle struct {
	Units []Unit
	Links []Link
}

// Closing is how a move comes home; the numbers are those of the API.
type Closing int32

// The closings.
const (
	ClosingUnspecified Closing = iota
	Slide
	DropIn
	LeanAndComeUpright
	StartAllAndDrawUp
	Stand
)

// String is the closing in trade words.
func (c Closing) String() string {
	names := [...]string{
		"unspecified", "slide", "drop in", "lean and come upright",
		"start all and draw up", "stand",
	}
	if c < 0 || int(c) >= len(names) {
		return "unknown closing"
	}
	return names[c]
}

// Move is one step of the raising order.
type Move struct {
	// Units that move together, the first by rank first.
	Units []int
	// Closing is how they come home, and Why the rule that chose it.
	Closing Closing
	Why     string
	// Home is the unit direction in which they come home.
	Home geom.Vec
	// Links that close with what stands, those to the deck included.
	Links []int
	// Free are links of the moved units that are still open when they are home.
	Free []int
	// Hangs says that no joint keeps them from dropping out again: only pegs carry them.
	Hangs bool
	// LeanDeg is how far a unit that leans is out of plumb when its tenons start; else 0.
	LeanDeg float64
	// After are the moves that must come before this one, and why.
	After []Before
}

// Cause is why a move must come after another.
type Cause int

// The causes.
const (
	// Carried: nothing but the earlier move joins the later one to the deck.
	Carried Cause = iota + 1
	// ClosedIn: with the later move in place the earlier one could not come home.
	ClosedIn
)

// Before is an earlier move that a move must follow.
type Before struct {
	// Move is the index of the earlier move.
	Move int
	// Links are the joints between the two that ask for it.
	Links []int
	Cause Cause
}

// Locked is the error for a frame that nothing opens: a smallest set of pieces, and of joints between
// them, that lock each other.
type Locked struct {
	// Pieces are the names of the units.
	Pieces []string
	// Joints are ids.
	Joints []string
	// Deck says that the joints with the deck have a part in it.
	Deck bool
	// Flat is the assembly that cannot be put together; empty when it is the raising that fails.
	Flat string
	// Hanging says that no piece is trapped by joints, but none can leave without the rest losing its
	// connection to the deck.
	Hanging bool
}

// Error says which pieces lock each other and what to do.
func (l *Locked) Error() string {
	pieces, joints := some(l.Pieces), some(l.Joints)
	switch {
	case l.Hanging:
		return fmt.Sprintf("the pieces %s hold each other up through the joints %s: whichever is raised first "+
			"is joined to nothing that stands; give one of them a joint to a piece that stands by itself", pieces, joints)
	case l.Flat != "":
		return fmt.Sprintf("in assembly %s the pieces %s lock each other through the joints %s: no order of putting "+
			"them together closes all of these; let one of these joints open another way, such as by a slip tenon", l.Flat, pieces, joints)
	case l.Deck:
		return fmt.Sprintf("the pieces %s cannot come home onto the deck and into each other through the joints %s: "+
			"what stands on dowels or knife plates only comes down, and two assemblies are never lifted as one; use bearing post bases there, or joints that drop in", pieces, joints)
	}
	return fmt.Sprintf("the pieces %s lock each other through the joints %s: none of them can come home last; "+
		"let one of these joints open another way, such as by a slip tenon", pieces, joints)
}

// some lists names, the first of them when there are many.
func some(names []string) string {
	const most = 24
	if n := len(names); n > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), n-most)
	}
	return strings.Join(names, ", ")
}

// Order finds the moves, first to last. Its error is a *Locked, or that of the context when it ends first:
// frames of many thousand pieces that all hang on one another take long.
func Order(ctx context.Context, p Puzzle) ([]Move, error) {
	s := newSearch(p)
	s.ctx = ctx
	first := make([]int, len(p.Units))
	for try := 1; ; try++ {
		steps, stuck := s.takeDown(first)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if len(stuck) == 0 {
			slices.Reverse(steps)
			return s.moves(steps), nil
		}
		if try == 1 {
			l := lockOf(ctx, p, stuck)
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if l != nil {
				return nil, l
			}
		}
		if try == mostTries {
			return nil, hangingOf(p, stuck)
		}
		// Joints alone do not hold them: something left that they would have needed to stay joined to the
		// deck. Next time they leave before it, where they can.
		for _, u := range stuck {
			first[u]++
		}
	}
}

// mostTries is how often the frame is taken apart, each time letting those leave earlier that were left
// hanging before.
const mostTries = 24

// TakesApart says whether the units of a puzzle, lying free of the deck, can be put together one after
// another; its error is a *Locked with the smallest set that cannot. It is the test of an assembly that
// is put together flat.
func TakesApart(p Puzzle) error {
	if core := coreOf(p); len(core) > 0 {
		return shrink(p, core, coreOf)
	}
	return nil
}
