// Package measure lists and measures what a frame is made of: every stick with its board feet, volume
// and mass, the same summed by section, species and assembly, the pegs and the hardware.
package measure

import (
	"cmp"
	"slices"
	"strconv"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/natural"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Loose is the label of the group of pieces that belong to no assembly.
const Loose = "loose"

// Total is the label of the group of all sticks.
const Total = "total"

// FootMM is a foot in millimetres, exact.
const FootMM = 12 * wood.InchMM

const (
	mm3PerM3   = 1e9
	sizeDigits = 2
)

// Stick is one stick with its measure.
type Stick struct {
	// Index is its place in the frame.
	Index    int
	Mark     string
	Role     frame.Role
	Assembly string
	Species  string
	Grade    string
	// WidthMM and DepthMM are the finished section.
	WidthMM, DepthMM float64
	// NominalWidthIn and NominalDepthIn are the nominal section as given, else the finished one in inches.
	NominalWidthIn, NominalDepthIn float64
	// ShoulderMM is from shoulder to shoulder; OverallMM from long point to long point with tenons.
	ShoulderMM, OverallMM float64
	// BoardFeet is b·d·L/12 with the nominal section in inches and the overall length in feet.
	BoardFeet float64
	// VolumeM3 is of the finished solid; RemovedM3 went out for mortises and housings.
	VolumeM3, RemovedM3 float64
	// DensityKgPerM3 and MassKG are at its moisture content.
	DensityKgPerM3, MassKG float64
}

// Group sums some sticks. Pegs and hardware are not in it.
type Group struct {
	Label                                  string
	Count                                  int
	OverallMM, BoardFeet, VolumeM3, MassKG float64
}

// PegLine is pegs that are alike.
type PegLine struct {
	DiameterMM, LengthMM float64
	Wood                 string
	Count                int
	MassKG               float64
}

// HardwareLine is hardware of one kind.
type HardwareLine struct {
	Kind   frame.HardwareKind
	Count  int
	MassKG float64
}

// Takeoff is the list and measure of a frame.
type Takeoff struct {
	// Sticks are by mark, as people read numbers.
	Sticks []Stick
	// Groups by section and species are by label, by assembly in the frame's order with the loose pieces last.
	BySection, BySpecies, ByAssembly []Group
	// Pegs are by diameter, length and wood.
	Pegs []PegLine
	// Hardware is by kind.
	Hardware []HardwareLine
	// All sums every stick.
	All Group
}

// Frame measures a frame. Sums over sticks run in the order of their marks, those over pegs and hardware
// in the order of the frame.
func Frame(f *frame.Frame) Takeoff {
	t := Takeoff{Sticks: sticks(f), All: Group{Label: Total}}
	sections, species, assemblies := newSums(), newSums(), newSums()
	names := sectionNames{}
	for i := range t.Sticks {
		s := &t.Sticks[i]
		t.All.add(s)
		sections.add(names.of(s), s)
		species.add(s.Species, s)
		assemblies.add(s.Assembly, s)
	}
	t.BySection = sections.sorted(names.order())
	t.BySpecies = species.sorted(natural.Compare)
	t.ByAssembly = assemblies.sorted(assemblyOrder(f))
	for i := range t.ByAssembly {
		if t.ByAssembly[i].Label == "" {
			t.ByAssembly[i].Label = Loose
		}
	}
	t.Pegs = pegs(f)
	t.Hardware = hardware(f)
	return t
}

// Section names a nominal section in inches, as 8×10.
func Section(widthIn, depthIn float64) string {
	return Inches(widthIn) + "×" + Inches(depthIn)
}

// Inches writes a size with at most two decimals, so that a section measured in millimetres does not
// split into groups by its last digits.
func Inches(v float64) string {
	text := strconv.FormatFloat(v, 'f', sizeDigits, 64)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return text
}

func sticks(f *frame.Frame) []Stick {
	timbers := f.Timbers()
	out := make([]Stick, len(timbers))
	for k, i := range f.InOrder() {
		out[k] = stick(f, i, &timbers[i])
	}
	return out
}

func stick(f *frame.Frame, i int, t *frame.Timber) Stick {
	solid := f.Solid(i)
	s := Stick{
		Index: i, Mark: t.Mark, Role: t.Role, Assembly: t.Assembly, Species: t.Species, Grade: t.Grade,
		WidthMM: t.WidthMM, DepthMM: t.DepthMM,
		NominalWidthIn: t.WidthMM / wood.InchMM, NominalDepthIn: t.DepthMM / wood.InchMM,
		ShoulderMM: solid.ShoulderMM, OverallMM: solid.OverallMM,
		VolumeM3: solid.VolumeMM3 / mm3PerM3, RemovedM3: solid.RemovedMM3 / mm3PerM3,
		DensityKgPerM3: f.DensityKgPerM3(i), MassKG: f.MassKG(i),
	}
	if t.NominalWidthIn != nil {
		s.NominalWidthIn = *t.NominalWidthIn
	}
	if t.NominalDepthIn != nil {
		s.NominalDepthIn = *t.NominalDepthIn
	}
	s.BoardFeet = wood.BoardFeet(s.NominalWidthIn, s.NominalDepthIn, s.OverallMM/FootMM)
	return s
}

func (g *Group) add(s *Stick) {
	g.Count++
	g.OverallMM += s.OverallMM
	g.BoardFeet += s.BoardFeet
	g.VolumeM3 += s.VolumeM3
	g.MassKG += s.MassKG
}

// sums are groups by label.
type sums struct{ byLabel map[string]*Group }

func newSums() sums { return sums{map[string]*Group{}} }

func (s sums) add(label string, stick *Stick) {
	g := s.byLabel[label]
	if g == nil {
		g = &Group{Label: label}
		s.byLabel[label] = g
	}
	g.add(stick)
}

func (s sums) sorted(compare func(a, b string) int) []Group {
	out := make([]Group, 0, len(s.byLabel))
	for _, g := range s.byLabel {
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b Group) int { return compare(a.Label, b.Label) })
	return out
}

// sectionNames keeps the label of each nominal section, in inches.
type sectionNames map[[2]float64]string

func (n sectionNames) of(s *Stick) string {
	size := [2]float64{s.NominalWidthIn, s.NominalDepthIn}
	name, ok := n[size]
	if !ok {
		name = Section(size[0], size[1])
		n[size] = name
	}
	return name
}

// order orders labels by width, then by depth; sections that share a label count by the smallest.
func (n sectionNames) order() func(a, b string) int {
	sizes := map[string][2]float64{}
	for size, name := range n {
		known, ok := sizes[name]
		if !ok || cmp.Or(cmp.Compare(size[0], known[0]), cmp.Compare(size[1], known[1])) < 0 {
			sizes[name] = size
		}
	}
	return func(a, b string) int {
		return cmp.Or(cmp.Compare(sizes[a][0], sizes[b][0]), cmp.Compare(sizes[a][1], sizes[b][1]), cmp.Compare(a, b))
	}
}

// assemblyOrder orders assembly ids as the frame lists them; none comes last.
func assemblyOrder(f *frame.Frame) func(a, b string) int {
	at := map[string]int{"": len(f.Assemblies())}
	for i, a := range f.Assemblies() {
		at[a.ID] = i
	}
	return func(a, b string) int { return cmp.Compare(at[a], at[b]) }
}

func pegs(f *frame.Frame) []PegLine {
	type key struct {
		diameter, length float64
		wood             string
	}
	lines := map[key]*PegLine{}
	joints := f.Joints()
	for j := range joints {
		p := joints[j].Pegs
		if p == nil {
			continue
		}
		k := key{p.DiameterMM, p.LengthMM, p.Wood}
		line := lines[k]
		if line == nil {
			line = &PegLine{DiameterMM: p.DiameterMM, LengthMM: p.LengthMM, Wood: p.Wood}
			lines[k] = line
		}
		line.Count += int(p.Count)
		line.MassKG += f.PegMassKG(j)
	}
	out := make([]PegLine, 0, len(lines))
	for _, line := range lines {
		out = append(out, *line)
	}
	slices.SortFunc(out, func(a, b PegLine) int {
		return cmp.Or(cmp.Compare(a.DiameterMM, b.DiameterMM), cmp.Compare(a.LengthMM, b.LengthMM), cmp.Compare(a.Wood, b.Wood))
	})
	return out
}

func hardware(f *frame.Frame) []HardwareLine {
	lines := map[frame.HardwareKind]*HardwareLine{}
	for _, h := range f.Hardware() {
		line := lines[h.Kind]
		if line == nil {
			line = &HardwareLine{Kind: h.Kind}
			lines[h.Kind] = line
		}
		line.Count += h.Count
		line.MassKG += float64(h.Count) * h.MassEachKG
	}
	out := make([]HardwareLine, 0, len(lines))
	for _, line := range lines {
		out = append(out, *line)
	}
	slices.SortFunc(out, func(a, b HardwareLine) int { return cmp.Compare(a.Kind, b.Kind) })
	return out
}
