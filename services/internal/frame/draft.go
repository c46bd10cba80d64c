package frame

import (
	"slices"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// Draft is a frame as it was written down, not yet checked. Field meanings are those of the frame
// model: millimetres, kilograms, degrees, frame axes.
type Draft struct {
	Title      string
	Grid       Grid
	Timbers    []Timber
	Joints     []Joint
	Assemblies []Assembly
	Hardware   []Hardware
}

// Grid is the lines that the frame is laid out on.
type Grid struct {
	BentLines, WallLines []GridLine
	Levels               []Level
}

// GridLine is a straight line on the deck, on the reference faces of the posts along it.
type GridLine struct {
	Label string
	Point geom.Vec
	// HeadingDeg is counter-clockwise from X.
	HeadingDeg float64
}

// Level is a named height above the deck.
type Level struct {
	Label string
	ZMM   float64
}

// Timber is one physical stick.
type Timber struct {
	Mark             string
	Role             Role
	WidthMM, DepthMM float64 // finished section
	// NominalWidthIn and NominalDepthIn are nil unless the stick was bought by nominal size.
	NominalWidthIn, NominalDepthIn *float64
	Start, End                     geom.Vec // shoulders, on the centre line
	RollDeg                        float64
	ReferenceFaces                 []Face
	Species, Grade                 string
	Finish                         Finish
	MoisturePercent                float64
	Assembly                       string // id, empty for a loose piece
}

// Joint is where two timbers meet, or a timber meets the deck.
type Joint struct {
	ID          string
	Kind        joinery.Kind
	Entering    string // mark
	EnteringEnd End
	Receiving   string // mark, empty for a post base
	Tenon       *joinery.Tenon
	Pegs        *joinery.Pegs
	At          geom.Vec
	Scarf       joinery.ScarfTable
}

// Assembly is what is put together flat and raised as one.
type Assembly struct {
	ID   string
	Kind AssemblyKind
	Line string // label of a bent line or wall line
}

// Hardware is some pieces of hardware that are alike and in one place.
type Hardware struct {
	ID         string
	Kind       HardwareKind
	Count      int
	MassEachKG float64
	At         geom.Vec
	Timber     string // mark of what carries it, empty when fixed to the deck first
}

// Clone is a deep copy.
func (d Draft) Clone() Draft {
	c := d
	c.Grid.BentLines = slices.Clone(d.Grid.BentLines)
	c.Grid.WallLines = slices.Clone(d.Grid.WallLines)
	c.Grid.Levels = slices.Clone(d.Grid.Levels)
	c.Timbers = slices.Clone(d.Timbers)
	for i := range c.Timbers {
		t := &c.Timbers[i]
		t.NominalWidthIn, t.NominalDepthIn = copied(t.NominalWidthIn), copied(t.NominalDepthIn)
		t.ReferenceFaces = slices.Clone(t.ReferenceFaces)
	}
	c.Joints = slices.Clone(d.Joints)
	tenons, pegs := make([]joinery.Tenon, len(d.Joints)), make([]joinery.Pegs, len(d.Joints))
	for i := range c.Joints {
		j := &c.Joints[i]
		if j.Tenon != nil {
			tenons[i] = *j.Tenon
			j.Tenon = &tenons[i]
		}
		if j.Pegs != nil {
			pegs[i] = *j.Pegs
			j.Pegs = &pegs[i]
		}
	}
	c.Assemblies = slices.Clone(d.Assemblies)
	c.Hardware = slices.Clone(d.Hardware)
	return c
}

func copied[T any](p *T) *T {
	if p == nil {
		return nil
	}
	v := *p
	return &v
}
