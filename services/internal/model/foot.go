package model

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// feet puts the post bases of what stands on the deck.
func (w *work) feet() {
	count := 0
	for _, index := range w.closed {
		if w.b.joints[index].receiving < 0 {
			count++
		}
	}
	w.m.Contacts = make([]statics.Contact, 0, 4*count)
	indices := make([]int, 0, 8*count)
	bedded := make(map[int]bool)
	for _, index := range w.closed {
		j := &w.b.joints[index]
		if j.receiving >= 0 {
			continue
		}
		at := JointAt{Joint: index, Member: -1, Link: -1}
		begin := len(w.m.Contacts)
		switch s := &w.b.sticks[j.entering]; {
		case !s.lies:
			w.footOf(s, j, index)
		case !bedded[j.entering]:
			bedded[j.entering] = true
			w.bed(j.entering, j)
		}
		for c := begin; c < len(w.m.Contacts); c++ {
			indices = append(indices, c)
		}
		at.Contacts = indices[len(indices)-(len(w.m.Contacts)-begin) : len(indices) : len(indices)]
		w.out.Joints = append(w.out.Joints, at)
	}
}

// footOf puts the four corners of a post's foot on the deck, and ties down the foot on a knife plate that is bolted.
func (w *work) footOf(s *stick, j *joint, index int) {
	node := int(w.node[s.first+j.carried])
	at := w.m.Nodes[node].At
	corners, area := foot(s.solid, geom.Sub(j.at, at))
	k := w.b.bedding() * area / 4
	for _, arm := range corners {
		w.contact(s.mark, node, arm, k, j.kind)
	}
	if j.kind == joinery.PostBaseKnifePlate && w.pegged(index) == 1 {
		support := statics.Support{Name: "foot of " + s.mark, Node: node}
		support.Fixed[statics.UX], support.Fixed[statics.UY], support.Fixed[statics.RZ] = true, true, true
		support.Spring[statics.UZ] = j.holdDownNPerM
		w.m.Supports = append(w.m.Supports, support)
	}
}

// bed lays a stick on the deck: two contacts under each of its nodes, at its lower arrises, each with the bedding of half the
// way to the next nodes.
func (w *work) bed(i int, j *joint) {
	s := &w.b.sticks[i]
	a := s.solid.Axes
	across := geom.Unit(geom.Cross(geom.Up(), a.Axis))
	half := s.solid.ExtentMM(across) / 2
	down := s.solid.ExtentMM(geom.Up()) / 2
	for n := w.first[i]; n < w.first[i+1]; n++ {
		low, high := 0.0, s.lengthMM
		if n > w.first[i] {
			low = (w.mm[n-1] + w.mm[n]) / 2
		}
		if n+1 < w.first[i+1] {
			high = (w.mm[n] + w.mm[n+1]) / 2
		}
		k := w.b.bedding() * (high - low) * 2 * half * 1e-6 / 2
		for _, side := range [2]float64{-1, 1} {
			arm := geom.Add(geom.Scale(side*half, across), geom.V(0, 0, -down))
			w.contact(s.mark, int(n), metres(arm), k, j.kind)
		}
	}
}

func (w *work) contact(mark string, node int, arm geom.Vec, k float64, kind joinery.Kind) {
	w.m.Contacts = append(w.m.Contacts, statics.Contact{
		Name: mark, Node: node, Arm: arm, Normal: geom.Up(), K: k, KT: acrossShare * k, Mu: w.b.o.Friction,
		Held: kind != joinery.PostBaseBearing,
	})
}

// bedding is the stiffness of the deck in N/m³.
func (b *Builder) bedding() float64 { return b.o.pick(b.o.BeddingSoftNPerM3, b.o.BeddingStiffNPerM3) }

// lies reports whether a stick with a post base lies on the deck.
func lies(s joinery.Stick) bool { return math.Abs(s.Axes.Axis.Z) < flatSine }

// foot are the arms in metres from a post's foot node to the four corners of its foot on the deck, in order round it, and its
// area in m². shift is from the node to the middle of the foot, in metres.
func foot(s joinery.Stick, shift geom.Vec) (corners [4]geom.Vec, area float64) {
	a := s.Axes
	for k, side := range [4][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		arm := geom.Add(geom.Scale(side[0]*s.WidthMM/2, a.Width), geom.Scale(side[1]*s.DepthMM/2, a.Depth))
		arm = geom.Along(arm, -arm.Z/a.Axis.Z, a.Axis)
		corners[k] = geom.Add(shift, metres(arm))
	}
	return corners, s.AreaMM2() / math.Abs(a.Axis.Z) * 1e-6
}
