package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/natural"
	"github.com/pikepole/pikepole/services/sequencing/raising"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// mostNamed is how many pieces a sentence names before it counts the rest.
const mostNamed = 6

// instruction says what to do.
func (m *maker) instruction(mv *Move, from *raising.Move) string {
	what, onto := m.what(mv), m.onto(mv, from)
	way := wayOf(mv.Home)
	var s []string
	onFeet, tenons := false, 0
	for _, l := range from.Links {
		onFeet = onFeet || m.order.Links[l].Receiving == raising.Deck
		if m.order.Links[l].TenonMM > 0 {
			tenons++
		}
	}
	upright := len(m.standing(mv.Pieces)) > 0
	slides := onFeet && upright && level(mv.Home)
	switch {
	case mv.Closing == raising.Stand && !upright:
		s = append(s, fmt.Sprintf("Lay %s on the deck, level and in line.", what))
	case mv.Closing == raising.Stand:
		s = append(s, fmt.Sprintf("Stand %s on the deck and plumb it.", what))
	case mv.Closing == raising.DropIn:
		s = append(s, fmt.Sprintf("Let %s down%s %s.", what, slant(mv.Home), onto))
	case mv.Closing == raising.LeanAndComeUpright:
		s = append(s, fmt.Sprintf("Stand %s in its place, leaning out by %.1f°; bring it upright %s %s, starting each tenon as it comes to its mortise.",
			what, from.LeanDeg, way, onto))
	case slides && tenons == 1:
		s = append(s, fmt.Sprintf("Stand %s plumb, the length of a tenon short of its place; start its tenon %s; then draw it up %s, "+
			"its feet sliding on the deck.", what, onto, way))
	case slides && mv.Closing == raising.StartAllAndDrawUp:
		s = append(s, fmt.Sprintf("Stand %s plumb, the length of a tenon short of its place; start all %d tenons %s; then draw it up %s, "+
			"its feet sliding on the deck.", what, tenons, onto, way))
	case mv.Closing == raising.StartAllAndDrawUp:
		s = append(s, fmt.Sprintf("Slide %s %s %s; start all tenons, then draw up.", what, way, onto))
	default:
		s = append(s, fmt.Sprintf("Slide %s %s %s.", what, way, onto))
	}
	if len(from.Units) > 1 {
		s = append(s, "Put these together and peg them before lifting: the last of them would not come home by itself, level or from above.")
	}
	s = append(s, m.holding(mv, from)...)
	if mv.Missing != "" {
		s = append(s, mv.Missing)
	}
	return strings.Join(s, " ")
}

// what names what moves: "girt G-A12 with knee braces WB-A1E and WB-A2W".
func (m *maker) what(mv *Move) string {
	if mv.Assembly != "" {
		name := m.assembly(mv.Assembly)
		var loose []int
		for _, p := range mv.Pieces {
			if m.f.Timbers()[p].Assembly == "" {
				loose = append(loose, p)
			}
		}
		if len(loose) > 0 {
			name += " with " + m.pieces(loose)
		}
		return name
	}
	first := m.pieces(mv.Pieces[:1])
	if len(mv.Pieces) == 1 {
		return first
	}
	return first + " with " + m.pieces(mv.Pieces[1:])
}

// assembly names an assembly by its kind and id, the kind only once.
func (m *maker) assembly(id string) string {
	for _, a := range m.f.Assemblies() {
		if a.ID == id {
			if kind := a.Kind.String(); !strings.Contains(strings.ToLower(id), kind) {
				return kind + " " + id
			}
			break
		}
	}
	return id
}

// pieces names timbers by role and mark, alike ones together.
func (m *maker) pieces(ps []int) string {
	byRole := map[frame.Role][]string{}
	var roles []frame.Role
	for _, p := range ps {
		t := m.f.Timbers()[p]
		if byRole[t.Role] == nil {
			roles = append(roles, t.Role)
		}
		byRole[t.Role] = append(byRole[t.Role], t.Mark)
	}
	left := mostNamed
	var groups []string
	for _, r := range roles {
		marks := byRole[r]
		slices.SortFunc(marks, natural.Compare)
		name := r.String()
		if len(marks) > 1 {
			name = plural(name)
		}
		if left <= 0 {
			groups = append(groups, fmt.Sprintf("%d %s", len(marks), name))
			continue
		}
		if more := len(marks) - left; more > 0 {
			marks = append(slices.Clone(marks[:left]), fmt.Sprintf("%d more", more))
		}
		left -= len(marks)
		groups = append(groups, name+" "+list(marks))
	}
	if len(ps) > len(groups) && len(groups) > 1 {
		last := len(groups) - 1
		return strings.Join(groups[:last], ", ") + ", and " + groups[last]
	}
	return list(groups)
}

// onto names what stands and is joined: "into posts P-1A and P-1B".
func (m *maker) onto(mv *Move, from *raising.Move) string {
	var into, over []int
	for _, l := range from.Links {
		e, r := m.f.Ends(m.order.Joint[l])
		switch {
		case r < 0:
		case slices.Contains(mv.Pieces, e):
			into = append(into, r)
		default:
			over = append(over, e)
		}
	}
	slices.Sort(into)
	slices.Sort(over)
	into, over = slices.Compact(into), slices.Compact(over)
	var s []string
	if len(into) > 0 {
		s = append(s, "into "+m.pieces(into))
	}
	if len(over) > 0 {
		s = append(s, "onto "+m.pieces(over))
	}
	if len(s) == 0 {
		return "onto the deck"
	}
	return strings.Join(s, " and ")
}

// reason says why a move follows another.
func (m *maker) reason(mv, earlier *Move, b raising.Before) string {
	joints := "joint " + m.ids(b.Links)[0]
	if len(b.Links) > 1 {
		joints = "joints " + list(m.ids(b.Links))
	}
	if b.Cause == raising.Carried {
		if len(b.Links) < len(m.order.Moves[mv.Number-1].Links) {
			return fmt.Sprintf("Without %s, joined to it by %s, nothing that stands by then would join %s to the deck.",
				m.what(earlier), joints, m.what(mv))
		}
		return fmt.Sprintf("Only %s joins %s to what stands by then, through %s.", m.what(earlier), m.what(mv), joints)
	}
	return fmt.Sprintf("With %s in place %s could not come home: %s would be in the way.", m.what(mv), m.what(earlier), joints)
}

// level says whether a direction is so nearly level that feet stay on the deck.
func level(d geom.Vec) bool { return math.Abs(d.Z) < 0.02 }

// wayOf says a direction in words: "along −X", or "towards +Y and 50° downwards".
func wayOf(d geom.Vec) string {
	const straight = 0.5 // degrees
	slope := geom.Degrees(math.Asin(max(-1, min(1, d.Z))))
	switch {
	case slope > 90-straight:
		return "straight up"
	case slope < straight-90:
		return "straight down"
	}
	heading := math.Mod(geom.Degrees(math.Atan2(d.Y, d.X))+360, 360)
	name := fmt.Sprintf("%.0f° from X", heading)
	for i, axis := range []string{"+X", "+Y", "−X", "−Y", "+X"} {
		if math.Abs(heading-float64(90*i)) < straight {
			name = axis
		}
	}
	switch {
	case math.Abs(slope) < straight && strings.Contains(name, "°"):
		return "towards " + name
	case math.Abs(slope) < straight:
		return "along " + name
	case slope < 0:
		return fmt.Sprintf("towards %s and %.0f° downwards", name, -slope)
	}
	return fmt.Sprintf("towards %s and %.0f° upwards", name, slope)
}

// slant says how what comes down does not come straight down.
func slant(d geom.Vec) string {
	if geom.AngleDeg(d, geom.V(0, 0, -1)) < 0.5 {
		return ""
	}
	return " " + wayOf(d)
}

// Cautions are what a reader of the raising must be told.
func (r *Raising) Cautions() []string {
	c := []string{
		"The temporary braces follow a simple rule and are not checked for standing: have what holds the unfinished frame, by day and over night, " +
			"checked by a person who is competent for it.",
		"The order comes from how the joints close; whether the way of each piece through the air is clear of what stands is not checked.",
		"Let go of no piece before it is pegged and braced both ways, and let nobody stand or walk under what hangs.",
		"Local rules, the crane's own chart, the tag of each sling and licensed practice govern.",
	}
	if !r.DeckKnown {
		c = append(c, "The job does not say where the deck ends, so the feet of temporary braces may come off it: put the outline of the deck into the job.")
	}
	var missing []string
	for _, m := range r.Moves {
		if m.Missing != "" {
			missing = append(missing, fmt.Sprint(m.Number))
		}
	}
	switch n := len(missing); {
	case n == 1:
		c = append(c, "Move "+missing[0]+" asks for a crane and none is planned for this job: choose one in the job before its hours are relied on.")
	case n > 1:
		if n > 2*mostNamed {
			missing = append(missing[:2*mostNamed], fmt.Sprintf("%d more", n-2*mostNamed))
		}
		c = append(c, "Moves "+list(missing)+" ask for a crane and none is planned for this job: choose one in the job before its hours are relied on.")
	}
	return c
}

// StandNote says what was and was not checked.
const StandNote = "How the joints close was checked; the temporary braces come from a simple rule and are not checked for standing."

// MachineWords says what a move is done with: "hands (3 persons)".
func (m *Move) MachineWords() string {
	if m.Machine == work.Hands {
		return fmt.Sprintf("hands (%s)", count(m.Persons, "person"))
	}
	return m.Machine.String()
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %s", n, plural(noun))
}

func plural(noun string) string { return noun + "s" }

// list writes words as a list: "a, b and c".
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}
