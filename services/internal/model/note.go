package model

import (
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/natural"
)

// notes are the assumptions, and what is taken for granted of this state alone.
func (w *work) notes() []string {
	if len(w.tied) == 0 {
		return w.b.notes
	}
	marks := make([]string, len(w.tied))
	for k, i := range w.tied {
		marks[k] = w.b.sticks[i].mark
	}
	slices.SortFunc(marks, natural.Compare)
	note := strings.Join(marks, ", ") + " is held at one end only and is taken as tied up until its other end is caught."
	if len(marks) > 1 {
		note = strings.Join(marks, ", ") + " are held at one end only and are taken as tied up until their other ends are caught."
	}
	return append(w.b.notes, note)
}

// assumptions are what the model takes for granted of this frame, each a sentence.
func (b *Builder) assumptions() []string {
	notes := []string{
		"Each timber is a straight line of even weight along its centre, as heavy as the timber with its pegs and hardware, and it bends and shears; what mortises and housings take from its section is left out.",
		"Tenons are hinges about their pegs; their faces and shoulders hold the other turns.",
		"Pegs, shoulders, deck and wood are taken at both ends of a range of stiffness that is remembered, not measured.",
	}
	var dovetails, seats, skew, steel, bases, knives, beds bool
	for i := range b.joints {
		switch j := &b.joints[i]; {
		case j.receiving < 0 && b.sticks[j.entering].lies:
			beds = true
		case j.kind == joinery.PostBaseKnifePlate:
			knives = true
		case j.receiving < 0:
			bases = true
		case j.kind == joinery.DovetailedHousing:
			dovetails = true
		case j.kind == joinery.Birdsmouth, j.kind == joinery.SteppedFoot:
			seats = true
		case j.kind == joinery.SteelConnection, j.kind == joinery.KnifePlate:
			steel = true
		}
		skew = skew || b.joints[i].receiving >= 0 && b.joints[i].end != joinery.Along && !b.joints[i].gripped
	}
	for _, n := range [...]struct {
		is   bool
		note string
	}{
		{bases, "The foot of a post bears on the deck at its four corners, only pushes, and rubs."},
		{knives, "A post on a knife plate also bears at its four corners; bolted, the plate keeps the foot from lifting, sliding and twisting, but not the post from leaning."},
		{beds, "A sill bears on the deck under its joints and ends, at both of its edges."},
		{dovetails, "Dovetails are not counted on to pull, since shrinkage loosens them."},
		{seats, "Open seats bear and do not pull unless they are pegged."},
		{steel, "Steel connections are of unknown make; before they are bolted they bear and hold across, but do not pull."},
		{skew, "Sticks whose pegs are not parallel to one of their faces are joined by springs along the faces of the joint."},
	} {
		if n.is {
			notes = append(notes, n.note)
		}
	}
	return notes
}
