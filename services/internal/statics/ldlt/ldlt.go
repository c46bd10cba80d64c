// Package ldlt factors the stiffness matrix of a frame: symmetric, sparse, and made of blocks of six by six, the freedoms of a
// node. It orders the nodes by approximate minimum degree, so that few new blocks appear, finds once where those blocks will be
// (Analyse), and then factors any matrix of that pattern (Factor.Refactor) into L·D·Lᵀ without taking memory.
//
// There is no pivoting, as the matrix of a frame that stands is positive definite. A pivot that is tiny against the diagonal it
// began from is a free motion: it is counted and skipped, and Null gives the motion. As D keeps its signs, a frame that goes over
// under its load shows as a count of negative pivots (Sylvester's law of inertia).
//
// Freedoms that are held stay in the matrix: Refactor takes their rows and columns for those of the identity. So Mul with the
// same matrix gives reactions, and a support may let go without a new analysis.
package ldlt

// Freedoms is how many freedoms a node has.
const Freedoms = 6

// blockLen is how many numbers a block has.
const blockLen = Freedoms * Freedoms

// DefaultTolerance is the ratio of a pivot to the diagonal that it began from, below which it counts as zero. Rounding
// leaves about 1e-15 times the number of freedoms that were eliminated into it; a soft frame that stands keeps 1e-9 or more.
const DefaultTolerance = 1e-11

// Block is the coupling of two nodes, row by row: the entry of freedom r of the one and freedom c of the other at 6·r + c.
type Block [blockLen]float64

// Place is where a block lies in every matrix of one pattern.
type Place struct {
	slot int32
	flip bool
}

// Inertia counts the pivots by their sign, held freedoms left out.
type Inertia struct {
	Positive, Negative, Zero int
}
