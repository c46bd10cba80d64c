package framedraw

import (
	"fmt"
	"math"
	"slices"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/platform/units"
)

// Shares of a capacity where the line gets heavier.
const (
	halfUse = 0.5
	nearUse = 0.8
	fullUse = 1.0
)

// diagramMM is how far the largest value of a diagram stands off its stick on paper.
const diagramMM = 13.0

// swayShare is how much of the picture the largest displacement takes when the factor is left to the picture.
const swayShare = 0.06

// nmPerFootPound is newton metres in a foot-pound.
const nmPerFootPound = units.NPerPoundForce * units.MMPerFoot / 1000

// Stand draws one state of a raising: what stands outlined, what is to come dashed, temporary braces thin with a tick at
// each foot, and what Show asks for, with a legend in words.
func (p *Picture) Stand(v StandView) *drawing.Sheet {
	v.Factor = p.swayFactor(&v)
	v.Coming = p.near(&v)
	page := p.standPage(&v)
	p.floor(page, p.lines(p.shown(&v)))
	class, coming := p.standClasses(&v), indexSet(v.Coming)
	for _, i := range p.order {
		if coming[i] {
			page.Frame(drawing.Coming, p.shapes[i].mark, page.paper(p.shapes[i].outline(p.eye)))
		}
	}
	done := p.paint(page, func(i int) (drawing.Class, bool) {
		c, ok := class[i]
		return c, ok
	})
	switch v.Show {
	case ShowSway:
		p.swayed(page, &v)
	case ShowBending, ShowAxial:
		p.diagrams(page, &v)
	}
	p.standBraces(page, &v)
	p.standWords(page, &v, done)
	return page.finish(p.frame, v.Block, v.Name, v.description())
}

// standClasses gives the class in which each standing stick is drawn.
func (p *Picture) standClasses(v *StandView) map[int]drawing.Class {
	class := make(map[int]drawing.Class, len(v.Standing)+len(v.Fresh))
	for _, i := range v.standing() {
		switch v.Show {
		case ShowBraces:
			class[i] = drawing.Standing
		case ShowUse:
			class[i] = useClass(v.use(i))
		default:
			class[i] = drawing.Faint
		}
	}
	if v.Show == ShowBraces {
		for _, i := range v.Fresh {
			class[i] = drawing.Moving
		}
	}
	return class
}

// standing gives all sticks that stand, those of this move with them.
func (v *StandView) standing() []int { return slices.Concat(v.Standing, v.Fresh) }

// use is how much of its capacity a stick uses; 0 when nobody said.
func (v *StandView) use(stick int) float64 {
	if stick < len(v.Uses) {
		return v.Uses[stick]
	}
	return 0
}

// useClass gives the line weight of a share of a capacity.
func useClass(share float64) drawing.Class {
	switch {
	case share > fullUse:
		return drawing.Over
	case share >= nearUse:
		return drawing.Near
	case share >= halfUse:
		return drawing.Half
	}
	return drawing.Slight
}

// swayFactor is the exaggeration that is asked for, or a round one that can be seen well.
func (p *Picture) swayFactor(v *StandView) float64 {
	if v.Show != ShowSway || v.Factor > 0 {
		return v.Factor
	}
	most := largestMove(v)
	alone := *v
	alone.Coming = nil
	all := extent(p.shown(&alone), p.eye)
	room := swayShare * max(all.width(), all.height())
	if most <= 0 || math.IsInf(most, 0) || math.IsNaN(most) || room <= 0 {
		return 1
	}
	return roundDown(room / most)
}

// largestMove is the largest displacement of any point that the view has.
func largestMove(v *StandView) float64 {
	most := 0.0
	for _, s := range v.Sways {
		for _, m := range s.Move {
			most = max(most, geom.Norm(m))
		}
	}
	for _, b := range v.Braces {
		most = max(most, geom.Norm(b.TopMove), geom.Norm(b.FootMove))
	}
	return most
}

// roundDown gives the largest of 1, 2 and 5 times a power of ten that is not above a number.
func roundDown(v float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range [...]float64{5, 2} {
		if f*ten <= v*(1+1e-9) {
			return f * ten
		}
	}
	return ten
}

// shown are the sticks that the picture has, all of the frame's when it has none.
func (p *Picture) shown(v *StandView) []shape {
	var some []shape
	for _, i := range slices.Concat(v.Standing, v.Fresh, v.Coming) {
		some = append(some, p.shapes[i])
	}
	if len(some) == 0 {
		return p.shapes
	}
	return some
}

// near are the sticks to come that are joined to what stands, or to what is joined to it, each with the rest of its assembly:
// the next bay and the next bent. The others are left out, so that a state of which little stands is drawn large.
func (p *Picture) near(v *StandView) []int {
	if len(v.standing()) == 0 {
		return v.Coming
	}
	coming, reached := indexSet(v.Coming), indexSet(v.standing())
	assemblies := map[string]bool{}
	edge := v.standing()
	for range 2 {
		var next []int
		for _, i := range edge {
			for _, j := range p.frame.JointsOf(i) {
				a, b := p.frame.Ends(j)
				for _, other := range [2]int{a, b} {
					if other < 0 || reached[other] || !coming[other] {
						continue
					}
					reached[other] = true
					next = append(next, other)
					assemblies[p.frame.Timbers()[other].Assembly] = true
				}
			}
		}
		edge = next
	}
	delete(assemblies, "")
	var some []int
	for _, i := range v.Coming {
		if reached[i] || assemblies[p.frame.Timbers()[i].Assembly] {
			some = append(some, i)
		}
	}
	return some
}

// room is what the picture must hold: its sticks, the ends of the grid lines under them, the braces, the displaced shape.
func (p *Picture) room(v *StandView) span {
	shown := p.shown(v)
	room := extent(shown, p.eye)
	for _, line := range p.lines(shown) {
		room.include(p.eye.flat(line.from))
		room.include(p.eye.flat(line.to))
	}
	for _, b := range v.Braces {
		room.include(p.eye.flat(b.Foot))
		room.include(p.eye.flat(b.Top))
	}
	if v.Show == ShowSway {
		for _, s := range v.Sways {
			for i, at := range s.At {
				room.include(p.eye.flat(geom.Along(at, v.Factor, s.Move[i])))
			}
		}
	}
	return room
}

// standPage lays the picture on paper with room for the verdict above it and the legend below it.
func (p *Picture) standPage(v *StandView) *page {
	bottom := legendMM + wordMM*1.5*float64(len(v.cautionLines()))
	return newPage(p.room(v), margin{left: 10, right: 10, top: verdictMM, bottom: bottom}, false)
}

// swayed draws the middle lines of sticks where they are when displaced, exaggerated.
func (p *Picture) swayed(page *page, v *StandView) {
	for _, s := range v.Sways {
		ring := make([]drawing.Point, 0, len(s.At))
		for i, at := range s.At {
			ring = append(ring, page.spot(p.eye, geom.Along(at, v.Factor, s.Move[i])))
		}
		if len(ring) < 2 {
			continue
		}
		page.Items = append(page.Items, drawing.Item{
			Shape: drawing.Polyline, Class: drawing.Swayed, Points: ring, Link: p.shapes[s.Stick].mark,
		})
	}
}

// diagrams draws the forces along sticks, square to each on paper, to one scale, and writes the largest value of each
// stick beside it where there is room.
func (p *Picture) diagrams(page *page, v *StandView) {
	most, _ := largestForce(v)
	if most <= 0 {
		return
	}
	for i := range v.Forces {
		p.diagram(page, &v.Forces[i], diagramMM/most, v.Show)
	}
}

// largestForce is the largest value of all sticks, without its sign, and the stick that has it; −1 when there is none.
func largestForce(v *StandView) (most float64, stick int) {
	stick = -1
	for _, f := range v.Forces {
		for _, value := range f.Values {
			if math.Abs(value) > most {
				most, stick = math.Abs(value), f.Stick
			}
		}
	}
	return most, stick
}

// diagram draws the force along one stick.
func (p *Picture) diagram(page *page, f *StickForce, scale float64, show StandShow) {
	if len(f.At) < 2 {
		return
	}
	a, b := page.spot(p.eye, f.At[0]), page.spot(p.eye, f.At[len(f.At)-1])
	n := math.Hypot(b.X-a.X, b.Y-a.Y)
	if n < 1 {
		return
	}
	square := drawing.P((b.Y-a.Y)/n, -(b.X-a.X)/n)
	mark := p.shapes[f.Stick].mark
	top := make([]drawing.Point, len(f.At))
	worst := 0
	for i, at := range f.At {
		foot := page.spot(p.eye, at)
		off := f.Values[i] * scale * p.side(f, i, square)
		top[i] = drawing.P(foot.X+square.X*off, foot.Y+square.Y*off)
		page.Items = append(page.Items, drawing.Item{
			Shape: drawing.Polyline, Class: drawing.Faint, Points: []drawing.Point{foot, top[i]}, Link: mark,
		})
		if math.Abs(f.Values[i]) > math.Abs(f.Values[worst]) {
			worst = i
		}
	}
	page.Items = append(page.Items, drawing.Item{Shape: drawing.Polyline, Class: drawing.Diagram, Points: top, Link: mark})
	if text := forceText(f.Values[worst], show); text != "" {
		// The value stands past the end of its ordinate, read along the stick.
		off := math.Copysign(wordMM, f.Values[worst]*p.side(f, worst, square))
		at := drawing.P(top[worst].X+square.X*off, top[worst].Y+square.Y*off)
		page.beside(drawing.Item{Class: drawing.Dimension, Text: text, Link: mark, TurnDeg: upright(a, b)}, at)
	}
}

// side is on which side of a stick on paper a positive value is drawn at a point: 1 or −1 along the square.
func (p *Picture) side(f *StickForce, i int, square drawing.Point) float64 {
	if i >= len(f.Sides) {
		return 1
	}
	x, y := p.eye.flat(f.Sides[i])
	if x*square.X-y*square.Y < 0 {
		return -1
	}
	return 1
}

// beside writes a text where there is room, else leaves it out.
func (p *page) beside(item drawing.Item, at drawing.Point) {
	item.Size = wordMM
	if room := box(item.Text, at, item.Size, item.TurnDeg, item.Anchor); p.placer.free(room) {
		p.placer.take(room)
		p.Text(item, at)
	}
}

// forceText writes the largest value of a stick in the unit of the legend; empty when it rounds to nothing.
func forceText(value float64, show StandShow) string {
	if show == ShowBending {
		return count(math.Abs(value) / nmPerFootPound)
	}
	text := count(math.Abs(units.PoundsForceFromN(value)))
	switch {
	case text == "":
		return ""
	case value < 0:
		return "−" + text
	}
	return "+" + text
}

// count writes a number to two digits, its thousands apart; empty for less than a half.
func count(v float64) string {
	if v < 0.5 || math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	if step := math.Pow(10, math.Floor(math.Log10(v))-1); step > 1 {
		v = math.Round(v/step) * step
	}
	text := fmt.Sprintf("%.0f", v)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// standBraces draws the temporary braces with a tick at each foot and what belongs beside each: its id, its force, or its
// share.
func (p *Picture) standBraces(page *page, v *StandView) {
	for _, b := range v.Braces {
		class := drawing.Brace
		switch {
		case v.Show == ShowUse:
			class = useClass(b.Use)
		case b.New && v.Show == ShowBraces:
			class = drawing.NewBrace
		}
		foot, head := b.Foot, b.Top
		if v.Show == ShowSway {
			foot, head = geom.Along(foot, v.Factor, b.FootMove), geom.Along(head, v.Factor, b.TopMove)
		}
		a, c := page.spot(p.eye, foot), page.spot(p.eye, head)
		page.Line(class, a, c)
		page.tick(a, c)
	}
}

// tick strikes a short line across the foot of a brace that runs from a to b.
func (p *page) tick(a, b drawing.Point) {
	n := math.Hypot(b.X-a.X, b.Y-a.Y)
	if n == 0 {
		return
	}
	const half = 1.4
	dx, dy := (b.X-a.X)/n*half, (b.Y-a.Y)/n*half
	p.Line(drawing.Standing, drawing.P(a.X-dy, a.Y+dx), drawing.P(a.X+dy, a.Y-dx))
}
