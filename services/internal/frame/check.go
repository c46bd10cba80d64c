package frame

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/wood"
)

func (c *checker) checkTitle() {
	if t := c.f.draft.Title; !printable(t) || utf8.RuneCountInString(t) > maxTitle {
		c.fault("", "title", "The title is longer than %d characters or holds characters that cannot be printed; shorten or clean it.", maxTitle)
	}
}

// checkID checks a mark, an id or a label.
func (c *checker) checkID(id string, at place, what string) {
	switch {
	case id == "":
		c.fault("", at.field(what), "The %s is empty; give one.", what)
	case utf8.RuneCountInString(id) > maxMark:
		c.fault("", at.field(what), "The %s is longer than %d characters; shorten it.", what, maxMark)
	case !printable(id) || strings.TrimSpace(id) != id:
		c.fault("", at.field(what), "The %s holds characters that cannot be printed, or begins or ends with a space; leave them out.", what)
	case strings.ContainsAny(id, "/:"):
		c.fault(id, at.field(what), "The %s %q holds / or :, which paths need; choose other characters.", what, id)
	}
}

func printable(s string) bool {
	if !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if !unicode.IsPrint(r) {
			return false
		}
	}
	return true
}

// place is an entry of a list in the draft; its paths are only written out for a fault.
type place struct {
	list  string
	index int
}

// field is the path of a field of the entry.
func (p place) field(name string) string { return fmt.Sprintf("%s[%d].%s", p.list, p.index, name) }

// number checks that a value lies between low and high, both included; NaN and infinities do not.
func (c *checker) number(piece string, at place, field string, v, low, high float64, unit string) bool {
	if v >= low && v <= high {
		return true
	}
	c.fault(piece, at.field(field), "The value %v is not between %v and %v %s; put it right.", v, low, high, unit)
	return false
}

func (c *checker) point(piece string, at place, field string, p geom.Vec) bool {
	ok := true
	if math.IsNaN(p.X) && math.IsNaN(p.Y) && math.IsNaN(p.Z) {
		c.fault(piece, at.field(field), "The point is missing or not made of numbers; give x_mm, y_mm and z_mm.")
		return false
	}
	for _, axis := range [3]struct {
		name string
		v    float64
	}{{"x_mm", p.X}, {"y_mm", p.Y}, {"z_mm", p.Z}} {
		if !(math.Abs(axis.v) <= maxCoordMM) {
			c.fault(piece, at.field(field+"."+axis.name), "The coordinate %v is not within 1 km of the origin; put it right.", axis.v)
			ok = false
		}
	}
	return ok
}

func (c *checker) checkGrid() {
	g := c.f.draft.Grid
	for _, lines := range []struct {
		field string
		lines []GridLine
	}{{"grid.bent_lines", g.BentLines}, {"grid.wall_lines", g.WallLines}} {
		seen := make(map[string]bool, len(lines.lines))
		for i, l := range lines.lines {
			at := place{lines.field, i}
			c.checkLabel(seen, l.Label, at)
			c.point(l.Label, at, "point", l.Point)
			c.number(l.Label, at, "heading_deg", l.HeadingDeg, -360, 360, "degrees")
		}
	}
	seen := make(map[string]bool, len(g.Levels))
	for i, l := range g.Levels {
		at := place{"grid.levels", i}
		c.checkLabel(seen, l.Label, at)
		c.number(l.Label, at, "z_mm", l.ZMM, -maxCoordMM, maxCoordMM, "mm")
	}
}

func (c *checker) checkLabel(seen map[string]bool, label string, at place) {
	c.checkID(label, at, "label")
	if seen[label] {
		c.fault(label, at.field("label"), "The label %q is used twice; give each line a label of its own.", label)
	}
	seen[label] = true
}

func (c *checker) checkTimbers() {
	f := c.f
	n := len(f.draft.Timbers)
	f.sticks = make([]joinery.Stick, n)
	c.sound = make([]bool, n)
	c.species = make([]wood.Species, n)
	for i := range f.draft.Timbers {
		t := &f.draft.Timbers[i]
		at := place{"timbers", i}
		before := len(c.faults) + c.more
		c.checkShape(t, at)
		c.checkWood(i, t, at)
		if len(c.faults)+c.more == before {
			c.sound[i] = true
			f.sticks[i] = joinery.NewStick(t.Start, t.End, t.RollDeg, t.WidthMM, t.DepthMM)
		}
	}
}

// checkShape checks what a timber is and where.
func (c *checker) checkShape(t *Timber, at place) {
	if !t.Role.Known() {
		c.fault(t.Mark, at.field("role"), "The timber has no known role; say what it does in the frame.")
	}
	c.number(t.Mark, at, "width_mm", t.WidthMM, minSectionMM, maxSectionMM, "mm")
	c.number(t.Mark, at, "depth_mm", t.DepthMM, minSectionMM, maxSectionMM, "mm")
	if t.NominalWidthIn != nil {
		c.number(t.Mark, at, "nominal_width_in", *t.NominalWidthIn, 0.5, maxNominalIn, "in")
	}
	if t.NominalDepthIn != nil {
		c.number(t.Mark, at, "nominal_depth_in", *t.NominalDepthIn, 0.5, maxNominalIn, "in")
	}
	start, end := c.point(t.Mark, at, "start", t.Start), c.point(t.Mark, at, "end", t.End)
	if start && end {
		if l := geom.Dist(t.Start, t.End); l < minLengthMM || l > maxLengthMM {
			c.fault(t.Mark, at.field("end"), "The timber is %.4g mm from shoulder to shoulder, between %d and %d mm are taken; put its start or end right.",
				l, minLengthMM, maxLengthMM)
		}
	}
	c.number(t.Mark, at, "roll_deg", t.RollDeg, -360, 360, "degrees")
	if r := t.ReferenceFaces; len(r) != 0 && (len(r) != 2 || !r[0].Adjoins(r[1])) {
		c.fault(t.Mark, at.field("reference_faces"), "The reference faces are not two faces that share an edge; give one of the depth and one of the width faces, or none.")
	}
}

// checkWood checks of what a timber is made and where it belongs.
func (c *checker) checkWood(i int, t *Timber, at place) {
	s, known := c.lookup(t.Species)
	if !known {
		c.fault(t.Mark, at.field("species"), "The species %q is not known, so the weight is not either; use one of %s.", clip(t.Species), wood.KeyList())
	}
	c.species[i] = s
	if !printable(t.Grade) || utf8.RuneCountInString(t.Grade) > maxGrade {
		c.fault(t.Mark, at.field("grade"), "The grade is longer than %d characters or cannot be printed; shorten or clean it.", maxGrade)
	}
	if t.Finish < FinishUnspecified || t.Finish > FinishPlaned {
		c.fault(t.Mark, at.field("finish"), "The finish is not known; use rough sawn or planed.")
	}
	if !(t.MoisturePercent > 0 && t.MoisturePercent <= wood.MaxMoisturePercent) {
		c.fault(t.Mark, at.field("moisture_percent"), "The moisture content %v is not above 0 and at most %d percent; give what was measured, or what the mill says.",
			t.MoisturePercent, wood.MaxMoisturePercent)
	}
}

// lookup finds a species; a frame has few of them and many sticks.
func (c *checker) lookup(key string) (wood.Species, bool) {
	s, ok := c.known[key]
	if !ok {
		if s, ok = wood.Lookup(key); ok {
			c.known[key] = s
		}
	}
	return s, ok
}

func clip(s string) string {
	if utf8.RuneCountInString(s) <= maxMark {
		return s
	}
	return string([]rune(s)[:maxMark]) + "…"
}

// checkAssemblies checks the assemblies and gathers their members.
func (c *checker) checkAssemblies() {
	f := c.f
	f.members = make(map[string][]int, len(f.draft.Assemblies))
	for i, t := range f.draft.Timbers {
		if t.Assembly == "" {
			f.loose = append(f.loose, i)
			continue
		}
		f.members[t.Assembly] = append(f.members[t.Assembly], i)
	}
	bents, walls := labels(f.draft.Grid.BentLines), labels(f.draft.Grid.WallLines)
	seen := make(map[string]bool, len(f.draft.Assemblies))
	for i, a := range f.draft.Assemblies {
		at := place{"assemblies", i}
		c.checkID(a.ID, at, "id")
		if seen[a.ID] {
			c.fault(a.ID, at.field("id"), "The id %q is used twice; give each assembly an id of its own.", a.ID)
		}
		seen[a.ID] = true
		if !a.Kind.Known() {
			c.fault(a.ID, at.field("kind"), "The assembly has no known kind; say bent, roof truss or wall panel.")
		}
		if !(a.Kind != AssemblyWallPanel && bents[a.Line] || a.Kind != AssemblyBent && walls[a.Line]) {
			c.fault(a.ID, at.field("line"), "The line %q is not on the grid; name the bent line or wall line that the assembly stands on.", clip(a.Line))
		}
		if len(f.members[a.ID]) == 0 {
			c.fault(a.ID, at.field("id"), "No timber belongs to the assembly; name it in its timbers or leave it out.")
		}
	}
	for i, t := range f.draft.Timbers {
		if t.Assembly != "" && !seen[t.Assembly] {
			c.fault(t.Mark, place{"timbers", i}.field("assembly"), "The assembly %q is not in the frame; add it, or leave the timber loose.", clip(t.Assembly))
		}
	}
}

func labels(lines []GridLine) map[string]bool {
	set := make(map[string]bool, len(lines))
	for _, l := range lines {
		set[l.Label] = true
	}
	return set
}

func (c *checker) checkHardware() {
	f := c.f
	f.hardwareOn = make(map[int][]int)
	seen := make(map[string]bool, len(f.draft.Hardware))
	for i, h := range f.draft.Hardware {
		at := place{"hardware", i}
		c.checkID(h.ID, at, "id")
		if seen[h.ID] {
			c.fault(h.ID, at.field("id"), "The id %q is used twice; give each entry an id of its own.", h.ID)
		}
		seen[h.ID] = true
		if !h.Kind.Known() {
			c.fault(h.ID, at.field("kind"), "The hardware has no known kind; say what it is.")
		}
		if h.Count < 1 || h.Count > maxCount {
			c.fault(h.ID, at.field("count"), "The count %d is not between 1 and %d; put it right.", h.Count, maxCount)
		}
		if !(h.MassEachKG > 0 && h.MassEachKG <= maxMassKG) {
			c.fault(h.ID, at.field("mass_each_kg"), "The mass %v is not above 0 and at most %d kg, so what is lifted with it has no known weight; weigh one.",
				h.MassEachKG, maxMassKG)
		}
		c.point(h.ID, at, "at", h.At)
		if h.Timber == "" {
			continue
		}
		if on, ok := f.byMark[h.Timber]; ok {
			f.hardwareOn[on] = append(f.hardwareOn[on], i)
		} else {
			c.fault(h.ID, at.field("timber"), "The timber %q is not in the frame; name the stick that carries it, or none.", clip(h.Timber))
		}
	}
}
