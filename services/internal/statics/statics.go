// Package statics analyses frames in three dimensions: straight members joined at nodes, springs and
// releases at their ends, rigid arms, supports that hold, give or only push, loads in several cases. It
// knows no timber. Units are SI throughout: metres, newtons, kilograms, pascals, radians; axes are
// right-handed and global unless a field says local.
//
// # Members
//
// A member is a prismatic beam of twelve freedoms with cubic bending (Euler–Bernoulli); with shear areas in
// its section it bends in shear too (Timoshenko). Its local x runs from its end I to its end J, z = x × YRef,
// y = z × x; Iz bends it in its local x-y plane. Forces at its ends are those of the joint on the
// member end, in local axes, in the order N, Vy, Vz, Mx, My, Mz: the axial force, tension positive, is +N at J and
// −N at I.
//
// # Answers
//
// A structure that can move without being strained is not an error: the answer says which free motions it has. An
// answer with forces has passed a check of equilibrium and of energy, whose residuals it carries.
package statics

import (
	"fmt"

	"github.com/pikepole/pikepole/services/internal/geom"
)

// StandardGravity is the acceleration of free fall in m/s², by the definition of the kilogram-force.
const StandardGravity = 9.80665

// Freedom is one of the six freedoms of a node or a member end.
type Freedom int

// The freedoms: three displacements, three rotations.
const (
	UX Freedom = iota
	UY
	UZ
	RX
	RY
	RZ
)

// Vec6 is a force and a moment, or a displacement and a rotation.
type Vec6 [6]float64

// Node is where members meet.
type Node struct {
	// Name is what people call it, for words.
	Name string
	// At is its place in metres.
	At geom.Vec
}

// Material is what a member is made of.
type Material struct {
	// E and G are the moduli in Pa. They are independent, as in wood.
	E, G float64
	// Rho is the density in kg/m³.
	Rho float64
}

// Section is a member's cross-section.
type Section struct {
	// A is the area in m²; Iy, Iz and J are in m⁴.
	A, Iy, Iz, J float64
	// Asy and Asz are the shear areas in m² for shear along local y and z; 0 leaves that shear strain out.
	Asy, Asz float64
}

// Rectangle is the section b wide along local z and h deep along local y, without shear areas. Torsion:
// J = a·c³·(1/3 − 0.21·(c/a)·(1 − c⁴/(12·a⁴))), a the longer side, c the shorter.
func Rectangle(b, h float64) Section {
	a, c := max(b, h), min(b, h)
	r := c / a
	return Section{
		A: b * h, Iz: b * h * h * h / 12, Iy: h * b * b * b / 12,
		J: a * c * c * c * (1.0/3 - 0.21*r*(1-r*r*r*r/12)),
	}
}

// Hold is how one freedom of a member end is held by its node. The zero value is rigid.
type Hold struct {
	// Free lets go altogether.
	Free bool
	// K is a spring in N/m or N·m/rad; 0 is rigid. A spring of no stiffness is Free.
	K float64
}

// Grip is how a member end is held by its node, in the member's local axes.
type Grip struct {
	Hold [6]Hold
	// Pull, when not nil, takes the place of Hold[UX] while the end is in tension: a joint that pushes on its
	// shoulder and pulls on its pegs, or not at all.
	Pull *Hold
}

// Kind is what a member can carry.
type Kind int

// The kinds of member.
const (
	// Beam carries everything.
	Beam Kind = iota
	// Bar carries axial force alone, pinned at both ends; half of its weight goes to either end.
	Bar
	// Tie is a Bar that only pulls.
	Tie
	// Prop is a Bar that only pushes.
	Prop
)

// Member is a straight member from node I to node J.
type Member struct {
	Name     string
	I, J     int
	Kind     Kind
	Material Material
	Section  Section
	// YRef gives the local axes: z = x × YRef, y = z × x. The zero vector stands for global Z, or
	// for global X along a member within a thousandth of vertical.
	YRef geom.Vec
	// ArmI and ArmJ are rigid arms in metres, in global axes, from the node to the member's end.
	ArmI, ArmJ geom.Vec
	// GripI and GripJ are how its ends are held at the ends of the arms.
	GripI, GripJ Grip
}

// Link joins two nodes at a point by six springs, with rigid arms from both nodes to the point.
type Link struct {
	Name string
	I, J int
	// At is the point in metres.
	At geom.Vec
	// Axes are the directions of the springs; the zero value is the global axes.
	Axes geom.Axes
	// K are the springs along and about Axis, Width, Depth, in N/m and N·m/rad; 0 leaves that freedom free.
	K [6]float64
	// Pull, when not nil, takes the place of K[0] while J moves from I along Axis.
	Pull *float64
}

// Support holds a node to the ground.
type Support struct {
	Name string
	Node int
	// Fixed holds global freedoms.
	Fixed [6]bool
	// Spring gives global freedoms a stiffness to the ground in N/m or N·m/rad; 0 for none.
	Spring [6]float64
	// Axis, when not zero, holds the displacement along that unit direction alone, as an inclined roller does.
	Axis geom.Vec
	// OneSided freedoms of Fixed can push but not pull: they let go when the reaction along plus turns negative.
	OneSided [6]bool
}

// Contact is a point of a body that bears on the ground and can only push; it may rub.
type Contact struct {
	Name string
	Node int
	// Arm is the rigid arm in metres, in global axes, from the node to the point.
	Arm geom.Vec
	// Normal is the unit direction in which the ground pushes.
	Normal geom.Vec
	// K is its stiffness along the normal and KT across it, in N/m; both above 0.
	K, KT float64
	// Mu is the coefficient of friction; sliding begins when the force across exceeds Mu times the force along.
	Mu float64
	// Held says that something else, such as a dowel, keeps it from sliding, even where it has lifted a little.
	Held bool
}

// Model is a structure.
type Model struct {
	Nodes    []Node
	Members  []Member
	Links    []Link
	Supports []Support
	Contacts []Contact
}

// NodalLoad is a force and moment at a node, in global axes.
type NodalLoad struct {
	Node int
	F    Vec6
}

// LineLoad is an even load on a member, in N/m of its length, in global axes.
type LineLoad struct {
	Member int
	W      geom.Vec
	// From and To are metres from end I; To 0 is the end J.
	From, To float64
}

// PointLoad is a force and a moment on a member, in global axes.
type PointLoad struct {
	Member int
	// At is in metres from end I.
	At   float64
	F, M geom.Vec
}

// Prescribed moves a held freedom.
type Prescribed struct {
	Node    int
	Freedom Freedom
	// Value is in metres or radians.
	Value float64
}

// Case is one case of loading.
type Case struct {
	Name string
	// Gravity is in m/s² and acts on the mass of all members.
	Gravity    geom.Vec
	Nodal      []NodalLoad
	Line       []LineLoad
	Point      []PointLoad
	Prescribed []Prescribed
}

// Options are how an analysis is done. The zero value is linear, with one-sided parts followed.
type Options struct {
	// SecondOrder counts the forces in the displaced shape (P-delta, geometric stiffness of each member, condensed
	// with its releases), repeated until the displacements settle.
	SecondOrder bool
	// Buckling asks for the lowest factor on the load at which the structure buckles, in the state of one-sided
	// parts that the load itself leaves.
	Buckling bool
	// Without leaves members out, as if they had been knocked out.
	Without []int
	// Axial, when not nil, are axial forces of the members, tension positive, whose effect in the displaced shape is counted
	// in all cases from the first round on. Without SecondOrder they stay as they are, which is close when, as in a frame
	// under its weight, all cases have nearly the same; cases in the same state of one-sided parts then share a factor.
	Axial []float64
	// Start, when not nil, has for each case a result of the same Solver from whose one-sided parts to begin; its entries may
	// be nil, and one entry serves all cases. It saves rounds; what it leads to is the same within the tolerance.
	Start []*Result
	// MaxRounds bounds the rounds of the one-sided and second-order iterations; 0 is 200.
	MaxRounds int
}

// Outcome is how an analysis ended.
type Outcome int

// The outcomes.
const (
	// Solved has displacements and forces.
	Solved Outcome = iota
	// Moves has free motions: a mechanism, at the start or once one-sided parts let go under the load.
	Moves
	// Unstable goes over under its load: its stiffness in the displaced shape is not positive.
	Unstable
	// Unsettled says that the iteration did not end.
	Unsettled
)

// String is the outcome in words.
func (o Outcome) String() string {
	names := [...]string{"solved", "moves freely", "unstable under its load", "did not settle"}
	if o < 0 || int(o) >= len(names) {
		return "unknown outcome"
	}
	return names[o]
}

// Motion is a free motion.
type Motion struct {
	// Nodes has the motion of each node, the largest displacement being 1 m, or the largest rotation 1 rad where
	// nothing is displaced.
	Nodes []Vec6
	// Moving are the nodes that move by more than a hundredth of the most, the farthest first.
	Moving []int
	// Turns says that all that moves turns as one body about the line through Point along Axis; a zero Axis
	// says that it only shifts, along Shift.
	Turns       bool
	Point, Axis geom.Vec
	Shift       geom.Vec
	// Words say it in a sentence.
	Words string
}

// State is that of a one-sided part.
type State int

// The states. A tie, a prop or a grip is Closed or Open; a contact may also slide.
const (
	Closed State = iota
	Open
	Sliding
)

// Bearing is what a contact does.
type Bearing struct {
	State State
	// Normal and Across are the forces in N that the ground exerts on the body along the normal and across it.
	Normal float64
	Across geom.Vec
	// Gap is how far it has lifted, in metres.
	Gap float64
}

// Result is the answer for one case.
type Result struct {
	Case    string
	Outcome Outcome
	// Motions are what moves freely when Outcome is Moves or Unstable.
	Motions []Motion
	// Displacements are those of the nodes, in global axes.
	Displacements []Vec6
	// Reactions are the forces of each support on the structure, in global axes; Axial is that along its Axis.
	Reactions []Vec6
	Axial     []float64
	// Bearings are those of the contacts.
	Bearings []Bearing
	// Ends are the forces at the ends I and J of each member, in local axes.
	Ends [][2]Vec6
	// Slip is how far each grip lets the member's end move from the arm's end, along local x, in metres, at I and J;
	// positive opens the joint.
	Slip [][2]float64
	// Links are the forces and moments that each link exerts on its node J at its point, along and about its axes,
	// and Opening how far J has moved from I along Axis there, in metres.
	Links   []Vec6
	Opening []float64
	// Pulled says which grips, at I and J, are in tension on their Pull.
	Pulled [][2]bool
	// Idle says which ties and props have let go.
	Idle []bool
	// Buckling is the factor asked for; 0 when not asked for, +Inf when no factor was found.
	Buckling float64
	// Residual is the largest imbalance of a freedom over the largest force on one, and EnergyError the relative difference
	// of the work of the loads and the strain energy (in linear answers).
	Residual, EnergyError float64
	// Rounds is how many times the structure was solved.
	Rounds int

	run *run // for Forces and Shape
}

// InputError is a fault in a model or a case, naming the piece.
type InputError struct {
	// Piece is the name of the node, member, link, support, contact or case.
	Piece string
	// Problem says what is wrong and what to do.
	Problem string
}

// Error is the sentence.
func (e *InputError) Error() string { return fmt.Sprintf("%s: %s", e.Piece, e.Problem) }
