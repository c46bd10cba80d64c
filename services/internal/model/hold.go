package model

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

const (
	// alignedSine is how far, as a sine squared, a tenon may be turned about its stick before the pin no longer counts as
	// parallel to a face of the stick.
	alignedSine = 0.03
	// flatSine is the sine of the slope under which a stick with a post base lies on the deck instead of standing on it.
	flatSine = 0.2
)

// hold is what a joint transmits at one end of the range of stiffness: N/m, N·m/rad; 0 is nothing.
type hold struct {
	push, pull, shear float64
	// turn is about the entering stick, about the peg and about the tenon's width.
	turn [3]float64
}

// holdOf is what joint j transmits at the end of the range that the settings ask for.
func (b *Builder) holdOf(j joinery.Joint, entering, receiving int) hold {
	o := joinery.DefaultHold()
	o.PegNPerM = [2]float64{b.o.PegSoftNPerM, b.o.PegStiffNPerM}
	o.ShoulderNPerM = [2]float64{b.o.ShoulderSoftNPerM, b.o.ShoulderStiffNPerM}
	w := joinery.HoldWood{Entering: b.sticks[entering].design}
	if receiving >= 0 {
		w.Receiving = b.sticks[receiving].design
	}
	h := joinery.HoldOf(j, w, o)
	end := int(b.o.Stiffness)
	p := hold{push: h.PushNPerM[end], pull: h.PullNPerM[end], shear: h.ShearNPerM[end]}
	for k := range p.turn {
		p.turn[k] = h.TurnNMPerRad[k][end]
	}
	return p
}

// grips are the two ways in which a member's end can be held by a joint: not pegged, pegged.
type grips [2]statics.Grip

// gripsOf turns the hold of a joint into grips in the member's local axes. ok is false when the peg is not parallel to a face of
// the stick, so that only a link has the axes for it.
func gripsOf(j joinery.Joint, h hold) (g grips, ok bool) {
	d := joinery.DirectionsOf(j)
	a := j.Entering.Axes
	pin := geom.Unit(geom.Along(d.Thickness, -geom.Dot(d.Thickness, a.Axis), a.Axis))
	alongDepth := geom.Dot(pin, a.Depth)
	share := alongDepth * alongDepth // of the pin along local y
	switch {
	case pin == (geom.Vec{}):
		return g, false
	case share < alignedSine:
		share = 0
	case share > 1-alignedSine:
		share = 1
	default:
		return g, false
	}
	about := [2]float64{h.turn[1]*share + h.turn[2]*(1-share), h.turn[1]*(1-share) + h.turn[2]*share}
	for pegged := range g {
		p := &g[pegged]
		p.Hold[statics.UX] = spring(h.push)
		p.Hold[statics.UY], p.Hold[statics.UZ] = spring(h.shear), spring(h.shear)
		p.Hold[statics.RX] = spring(h.turn[0])
		p.Hold[statics.RY], p.Hold[statics.RZ] = spring(about[0]), spring(about[1])
		pull := statics.Hold{Free: true}
		if pegged == 1 {
			pull = spring(h.pull)
		}
		p.Pull = &pull
	}
	return g, true
}

func spring(k float64) statics.Hold {
	if k <= 0 {
		return statics.Hold{Free: true}
	}
	return statics.Hold{K: k}
}

// bond is a link of a joint, without its nodes: not pegged, pegged.
type bond struct {
	axes geom.Axes
	k    [6]float64
	pull [2]*float64
}

// bondOf turns the hold of a joint into a link along the way by which it opens: the normal of the face entered, or, for a lap, out of
// its open face. Sticks that cross are hinged about that way, since what is driven through them lies along it; only a birdsmouth is
// hinged about the stick that it sits on.
func bondOf(j joinery.Joint, h hold) bond {
	d := joinery.DirectionsOf(j)
	axis := d.N
	turn := [3]float64{h.turn[0], h.turn[2], h.turn[1]}
	if j.Kind == joinery.Lap {
		axis = joinery.OpeningDirections(j)[0]
	}
	if j.Kind == joinery.Lap || j.End == joinery.Along && j.Kind != joinery.Birdsmouth {
		turn = [3]float64{h.turn[1], h.turn[2], h.turn[0]}
	}
	width := geom.Unit(geom.Along(d.Width, -geom.Dot(d.Width, axis), axis))
	pull := h.pull
	return bond{
		axes: geom.Axes{Axis: axis, Width: width, Depth: geom.Cross(axis, width)},
		k:    [6]float64{h.push, h.shear, h.shear, turn[0], turn[1], turn[2]},
		pull: [2]*float64{new(float64), &pull},
	}
}

func metres(v geom.Vec) geom.Vec { return geom.Scale(1e-3, v) }
