// Package makesafe chooses temporary braces: for one state from what lumber is at hand, and for a whole raising, move by
// move. A choice is safe when package standing says that it stands for the gust asked for, that it still stands in still
// air and in a low gust with any one brace knocked out, that what stands is held in both directions of the plan,
// and that no brace passes through a timber or is in the way of a move to come.
package makesafe

import (
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// Site is what the choice needs to know of the place.
type Site struct {
	// Deck is the outline of the deck, counter-clockwise, in millimetres; empty when it is not known.
	Deck []geom.Vec
	// DeckMM is its height above the ground.
	DeckMM float64
}

// Problem is one state to make safe.
type Problem struct {
	Frame *frame.Frame
	// State has what stands, its pegs, the braces that are on already and the gust to stand.
	State standing.Situation
	Rules standing.Rules
	Stock brace.Stock
	Site  Site
	// Coming are the pieces of each move to come, in order, whose ways home must stay clear.
	Coming []Move
}

// Move is a move of the raising order.
type Move struct {
	// Number is from 1.
	Number int
	// Pieces are its timbers, Joints the joints that it closes, by index in the frame.
	Pieces, Joints []int
	// Home is the way it moves home, a unit vector; zero when it only stands.
	Home geom.Vec
	// Hands says that no hook holds it.
	Hands bool
	// DayEnds says that a day ends after it.
	DayEnds bool
}

// Budget bounds a search.
type Budget struct {
	// Steps is how many states may be checked; 0 for the default.
	Steps int
}

// Plan is a choice of braces.
type Plan struct {
	Safe bool
	// Refusal says why none was found.
	Refusal string
	// Add are the braces to add, the most urgent first, and Cuts what to cut for them, in the same order.
	Add  []brace.Brace
	Cuts []brace.Cut
	// Least is the fewest braces that could do, as far as is proved.
	Least int
	// Before is the verdict without them, Verdict that with them, and Knocked the worst with one knocked out.
	Before, Verdict *standing.Verdict
	Knocked         *Knocked
	// Steps is how many states were checked, and Ended what ended the search, in words.
	Steps int
	Ended string
}

// Knocked is the worst state with one brace knocked out.
type Knocked struct {
	Brace   string
	Verdict *standing.Verdict
}

// RaisingProblem is a whole raising.
type RaisingProblem struct {
	Frame *frame.Frame
	Moves []Move
	Rules standing.Rules
	Stock brace.Stock
	Site  Site
	// Given are the braces by the number of the move that sets them; nil lets the program choose, and an empty map
	// goes without.
	Given map[int]Given
}

// Given are braces set and struck with one move.
type Given struct {
	Set []brace.Brace
	// Strike are ids of braces that come off after the move.
	Strike []string
}

// Strike is a brace that may come off.
type Strike struct {
	ID string
	// Once says what must be on before, as a sentence.
	Once string
}

// Stage is the state after one move.
type Stage struct {
	Move int
	// Set are the braces to set before letting go, Strike those that may come off afterwards, On all that are on
	// while it is checked, those of Strike included.
	Set    []brace.Brace
	Strike []Strike
	On     []brace.Brace
	// PegFirst says that the joints of the move are pegged before the hook lets go, since it does not stay up without; then
	// Released is with them pegged.
	PegFirst bool
	// Released is the verdict once the hook has let go, Overnight that of the night when a day ends; nil when none does.
	Released, Overnight *standing.Verdict
	// Beside is the verdict while the next move is being drawn in beside it, its joints pegged and those of Strike off; nil
	// unless the next one hangs from a hook and stands on the deck. Overnight is without those of Strike too.
	Beside  *standing.Verdict
	Knocked *Knocked
	// Refusal says why no braces were found that make it stand.
	Refusal string
}

// RaisingPlan is a whole raising with its braces.
type RaisingPlan struct {
	Stages []Stage
	// First is the number of the first move after which it does not stand; 0 when all stand.
	First   int
	Planned bool
	// Checked says that every state was checked again in the end, with each of its braces knocked out; a plan that is told
	// before is not.
	Checked bool
	Cuts    []brace.Cut
	Notes   []string
}
