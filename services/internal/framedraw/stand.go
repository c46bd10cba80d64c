package framedraw

import "github.com/pikepole/pikepole/services/internal/geom"

// StandShow says what a picture of a state shows beside the sticks.
type StandShow int

// What can be shown.
const (
	// ShowBraces is the state with its temporary braces, each with its id.
	ShowBraces StandShow = iota
	// ShowSway is the displaced shape, exaggerated, over the sticks.
	ShowSway
	// ShowBending is the bending moment along each stick.
	ShowBending
	// ShowAxial is the axial force along each stick and each brace, pull positive.
	ShowAxial
	// ShowUse is how much of its capacity each stick and brace uses.
	ShowUse
)

// StandBrace is a temporary brace in a picture of a state.
type StandBrace struct {
	// ID is written at the brace.
	ID string
	// Foot and Top are its ends, in millimetres, frame axes.
	Foot, Top geom.Vec
	// New says that it is set in this move; the others are on already.
	New bool
	// FootMove and TopMove are the displacements of its ends, in millimetres, for ShowSway.
	FootMove, TopMove geom.Vec
	// AxialN is its force, pull positive, for ShowAxial.
	AxialN float64
	// Use is its demand over its capacity, for ShowUse.
	Use float64
}

// StickSway is how a stick is displaced.
type StickSway struct {
	// Stick is its index in the frame.
	Stick int
	// At are points of its axis in order, and Move their displacements; both in millimetres, frame axes, of one length.
	At, Move []geom.Vec
}

// StickForce is a force along a stick.
type StickForce struct {
	// Stick is its index in the frame.
	Stick int
	// At are points of its axis in order, in millimetres, and Values what is there, of one length: newtons, pull positive, for
	// ShowAxial; newton metres for ShowBending.
	At     []geom.Vec
	Values []float64
	// Sides are the directions in space to which a positive value is drawn at each point, such as the stick's depth; empty
	// leaves it to the picture.
	Sides []geom.Vec
}

// StandView is one state of a raising as it is drawn. Sticks in none of the lists are left out.
type StandView struct {
	// Standing, Fresh and Coming are indices of the frame's timbers: what stood already, what came with this move and stands
	// now, what is still to come.
	Standing, Fresh, Coming []int
	Braces                  []StandBrace
	// Show says which of the fields below are drawn.
	Show StandShow
	// Sways are for ShowSway. Factor exaggerates them; 0 takes one that can be seen well.
	Sways  []StickSway
	Factor float64
	// Free says that Sways are a free motion, whose size means nothing: no factor is printed.
	Free bool
	// Forces are for ShowBending and ShowAxial.
	Forces []StickForce
	// Case names the combination that is drawn; empty for none. It is said in the legend.
	Case string
	// Uses are demand over capacity of each timber of the frame, by index, for ShowUse; math.Inf(1) for a free motion.
	Uses []float64
	// Name is the name of the sheet, such as "state after move 3 of 12, sway"; it stands in the title block.
	Name string
	// Verdict is a sentence about the state, at the top of the sheet; empty for none. Falls marks it as a warning.
	Verdict string
	Falls   bool
	// Cautions are sentences above the title block.
	Cautions []string
	Block    Block
}
