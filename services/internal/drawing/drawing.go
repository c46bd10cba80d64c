// Package drawing holds a sheet as a display list: lines, fills, circles and texts in millimetres on
// paper, each in a style class, in the order in which they are painted. Writers turn a sheet into a
// file format; SVG is one. It knows nothing of what is drawn.
package drawing

// Point is a place on the sheet in millimetres: X to the right, Y down, from the upper left corner.
type Point struct{ X, Y float64 }

// P makes a point.
func P(x, y float64) Point { return Point{X: x, Y: y} }

// Class says what a mark on the sheet means; its line weight and dashes follow from that.
type Class uint8

// The classes. Weight carries the meaning, colour only repeats it.
const (
	// Outline is the edge of a timber.
	Outline Class = iota
	// Moving is a timber that moves now: filled.
	Moving
	// Standing is a timber that stands already: outlined.
	Standing
	// Coming is a timber that is still to come: dashed.
	Coming
	// Brace is a temporary brace, with a tick at its foot.
	Brace
	// Dimension is a dimension line, its ticks, extension lines and text.
	Dimension
	// Grid is a line of the frame's grid and its bubble.
	Grid
	// Hidden is an edge behind or across the plane of the drawing.
	Hidden
	// CenterMark is the mark of a timber, written along its middle.
	CenterMark
	// Ground is the top of the deck.
	Ground
	// Diagonal is a distance taped from corner to corner.
	Diagonal
	// Warning is a sentence that must not be missed; it begins with a sign of its own.
	Warning
	// TitleBlock is the line of words that every sheet ends in.
	TitleBlock
	// Faint is a timber that only bears what is drawn over it.
	Faint
	// NewBrace is a temporary brace that is set now, with a tick at its foot.
	NewBrace
	// Swayed is the middle line of a timber or a brace where it is when displaced.
	Swayed
	// Diagram is a force drawn along a timber.
	Diagram
	// Slight is a timber or a brace that uses less than half of what it bears.
	Slight
	// Half is one that uses half or more.
	Half
	// Near is one that comes near to what it bears.
	Near
	// Over is one that is over what it bears.
	Over
	classes
)

// name is the class's name in a style sheet.
func (c Class) name() string {
	return [classes]string{
		"outline", "moving", "standing", "coming", "brace", "dimension", "grid",
		"hidden", "mark", "ground", "diagonal", "warning", "title",
		"faint", "new-brace", "swayed", "diagram", "slight", "half", "near", "over",
	}[c]
}

// Anchor says which end of a text stands at its point.
type Anchor uint8

// The anchors; the zero value is the middle.
const (
	Middle Anchor = iota
	Start
	End
)

// Shape is what an item draws.
type Shape uint8

// The shapes.
const (
	// Polyline is an open run of lines through Points.
	Polyline Shape = iota
	// Polygon is a closed outline, filled with paper or, when its class is Moving, with ink.
	Polygon
	// Bare is a closed outline that is not filled, so that what lies under it shows.
	Bare
	// Circle is round Points[0] with the radius Size, filled with paper.
	Circle
	// Label is Text at Points[0], Size high, its middle line through that point.
	Label
)

// Item is one thing on a sheet.
type Item struct {
	// Shape is what is drawn.
	Shape Shape
	// Class is what it means.
	Class Class
	// Points are its corners, or its one place.
	Points []Point
	// Size is the radius of a circle or the height of a text's capitals and figures, in millimetres.
	Size float64
	// TurnDeg turns a text counter-clockwise about its point, in degrees.
	TurnDeg float64
	// Anchor is the end of a text that stands at its point.
	Anchor Anchor
	// Text is what a label says.
	Text string
	// Link is the mark of the timber that the item is part of; empty for none.
	Link string
}

// Sheet is one drawing on paper.
type Sheet struct {
	// WidthMM and HeightMM are the size of the paper.
	WidthMM, HeightMM float64
	// Title names the drawing and Desc says what is to be seen, for people who cannot see it.
	Title, Desc string
	// Items are painted in this order, later ones over earlier ones.
	Items []Item
}

// Line adds an open run of lines.
func (s *Sheet) Line(c Class, points ...Point) {
	s.Items = append(s.Items, Item{Shape: Polyline, Class: c, Points: points})
}

// Fill adds a closed outline that covers what lies under it.
func (s *Sheet) Fill(c Class, link string, points []Point) {
	s.Items = append(s.Items, Item{Shape: Polygon, Class: c, Points: points, Link: link})
}

// Frame adds a closed outline that covers nothing.
func (s *Sheet) Frame(c Class, link string, points []Point) {
	s.Items = append(s.Items, Item{Shape: Bare, Class: c, Points: points, Link: link})
}

// Ring adds a circle.
func (s *Sheet) Ring(c Class, center Point, radius float64) {
	s.Items = append(s.Items, Item{Shape: Circle, Class: c, Points: []Point{center}, Size: radius})
}

// Text adds a text.
func (s *Sheet) Text(t Item, at Point) {
	t.Shape, t.Points = Label, []Point{at}
	s.Items = append(s.Items, t)
}

// TextWidth estimates how wide a text of a given height runs, in millimetres: 0.64 of its height for
// each character, a little more than the usual sans-serif faces need. The readers' own font is not
// known when a sheet is laid out.
func TextWidth(text string, height float64) float64 {
	n := 0
	for range text {
		n++
	}
	return 0.64 * height * float64(n)
}

// View maps points of a plane, Y up, onto paper at a scale.
type View struct {
	// Scale is paper millimetres for each model millimetre.
	Scale float64
	// Origin is where the plane's origin lies on paper.
	Origin Point
}

// At gives the place on paper of a point of the plane.
func (v View) At(x, y float64) Point {
	return Point{X: v.Origin.X + x*v.Scale, Y: v.Origin.Y - y*v.Scale}
}
