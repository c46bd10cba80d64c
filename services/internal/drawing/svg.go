package drawing

import (
	"bytes"
	"html"
	"math"
	"net/url"
	"strconv"
	"strings"
)

// style is embedded in every drawing. Ink is currentColor and paper the reader's own canvas colour, so
// that one file prints black on white and reads light on dark; a page may set --paper and --accent.
const style = `svg.drawing:root{color-scheme:light dark}
.drawing{font-family:system-ui,"DejaVu Sans",sans-serif;font-variant-numeric:tabular-nums}
.drawing polyline,.drawing .bare{fill:none}
.drawing polygon,.drawing circle{fill:var(--paper,Canvas)}
.drawing polyline,.drawing polygon,.drawing circle{stroke:currentColor;stroke-width:.3;stroke-linejoin:round;stroke-linecap:round}
.drawing text{fill:currentColor;stroke:var(--paper,Canvas);stroke-width:.7;stroke-linejoin:round;paint-order:stroke;dominant-baseline:central}
.drawing .middle{text-anchor:middle}
.drawing .end{text-anchor:end}
.drawing .moving{stroke-width:.5}
.drawing polygon.moving{fill:var(--accent,#a4502e)}
.drawing .coming{stroke-width:.2;stroke-dasharray:1.6 1}
.drawing .hidden{stroke-width:.15;stroke-dasharray:.9 .7}
.drawing .brace{stroke-width:.2}
.drawing .dimension{stroke-width:.15}
.drawing .grid{stroke-width:.15}
.drawing polyline.grid{stroke-dasharray:5 1 1 1}
.drawing .diagonal{stroke-width:.15;stroke-dasharray:3 1}
.drawing .ground{stroke-width:.6}
.drawing text.warning{fill:var(--wrong,#c01818);font-weight:bold}
.drawing .faint{stroke-width:.12}
.drawing .new-brace{stroke-width:.45}
.drawing .swayed{stroke-width:.5}
.drawing .diagram{stroke-width:.35}
.drawing .slight{stroke-width:.15}
.drawing .half{stroke-width:.4}
.drawing .near{stroke-width:.8}
.drawing .over{stroke-width:1.3;stroke:var(--wrong,#c01818)}
.drawing text.over{fill:var(--wrong,#c01818);stroke:var(--paper,Canvas);stroke-width:.7;font-weight:bold}
.drawing a:focus *{stroke-width:.8}
@media print{.drawing{color:#000;--paper:#fff;--accent:#bbb}.drawing .over{stroke:#000}.drawing text.over{fill:#000;stroke:#fff}}
`

// SVG writes a sheet as one SVG 1.1 document that can also stand inside an HTML page. It scales to the
// width it is given. Numbers are written to a hundredth of a millimetre, always in the same form, so
// that equal sheets give equal bytes. Items that follow one another with the same link become one link
// to "#" and that mark. Texts are escaped; characters that XML cannot hold become U+FFFD.
func SVG(s *Sheet) []byte {
	var out bytes.Buffer
	out.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="group" viewBox="0 0 `)
	out.WriteString(num(s.WidthMM) + " " + num(s.HeightMM))
	out.WriteString("\" width=\"100%\">\n<title>" + escape(s.Title) + "</title>\n<desc>" + escape(s.Desc) + "</desc>\n")
	out.WriteString("<style>\n" + style + "</style>\n")
	link := ""
	for _, item := range s.Items {
		if item.Link != link {
			if link != "" {
				out.WriteString("</a>\n")
			}
			if link = item.Link; link != "" {
				out.WriteString(`<a href="#` + escape(url.PathEscape(link)) + "\">\n")
			}
		}
		write(&out, item)
	}
	if link != "" {
		out.WriteString("</a>\n")
	}
	out.WriteString("</svg>\n")
	return out.Bytes()
}

// write adds the element of one item.
func write(out *bytes.Buffer, i Item) {
	class := i.Class.name()
	switch i.Shape {
	case Polyline:
		out.WriteString(`<polyline class="` + class + `" points="` + points(i.Points) + "\"/>\n")
	case Polygon:
		out.WriteString(`<polygon class="` + class + `" points="` + points(i.Points) + "\"/>\n")
	case Bare:
		out.WriteString(`<polygon class="` + class + ` bare" points="` + points(i.Points) + "\"/>\n")
	case Circle:
		at := i.Points[0]
		out.WriteString(`<circle class="` + class + `" cx="` + num(at.X) + `" cy="` + num(at.Y) + `" r="` + num(i.Size) + "\"/>\n")
	case Label:
		label(out, i)
	}
}

// label adds a text. Figures of the usual sans-serif faces are 0.72 of the font size high.
func label(out *bytes.Buffer, i Item) {
	at, class := i.Points[0], i.Class.name()
	switch i.Anchor {
	case Middle:
		class += " middle"
	case End:
		class += " end"
	}
	out.WriteString(`<text class="` + class + `" x="` + num(at.X) + `" y="` + num(at.Y) + `" font-size="` + num(i.Size/0.72) + `"`)
	if turn := num(-i.TurnDeg); turn != "0" {
		out.WriteString(` transform="rotate(` + turn + " " + num(at.X) + " " + num(at.Y) + `)"`)
	}
	out.WriteString(">" + escape(i.Text) + "</text>\n")
}

func points(ps []Point) string {
	var b strings.Builder
	for i, p := range ps {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(num(p.X) + "," + num(p.Y))
	}
	return b.String()
}

// num writes a number to two decimals without trailing noughts or a minus nought. What is not finite
// has no place on paper and becomes 0, so that the document stays well formed.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 2, 64), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// escape makes text fit for XML.
func escape(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n' || r == '\r':
			return ' '
		case r < 0x20, r == 0xFFFE, r == 0xFFFF:
			return '\uFFFD'
		}
		return r
	}, s))
}
