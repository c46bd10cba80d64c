package model

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
)

const (
	// clusterMM is how far apart along a stick joints may lie that share a node: their arms take up the difference.
	clusterMM = 31
	// endGapMM is the least distance of a node from an end that a joint may hold, so that no stub of a member is left there.
	endGapMM = 50
)

// Builder builds the structures of the states of one frame at one end of the range of stiffness. It is immutable and safe
// for concurrent use.
type Builder struct {
	f        *frame.Frame
	o        Settings
	sticks   []stick
	joints   []joint
	stations int
	notes    []string
}

// stick is what does not change of a timber.
type stick struct {
	mark     string
	solid    joinery.Stick
	box      geom.Box
	start    geom.Vec // metres
	design   wood.Design
	material statics.Material
	section  statics.Section
	// stations are in order from the start; the first and the last are the ends themselves. first is the number of
	// the first of them among those of all sticks.
	stations []station
	first    int
	lengthMM float64
	// ends are the joints by which it enters another with its start and its end, bases its post bases.
	ends  [2][]int
	bases []int
	lies  bool
	// waits says that it may wait tied up by one joint until its other end is caught.
	waits bool
}

// station is a place on a stick where a node can be.
type station struct {
	mm   float64
	at   geom.Vec // metres
	name string
}

// joint is what does not change of a joint.
type joint struct {
	entering, receiving int // receiving is −1 for the deck
	end                 joinery.End
	// received and carried are the stations on the receiving and, unless it is gripped at an end, the entering stick.
	received, carried int
	at                geom.Vec // metres
	name              string
	grips             grips
	gripped           bool // whether grips has the right axes
	bond              bond
	kind              joinery.Kind
	holdDownNPerM     float64
}

// NewBuilder looks once at all that does not change from state to state. Its error is a *statics.InputError.
func NewBuilder(f *frame.Frame, o Settings) (*Builder, error) {
	if f == nil {
		return nil, fault("frame", "there is no frame; give one")
	}
	if err := o.check(); err != nil {
		return nil, err
	}
	b := &Builder{f: f, o: o, sticks: make([]stick, len(f.Timbers())), joints: make([]joint, len(f.Joints()))}
	seen := &seen{designs: make(map[designKey]wood.Design), said: make(map[string]bool)}
	for i := range b.sticks {
		if err := b.addStick(i, seen); err != nil {
			return nil, err
		}
	}
	for j := range b.joints {
		b.addJoint(j)
	}
	b.placeStations()
	b.notes = slices.Clip(append(b.assumptions(), seen.notes...))
	return b, nil
}

// Build is the structure of one state of a frame; a Builder is better for several.
func Build(f *frame.Frame, s State, o Settings) (*Structure, error) {
	b, err := NewBuilder(f, o)
	if err != nil {
		return nil, err
	}
	return b.Build(s)
}

// seen keeps what was looked up for earlier sticks: a frame has few woods and many sticks.
type seen struct {
	designs map[designKey]wood.Design
	said    map[string]bool
	notes   []string
}

type designKey struct {
	species, grade         string
	width, depth, moisture float64
}

func (n *seen) say(note string) {
	if !n.said[note] {
		n.said[note] = true
		n.notes = append(n.notes, note)
	}
}

func (b *Builder) addStick(i int, n *seen) error {
	t, s := b.f.Timbers()[i], b.f.Stick(i)
	key := designKey{t.Species, t.Grade, t.WidthMM, t.DepthMM, t.MoisturePercent}
	d, ok := n.designs[key]
	if !ok {
		var err error
		if d, err = wood.DesignOf(t.Species, t.Grade, t.WidthMM, t.DepthMM, t.MoisturePercent); err != nil {
			return fault(t.Mark, "its stiffness is not known: %v", err)
		}
		n.designs[key] = d
		for _, note := range d.Notes {
			n.say(note)
		}
	}
	length := s.ShoulderMM()
	mass, _ := b.f.Weigh([]int{i})
	rho := mass / (s.AreaMM2() * length * 1e-9)
	b.sticks[i] = stick{
		mark: t.Mark, solid: s, box: boxOf(s), start: metres(s.Start), lengthMM: length,
		design: d, material: b.o.material(d.E, rho), section: section(s.WidthMM*1e-3, s.DepthMM*1e-3), lies: lies(s),
		waits: t.Role == frame.RoleKneeBrace || t.Role == frame.RoleStrut,
	}
	return nil
}

func boxOf(s joinery.Stick) geom.Box {
	box := geom.EmptyBox()
	for _, p := range [2]geom.Vec{s.Start, s.End} {
		for _, side := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
			box = box.With(geom.Along(geom.Along(p, side[0]*s.WidthMM/2, s.Axes.Width), side[1]*s.DepthMM/2, s.Axes.Depth))
		}
	}
	return box
}

func (b *Builder) addJoint(i int) {
	j := b.f.Joinery(i)
	entering, receiving := b.f.Ends(i)
	at := j.Place()
	p := joint{
		entering: entering, receiving: receiving, end: j.End, at: metres(at), kind: j.Kind,
		name: b.f.Joints()[i].ID, received: -1, carried: -1,
	}
	h := b.holdOf(j, entering, receiving)
	e := &b.sticks[entering]
	switch {
	case receiving < 0:
		p.holdDownNPerM = h.pull
		e.bases = append(e.bases, i)
	case j.End == joinery.Along:
		p.bond = bondOf(j, h)
	default:
		p.bond = bondOf(j, h)
		p.grips, p.gripped = gripsOf(j, h)
		e.ends[j.End-joinery.AtStart] = append(e.ends[j.End-joinery.AtStart], i)
	}
	b.joints[i] = p
}

// wish is a place on a stick where a joint wants a node.
type wish struct {
	mm    float64
	joint int
	// carried says that the stick is the one that enters.
	carried bool
}

// placeStations gathers on each stick the joints that share a node.
func (b *Builder) placeStations() {
	wishes := make([][]wish, len(b.sticks))
	along := func(i int, at geom.Vec) float64 {
		s := b.sticks[i].solid
		return min(max(geom.Dot(geom.Sub(at, s.Start), s.Axes.Axis), 0), b.sticks[i].lengthMM)
	}
	for i := range b.joints {
		j, at := &b.joints[i], b.f.Joinery(i).Place()
		if j.receiving >= 0 {
			wishes[j.receiving] = append(wishes[j.receiving], wish{along(j.receiving, at), i, false})
		}
		if j.receiving < 0 || j.end == joinery.Along {
			wishes[j.entering] = append(wishes[j.entering], wish{along(j.entering, at), i, true})
		}
	}
	for i := range b.sticks {
		b.sticks[i].first = b.stations
		b.place(i, wishes[i])
		b.stations += len(b.sticks[i].stations)
	}
}

// place lays out the stations of one stick: its two ends, and one for each cluster of wishes.
func (b *Builder) place(i int, wishes []wish) {
	s := &b.sticks[i]
	slices.SortFunc(wishes, func(a, b wish) int {
		return cmp.Or(cmp.Compare(a.mm, b.mm), cmp.Compare(a.joint, b.joint))
	})
	gap := min(endGapMM, s.lengthMM/4)
	low, high := 0.0, s.lengthMM
	if len(s.ends[0]) > 0 {
		low = gap
	}
	if len(s.ends[1]) > 0 {
		high -= gap
	}
	s.stations = append(s.stations, b.station(i, 0, -1))
	last := 0
	for k := 0; k < len(wishes); {
		n := k + 1
		for n < len(wishes) && wishes[n].mm-wishes[k].mm <= clusterMM {
			n++
		}
		mm := min(max((wishes[k].mm+wishes[n-1].mm)/2, low), high)
		if high == s.lengthMM && mm >= high-clusterMM {
			mm = high
		}
		atStart := last == 0 && low == 0 && mm <= clusterMM
		atLast := last > 0 && mm-s.stations[last].mm < clusterMM/2
		if !atStart && !atLast {
			s.stations = append(s.stations, b.station(i, mm, wishes[k].joint))
			last++
		}
		for ; k < n; k++ {
			j := &b.joints[wishes[k].joint]
			if wishes[k].carried {
				j.carried = last
			} else {
				j.received = last
			}
		}
	}
	if s.stations[last].mm < s.lengthMM {
		s.stations = append(s.stations, b.station(i, s.lengthMM, -1))
	}
}

// station names a place on a stick: after what it meets there, or after the end that it is.
func (b *Builder) station(i int, mm float64, joint int) station {
	s := &b.sticks[i]
	st := station{mm: mm, at: metres(geom.Along(s.solid.Start, mm, s.solid.Axes.Axis))}
	up := s.solid.Axes.Axis.Z
	switch {
	case joint >= 0 && b.joints[joint].receiving >= 0:
		other := b.joints[joint].entering
		if other == i {
			other = b.joints[joint].receiving
		}
		st.name = s.mark + " at " + b.sticks[other].mark
	case mm > 0 && mm < s.lengthMM:
		st.name = fmt.Sprintf("%s at %.2f m", s.mark, mm/1000)
	case !s.lies && (mm == 0) == (up > 0):
		st.name = "foot of " + s.mark
	case !s.lies:
		st.name = "top of " + s.mark
	case mm == 0:
		st.name = "start of " + s.mark
	default:
		st.name = "end of " + s.mark
	}
	return st
}
