package plan_test

import (
	"fmt"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// hand makes frames stick by stick, for shapes that no rough frame has.
type hand struct{ d frame.Draft }

func newHand() *hand {
	h := &hand{}
	h.d.Title = "By hand"
	h.d.Grid.BentLines = []frame.GridLine{{Label: "1", HeadingDeg: 90}}
	h.d.Grid.WallLines = []frame.GridLine{{Label: "A"}}
	return h
}

// assembly starts an assembly; sticks name it.
func (h *hand) assembly(id string, kind frame.AssemblyKind) {
	line := "1"
	if kind == frame.AssemblyWallPanel {
		line = "A"
	}
	h.d.Assemblies = append(h.d.Assemblies, frame.Assembly{ID: id, Kind: kind, Line: line})
}

// stick adds a stick of 200 by 200 mm.
func (h *hand) stick(mark string, role frame.Role, start, end geom.Vec, assembly string) {
	h.sized(mark, role, start, end, assembly, 200)
}

func (h *hand) sized(mark string, role frame.Role, start, end geom.Vec, assembly string, side float64) {
	h.d.Timbers = append(h.d.Timbers, frame.Timber{
		Mark: mark, Role: role, WidthMM: side, DepthMM: side, Start: start, End: end,
		Species: "eastern-white-pine", Grade: "No.1", Finish: frame.FinishRoughSawn, MoisturePercent: 19, Assembly: assembly,
	})
}

// join joins the end of a stick to another; the tenon is there where the kind needs one.
func (h *hand) join(kind joinery.Kind, entering string, end frame.End, receiving string, at geom.Vec) {
	j := frame.Joint{
		ID: fmt.Sprintf("%s.%s-%s", entering, end, receiving), Kind: kind, Entering: entering, EnteringEnd: end, Receiving: receiving, At: at,
	}
	if kind.PostBase() {
		j.ID = entering + ".base"
	}
	if end == frame.Along {
		j.ID = fmt.Sprintf("%s.%s-%.0f,%.0f", entering, receiving, at.X, at.Y)
	}
	if kind.NeedsTenon() {
		j.Tenon = &joinery.Tenon{LengthMM: 100, ThicknessMM: 50, WidthMM: 100}
	}
	if kind == joinery.Scarf {
		j.Scarf = joinery.ScarfHalved
	}
	h.d.Joints = append(h.d.Joints, j)
}

// post adds a post on a base from the deck up to a height.
func (h *hand) post(mark string, x, y, top float64, assembly string, base joinery.Kind) {
	h.stick(mark, frame.RolePost, geom.V(x, y, 0), geom.V(x, y, top), assembly)
	h.join(base, mark, frame.AtStart, "", geom.V(x, y, 0))
}

// beam adds a stick between two others, joined at both ends.
func (h *hand) beam(kind joinery.Kind, mark string, role frame.Role, from, to string, start, end geom.Vec, assembly string) {
	h.stick(mark, role, start, end, assembly)
	h.join(kind, mark, frame.AtStart, from, start)
	h.join(kind, mark, frame.AtEnd, to, end)
}
