package raising

import (
	"cmp"

	"github.com/pikepole/pikepole/services/internal/natural"
)

// Class is the first thing by which units are ordered when the joints leave the choice.
type Class int

// The classes, in the order in which they are raised when the joints leave the choice.
const (
	// Standing units have feet on the deck: bents, wall panels, loose posts.
	Standing Class = iota
	// InWall units are loose pieces of the walls: girts, plates, sills and their braces.
	InWall
	// Above are all others: trusses, floor and roof.
	Above
)

// Rank orders units whose joints leave the choice: what stands on the deck along X; then the walls, bay by
// bay along X and low before high; then the rest, low before high and along X; at last by name.
// Common practice, and a setting of ours.
type Rank struct {
	Class Class
	// X, Y and Z are in whole centimetres, so that rounding decides nothing.
	X, Y, Z int64
	Name    string
}

// compare is negative when a is raised before b.
func (a Rank) compare(b Rank) int {
	if c := cmp.Compare(a.Class, b.Class); c != 0 {
		return c
	}
	xz := [2]int{cmp.Compare(a.X, b.X), cmp.Compare(a.Z, b.Z)}
	if a.Class == Above {
		xz[0], xz[1] = xz[1], xz[0]
	}
	return cmp.Or(xz[0], xz[1], cmp.Compare(a.Y, b.Y), natural.Compare(a.Name, b.Name))
}
