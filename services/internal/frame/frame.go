// Package frame is the timber frame in memory: built by Parse from a Draft, checked once and never invalid
// afterwards. Lengths are millimetres, masses kilograms, angles degrees; axes are right-handed with Z up
// and 0 at the top of the deck.
//
// # Measure
//
// Every number below follows from the fields of the frame alone. A stick has shoulders S and E, axis
// a = (E − S)/|E − S|, section W × D along its unit directions w and d: d is Z less its part along a, made
// unit (Y for a plumb stick), w = d × a, both turned about a by roll_deg by the right-hand rule. For
// each joint, n, o, t, m and c = |n·a| are the directions of package joinery: n the outward normal of
// the receiving face entered, o out of the entering stick's end, t the receiving stick's axis, m = ±(t × n)
// to the side of the entering stick's plus depth or plus width. L, t, w, h and cl are the tenon's
// length, thickness, width, housing depth and clearance, all 0 when there is no tenon.
//
//	shoulder length  Ls = |E − S|
//	overall length   Ls + eS + eE, where each end reaches beyond its point by the most of its joints
//	  e = max( (W/2·|n·w| + D/2·|n·d| + h)/c , L·c + w/2·|t·a| )
//	  without the second term for a slip tenon, a knife plate and a steel connection, or without a tenon;
//	  e = 0 for a square end: no joint, a post base, a birdsmouth
//	volume           V = W·D·Ls + Σ gained − Σ lost
//	  gained, as the entering stick at an end: W·D·h/c, and t·w·(L − h) for a tenon, tongue, tail or lapped end
//	  lost, as the entering stick: t·w·L for a knife plate's kerf, a dowel's hole in a post's foot, and a lap along it
//	removed          R = Σ lost as the receiving stick: W'·D'·h/c with the section of the entering stick, and
//	  t·w·(L − h + cl), through mortises t·w·(T − h) with T = W·|n·w| + D·|n·d| of the receiving stick,
//	  and t·w·L for a lap along the entering stick
//	volume of solid  V − R; peg holes are not taken off, since the pegs refill them, nor the mortises of a
//	  slip tenon, which its tongue fills, nor the notch of a birdsmouth
//	density          ρ of package wood at the stick's species and moisture, on the volume at that moisture
//	mass             ρ·(V − R)·1e-9
//	pegs             count·π/4·diameter²·length·1e-9 · density of the pegs' species dried to 12 percent
//
// A lap or joint along a stick never makes it longer. The centroid is the volume-weighted mean of these
// parts, each at its own middle: the prism at (S + E)/2 (a sloped cut's shift of some millimetres is
// left out), a let-in end half-way between its two planes on the centre line, a tenon on its own centre
// line at (L + h)/2 below the face, shifted by the shoulder offset along m, a mortise at (h + bottom)/2 below
// the face at the joint's point, shifted alike.
//
// When pieces are weighed, the pegs of a joint go with the timber that receives them, those of a post base
// with the post, and hardware goes with the timber that it names. So weights of pieces add up to
// the weight of the frame.
package frame

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// Limits of a frame.
const (
	MaxTimbers = 20_000
	MaxJoints  = 80_000
)

// Frame is a frame that Parse accepted. It is immutable and safe for concurrent use.
type Frame struct {
	draft      Draft
	byMark     map[string]int
	inOrder    []int
	byJoint    map[string]int
	sticks     []joinery.Stick
	joints     []joinery.Joint
	ends       [][2]int32
	jointsOf   [][]int
	members    map[string][]int
	loose      []int
	solids     []Solid
	density    []float64
	pegMass    []float64
	hardwareOn map[int][]int
	warnings   []Finding
	digest     string
}

// Solid is the measure of a stick's finished solid.
type Solid struct {
	// OverallMM is the extent along the stick, tenons and tails included, long point to long point.
	OverallMM float64
	// ShoulderMM is the length from shoulder to shoulder.
	ShoulderMM float64
	// StartMM and EndMM are how far the solid reaches beyond its start and end.
	StartMM, EndMM float64
	// VolumeMM3 is the volume of the finished solid: tenons on, mortises out.
	VolumeMM3 float64
	// RemovedMM3 is what mortises and housings took from it.
	RemovedMM3 float64
	// Centroid is the middle of its volume.
	Centroid geom.Vec
	// Corners are those of the stick without its tenons, cut to its shoulders, let-in ends included: four round
	// its start (−w−d, +w−d, +w+d, −w+d), then four round its end.
	Corners [8]geom.Vec
	// Tongues are the corners of its tenons, tongues and tails: four at the shoulder, four at the tip.
	Tongues [][8]geom.Vec
}

// Title is what the frame is called.
func (f *Frame) Title() string { return f.draft.Title }

// Grid is the lines and levels; the caller must not change it.
func (f *Frame) Grid() Grid { return f.draft.Grid }

// Timbers are the sticks in the order given; the caller must not change them.
func (f *Frame) Timbers() []Timber { return f.draft.Timbers }

// Joints are the joints in the order given; the caller must not change them.
func (f *Frame) Joints() []Joint { return f.draft.Joints }

// Assemblies are the assemblies in the order given; the caller must not change them.
func (f *Frame) Assemblies() []Assembly { return f.draft.Assemblies }

// Hardware is the hardware in the order given; the caller must not change it.
func (f *Frame) Hardware() []Hardware { return f.draft.Hardware }

// InOrder are the indices of the timbers by their marks as people read them, P-2 before P-10; the caller must not
// change them.
func (f *Frame) InOrder() []int { return f.inOrder }

// Index finds a timber by its mark.
func (f *Frame) Index(mark string) (int, bool) {
	i, ok := f.byMark[mark]
	return i, ok
}

// JointIndex finds a joint by its id.
func (f *Frame) JointIndex(id string) (int, bool) {
	i, ok := f.byJoint[id]
	return i, ok
}

// JointsOf are the indices of the joints at timber i, entering or receiving; the caller must not
// change them.
func (f *Frame) JointsOf(i int) []int { return f.jointsOf[i] }

// Ends are the timbers of joint j; receiving is −1 for the deck.
func (f *Frame) Ends(j int) (entering, receiving int) {
	return int(f.ends[j][0]), int(f.ends[j][1])
}

// Members are the timbers of an assembly; the caller must not change them.
func (f *Frame) Members(assemblyID string) []int { return f.members[assemblyID] }

// Loose are the timbers that belong to no assembly; the caller must not change them.
func (f *Frame) Loose() []int { return f.loose }

// Axes are the directions of timber i.
func (f *Frame) Axes(i int) geom.Axes { return f.sticks[i].Axes }

// Stick is timber i as joinery knows it.
func (f *Frame) Stick(i int) joinery.Stick { return f.sticks[i] }

// Joinery is joint j as joinery knows it.
func (f *Frame) Joinery(j int) joinery.Joint { return f.joints[j] }

// Solid is the measure of timber i.
func (f *Frame) Solid(i int) Solid { return f.solids[i] }

// DensityKgPerM3 is the density of timber i at its moisture content.
func (f *Frame) DensityKgPerM3(i int) float64 { return f.density[i] }

// Warnings are what is doubtful but does not refuse the frame; the caller must not change them.
func (f *Frame) Warnings() []Finding { return f.warnings }

// Digest names the frame: lower-case hex of SHA-256 over its canonical encoding. It does not depend
// on the order in which timbers, joints, assemblies and hardware are listed.
func (f *Frame) Digest() string { return f.digest }

// Draft is a deep copy of what the frame was made from.
func (f *Frame) Draft() Draft { return f.draft.Clone() }
