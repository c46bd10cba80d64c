package raising

import (
	"context"
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// Plan is the raising order of a frame.
type Plan struct {
	Puzzle
	// Pieces are the timbers of each unit, by index in the frame.
	Pieces [][]int
	// Joint is the index in the frame of each link.
	Joint []int
	// Moves are in order.
	Moves []Move
}

// OfFrame finds the raising order of a frame, and sees that each of its assemblies can be put together
// flat. Its error is a *Locked, or that of the context.
func OfFrame(ctx context.Context, f *frame.Frame) (*Plan, error) {
	for _, a := range f.Assemblies() {
		if err := flatAssembly(f, a.ID); err != nil {
			return nil, err
		}
	}
	p := unitsOf(f)
	moves, err := Order(ctx, p.Puzzle)
	if err != nil {
		return nil, err
	}
	p.Moves = moves
	return p, nil
}

// unitsOf makes the puzzle of a frame's assemblies and loose sticks.
func unitsOf(f *frame.Frame) *Plan {
	p := &Plan{}
	unit := make([]int, len(f.Timbers()))
	add := func(u Unit, pieces []int) {
		for _, i := range pieces {
			unit[i] = len(p.Units)
			u.Extent = append(u.Extent, f.Timbers()[i].Start, f.Timbers()[i].End)
		}
		p.Units = append(p.Units, u)
		p.Pieces = append(p.Pieces, pieces)
	}
	for _, a := range f.Assemblies() {
		if members := f.Members(a.ID); len(members) > 0 {
			add(Unit{Name: a.ID, Assembly: true}, members)
		}
	}
	for _, i := range f.Loose() {
		add(Unit{Name: f.Timbers()[i].Mark}, []int{i})
	}
	for j := range f.Joints() {
		e, r := f.Ends(j)
		l := linkOf(f, j)
		l.Entering, l.Receiving = unit[e], Deck
		if r >= 0 {
			l.Receiving = unit[r]
			if l.Entering == l.Receiving {
				continue
			}
		} else {
			p.Units[l.Entering].Feet = append(p.Units[l.Entering].Feet, footOf(f, e, l.At))
		}
		p.Links = append(p.Links, l)
		p.Joint = append(p.Joint, j)
	}
	eaves := eavesMM(f)
	for u := range p.Units {
		p.Units[u].Rank = rankOf(f, p.Units[u], p.Pieces[u], eaves)
	}
	return p
}

// flatAssembly sees whether the sticks of an assembly can be put together.
func flatAssembly(f *frame.Frame, id string) error {
	members := f.Members(id)
	var p Puzzle
	at := make(map[int]int, len(members))
	for k, i := range members {
		at[i] = k
		p.Units = append(p.Units, Unit{Name: f.Timbers()[i].Mark, Rank: Rank{Name: f.Timbers()[i].Mark}})
	}
	for _, i := range members {
		for _, j := range f.JointsOf(i) {
			e, r := f.Ends(j)
			other, ok := at[r]
			if e != i || r < 0 || !ok {
				continue
			}
			l := linkOf(f, j)
			l.Entering, l.Receiving = at[i], other
			p.Links = append(p.Links, l)
		}
	}
	err := TakesApart(p)
	if lock, ok := err.(*Locked); ok {
		lock.Flat = id
	}
	return err
}

// linkOf is a joint of the frame as a link without its units.
func linkOf(f *frame.Frame, j int) Link {
	joint := f.Joinery(j)
	l := Link{
		ID:    f.Joints()[j].ID,
		Opens: func(d geom.Vec) bool { return joinery.Opens(joint, d) },
		Ways:  joinery.OpeningDirections(joint),
		At:    joint.At,
	}
	// A slip tenon goes in last: it starts nothing.
	if joint.Tenon != nil && !joint.Kind.PostBase() && joint.Kind != joinery.SlipTenon {
		l.TenonMM = joint.Tenon.LengthMM
	}
	return l
}

// footOf is the foot of a post that stands on the deck.
func footOf(f *frame.Frame, i int, at geom.Vec) Foot {
	t, axes := f.Timbers()[i], f.Axes(i)
	return Foot{
		At:        at,
		HalfWidth: geom.Scale(t.WidthMM/2, axes.Width),
		HalfDepth: geom.Scale(t.DepthMM/2, axes.Depth),
	}
}

// aboveEavesMM is how far above the tops of the posts a plate may lie and still belong to the wall.
const aboveEavesMM = 600

// eavesMM is the height up to which pieces belong to the walls.
func eavesMM(f *frame.Frame) float64 {
	top := math.Inf(-1)
	for _, t := range f.Timbers() {
		if t.Role == frame.RolePost {
			top = max(top, t.Start.Z, t.End.Z)
		}
	}
	return top + aboveEavesMM
}

// rankOf places a unit where the joints leave the choice.
func rankOf(f *frame.Frame, u Unit, pieces []int, eaves float64) Rank {
	box := geom.EmptyBox()
	wall := !u.Assembly
	for _, i := range pieces {
		t := f.Timbers()[i]
		box = box.With(t.Start).With(t.End)
		switch t.Role {
		case frame.RoleGirt, frame.RolePlate, frame.RoleSill, frame.RoleKneeBrace:
		default:
			wall = false
		}
	}
	c := box.Center()
	r := Rank{Class: Above, X: centimetres(c.X), Y: centimetres(c.Y), Z: centimetres(c.Z), Name: u.Name}
	switch {
	case len(u.Feet) > 0:
		r.Class = Standing
	case wall && box.Max.Z <= eaves:
		r.Class = InWall
	}
	return r
}

func centimetres(mm float64) int64 { return int64(math.Round(mm / 10)) }
