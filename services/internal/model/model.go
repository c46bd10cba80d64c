// Package model turns a frame into a structure that package statics can analyse: any set of its pieces, with any
// temporary braces, joints pegged or not yet.
//
// # Sticks
//
// A timber is a chain of straight members on its centre line, shoulder to shoulder, of the gross section, bending and shearing (5/6 of
// the area), local y along its depth. E is that of its species and grade, at the soft end three quarters of it; G is E/16. Its
// density is such that it weighs what frame.Weigh says, evenly along it: tenons, pegs and hardware included, mortises taken off.
//
// It has a node where another timber enters it, where a joint lies along it, where it stands on the deck, where a brace or a point of
// the state takes hold, and at an end that no joint holds. Joints within 31 mm of one another along it share a node: rigid arms
// lead from the node to where they really are.
//
// # Joints
//
// A stick that enters another with an end has no node there. Its member is held at the shoulder's middle, on its own centre line,
// which a rigid arm joins to the node on the centre line of the stick that receives it: that is the joint's eccentricity. Several
// sticks that meet at one point hang on the same node, each by its own arm. Where one end enters two timbers, or stands on the deck as
// well, or has pegs parallel to none of its stick's faces, it has a node of its own, and the joint is a link of six springs with arms to
// both centre lines; so is a joint that lies along the stick that enters.
//
// What a joint transmits, along the stick that enters (push, pull), across it both ways, and turning about the stick's own axis, the peg
// and the tenon's width. The stiffnesses are those of joinery.HoldOf at the soft or the stiff end of their range.
//
//	joint                     push        pull unpegged  pull pegged   across            axis   peg     width
//	blind, through, housed    shoulder    none           pegs          tenon, housing    faces  hinge   shoulders
//	wedged                    shoulder    none           pegs, wedges  tenon             faces  hinge   shoulders
//	fork and tongue           shoulder    none           pegs          tongue            faces  hinge   shoulders
//	dovetailed housing        shoulder    none           none          tail              tail   tail    hinge
//	lap at an end             notch       none           pegs          notch             seat   hinge   seat
//	lap along (link)          seat, down  none, lifting  none          notch             seat   hinge   seat
//	scarf, end to end         butts       none           pegs          halves            share of the solid stick, all three
//	birdsmouth along (link)   seat, down  none, lifting  pegs          heel              seat   seat    hinge
//	birdsmouth at an end      seat        none           none          heel              seat   seat    hinge
//	stepped foot              step        none           none          heel              seat   hinge   seat
//	slip tenon                shoulder    none           half the pegs tongue            faces  hinge   shoulders
//	knife plate, steel        butts       none           bolts         bolts             seat   hinge   seat
//
// So a stick with both ends pinned does not spin: the tenons hold it by their faces. A frame without knee braces has only the
// bending of its sticks across the bents and its feet to hold it up. Pegged means pegs, wedges or bolts in; pulled apart, an
// unpegged joint opens, while its tenon, still in its mortise, goes on holding across.
//
// A knee brace or strut that only one joint connects with what stands waits for its other end. It would swing about its peg or drop out,
// without harm to the rest; crews tie such a stick up, and so does the model: its joint holds it in every way. A note names it.
//
// # Feet
//
// A post has a node at the middle of its foot and four contacts at the corners of the foot on the deck, that push and rub, each of
//
//	k = bedding · (area of the foot)/4,  across k/2
//
// so a post bears W·b/2 before it tips over an edge. With a dowel they do not slide while they bear. On a knife plate they do
// not slide either, and when it is bolted a support holds the foot sideways, against twisting and, by the bolts' stiffness, up and down;
// a hinge otherwise. A stick within 11 degrees of level with a post base is a sill: two contacts, at both lower edges, under each of its
// nodes, each with the bedding of half of its width over half the way to the next nodes on either side. A post on a sill enters it
// like any other stick: it is a hinge about its peg, so only braces keep it from leaning along the sill.
//
// # Braces
//
// A brace is a bar with the springs of its fastenings in series, or a tie when it only pulls; an arm leads to its top from the node
// of the stick that it holds. Its foot on the deck or the ground is a node of its own, held in all directions.
package model

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// Stiffness says which end of the range of each uncertain stiffness is taken.
type Stiffness int

// The ends of the ranges.
const (
	// Soft gives the most sway and the least stability.
	Soft Stiffness = iota
	// Stiff draws the most force into the joints.
	Stiff
)

// String is the end in words.
func (s Stiffness) String() string {
	if s == Stiff {
		return "stiff joints"
	}
	return "soft joints"
}

// Ground is what the foot of a brace is fixed to.
type Ground int

// The grounds.
const (
	// OnDeck is the deck.
	OnDeck Ground = iota
	// OnGround is the ground outside the deck, by a stake.
	OnGround
	// OnTimber is another timber of the frame.
	OnTimber
)

// Brace is a temporary brace as the structure sees it: a straight bar with a spring at each end.
type Brace struct {
	// Name tells braces apart, for words.
	Name string
	// Timber is the index of the stick that it holds.
	Timber int
	// Top is where it is fixed to that stick and Foot its other end, in millimetres, frame axes.
	Top, Foot geom.Vec
	Ground    Ground
	// FootTimber is the index of the stick that its foot is fixed to when Ground is OnTimber.
	FootTimber int
	// WidthMM and DepthMM are its section.
	WidthMM, DepthMM float64
	// EPa is its modulus along the grain and DensityKgPerM3 its density.
	EPa, DensityKgPerM3 float64
	// TopNPerM and FootNPerM are the slip stiffness of its fasteners, with the anchor's at the foot.
	TopNPerM, FootNPerM float64
	// PullOnly says that it is too slender to push, or a strap.
	PullOnly bool
}

// State is what stands at one moment.
type State struct {
	// Standing are the timbers that stand, by index.
	Standing []int
	// Pegged says for each joint of the frame whether its pegs, wedges or bolts are in. A joint that is not pegged does
	// not pull, whatever its kind.
	Pegged []bool
	// Braces are the temporary braces that are on.
	Braces []Brace
	// Points are places where a node is wanted besides, such as where slings take hold.
	Points []Point
	// Carried says that something besides the deck, such as slings, may carry what stands, so that pieces that no
	// joint connects to the deck are no fault.
	Carried bool
}

// Point is a place on a timber.
type Point struct {
	Timber int
	// FromStartMM is along its centre line from its start.
	FromStartMM float64
}

// Settings are the values that are not facts of the frame. See Defaults.
type Settings struct {
	Stiffness Stiffness
	// Friction is the coefficient between a foot and the deck.
	Friction float64
	// PegSoftNPerM and PegStiffNPerM are the ends of the range of the stiffness of one 25.4 mm peg in double
	// shear.
	PegSoftNPerM, PegStiffNPerM float64
	// ShoulderSoftNPerM and ShoulderStiffNPerM are those of a joint that is pushed home on its shoulders.
	ShoulderSoftNPerM, ShoulderStiffNPerM float64
	// BeddingSoftNPerM3 and BeddingStiffNPerM3 are those of the deck under a foot: force on an area over the area
	// and over how far it sinks.
	BeddingSoftNPerM3, BeddingStiffNPerM3 float64
}

// Place is a point on a timber: which member of the structure, and how far from its end I.
type Place struct {
	Member int
	// AtM is in metres from end I.
	AtM float64
}

// Part is the stretch of a timber that one member stands for.
type Part struct {
	// Timber is its index in the frame, or −1 for a brace.
	Timber int
	// Brace is the index in the state's braces, or −1.
	Brace int
	// FromMM and ToMM are where it begins and ends along the timber, from its start.
	FromMM, ToMM float64
}

// JointAt is where a joint lies in the structure.
type JointAt struct {
	// Joint is its index in the frame.
	Joint int
	// Member and AtJ say which member end it is when the entering stick enters with an end; Member is −1 for a
	// joint along it, which is the link Link. Link is −1 otherwise.
	Member int
	AtJ    bool
	Link   int
	// Contacts are the contacts of a post base: the corners of the foot, in order round it.
	Contacts []int
	// Tied says that the entering stick hangs on this joint alone and is taken as tied to it: the joint holds it in every way,
	// pegged or not, and what it bears is the stick's own weight.
	Tied bool
}

// Structure is a frame in one state as a structure, with the way back to pieces and joints. The model may be changed, but not the
// springs that its grips' and links' Pull point to, which structures share.
type Structure struct {
	Model *statics.Model
	// Parts says what each member is.
	Parts []Part
	// Members are the members of each timber of the frame in order from its start; empty for those that do not stand.
	Members [][]int
	// BraceMembers is the member of each brace.
	BraceMembers []int
	// Joints are the joints that are closed in this state.
	Joints []JointAt
	// PointNodes is the node of each point of the state, within 50 mm of it: a node there already serves as well, and none
	// lies close to an end that a joint holds.
	PointNodes []int
	// Notes are what was assumed for this frame and state beyond the settings, each a sentence.
	Notes []string
}
