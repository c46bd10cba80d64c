package framedraw

import (
	"fmt"
	"math"
	"strings"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/platform/units"
)

// Room on paper for the words of a state, and the height of their letters.
const (
	verdictMM     = 22.0
	verdictHighMM = 3.6
	legendMM      = 20.0
	wordMM        = 2.9
	// The ids of braces are looked for first.
	braceWordMM = 3.7
	sampleMM    = 10.0
)

// legendWidth is how much wider than the estimate words in small letters may run, so that no sample of a legend stands on
// the words before it in a wide face.
const legendWidth = 1.25

// boldWidth is how much wider than the estimate bold letters may run.
const boldWidth = 1.35

// mostVerdictLines bounds the sentence at the top of a sheet.
const mostVerdictLines = 3

// standWords writes the ids, shares, verdict, legend and cautions of a state.
func (p *Picture) standWords(page *page, v *StandView, done painted) {
	switch v.Show {
	case ShowBraces:
		p.braceIDs(page, v)
		fresh := indexSet(v.Fresh)
		p.inscribe(page, done, wordMM, func(i int) bool { return fresh[i] })
	case ShowAxial:
		p.braceIDs(page, v)
	case ShowUse:
		p.shares(page, v, done)
		p.braceIDs(page, v)
	}
	page.verdict(v)
	page.legend(v, p)
}

// braceIDs writes beside each brace its id and, where one is shown, its force or its share. Ids of braces that are set in
// this move are written first, so that they have room.
func (p *Picture) braceIDs(page *page, v *StandView) {
	for _, fresh := range [2]bool{true, false} {
		for _, b := range v.Braces {
			if b.New != fresh || b.ID == "" {
				continue
			}
			item := drawing.Item{Class: drawing.CenterMark, Text: b.ID}
			switch {
			case v.Show == ShowAxial:
				item.Text = strings.TrimSpace(b.ID + " " + forceText(b.AxialN, ShowAxial))
			case v.Show == ShowUse:
				item.Text += " " + shareText(b.Use)
				if b.Use > fullUse {
					item.Class = drawing.Over
				}
			}
			a, c := page.spot(p.eye, b.Foot), page.spot(p.eye, b.Top)
			covered := func([]drawing.Point) bool { return false }
			page.letter(item, a, c, braceWordMM, covered)
		}
	}
}

// shares writes beside each stick how much of its capacity it uses, the ones that use most first.
func (p *Picture) shares(page *page, v *StandView, done painted) {
	for _, heavy := range [2]bool{true, false} {
		for _, i := range done.sticks {
			share := v.use(i)
			if (share >= nearUse) != heavy || share < 0.005 {
				continue
			}
			item := drawing.Item{Class: drawing.CenterMark, Text: shareText(share), Link: p.shapes[i].mark}
			if share > fullUse {
				item.Class = drawing.Over
			}
			a, b, width := page.midline(&p.shapes[i], p.eye)
			if width == 0 {
				continue
			}
			mine := int32(done.rank[i])
			page.letter(item, a, b, wordMM, func(room []drawing.Point) bool {
				return !heavy && done.rings.coveredAfter(mine, room)
			})
		}
	}
}

// shareText writes a share rounded up, so that what is over never reads as if it were at the limit.
func shareText(share float64) string {
	switch {
	case math.IsInf(share, 1):
		return "! free"
	case math.IsNaN(share):
		return "–"
	case share > fullUse:
		return fmt.Sprintf("! %.0f %%", math.Ceil(share*100-1e-9))
	}
	return fmt.Sprintf("%.0f %%", math.Ceil(max(0, share*100-1e-9)))
}

func indexSet(some []int) map[int]bool {
	set := make(map[int]bool, len(some))
	for _, i := range some {
		set[i] = true
	}
	return set
}

// broken breaks a text into lines that are no wider than the room for letters of a height.
func broken(text string, height, room float64) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && drawing.TextWidth(longer, height) > room {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// verdict writes what is to be known of the state at the top of the sheet, below the line that says that the frame is old.
func (p *page) verdict(v *StandView) {
	class, text := drawing.TitleBlock, v.Verdict
	if v.Falls {
		class, text = drawing.Warning, "! "+v.Verdict
	}
	if v.Verdict == "" {
		return
	}
	y := borderMM
	if v.Block.Latest > v.Block.Revision && v.Block.Revision > 0 {
		y += 1.6 * gridMM
	}
	lines := broken(text, verdictHighMM, (p.WidthMM-2*borderMM)/boldWidth)
	if len(lines) > mostVerdictLines {
		lines = lines[:mostVerdictLines]
		lines[mostVerdictLines-1] += " …"
	}
	for _, line := range lines {
		item := drawing.Item{Class: class, Size: verdictHighMM, Anchor: drawing.Start, Text: line}
		p.placer.take(box(line, drawing.P(borderMM, y), verdictHighMM, 0, drawing.Start))
		p.Text(item, drawing.P(borderMM, y))
		y += 1.6 * verdictHighMM
	}
}

// sample is one line of a legend: how something is drawn and what it means.
type sample struct {
	class drawing.Class
	shape drawing.Shape
	// ticked says that the sample has a brace's tick.
	ticked bool
	words  string
}

// legend writes above the last line of the sheet what the lines mean, then the cautions.
func (p *page) legend(v *StandView, picture *Picture) {
	lines := v.cautionLines()
	y := p.HeightMM - borderMM - blockMM - wordMM*1.5*float64(len(lines)) + wordMM*0.3
	for i, line := range lines {
		item := drawing.Item{Class: drawing.TitleBlock, Size: wordMM, Anchor: drawing.Start, Text: line}
		p.Text(item, drawing.P(borderMM, y+wordMM*1.5*float64(i)))
	}
	y -= 2.1 * wordMM
	if words := v.legendWords(picture); words != "" {
		p.Text(drawing.Item{Class: drawing.TitleBlock, Size: wordMM, Anchor: drawing.Start, Text: words}, drawing.P(borderMM, y))
		y -= 2.1 * wordMM
	}
	x := borderMM
	for _, s := range v.samples() {
		p.sample(s, drawing.P(x, y))
		x += sampleMM + 2 + legendWidth*drawing.TextWidth(s.words, wordMM) + 5
	}
}

// sample draws one line of a legend with its words behind it.
func (p *page) sample(s sample, at drawing.Point) {
	const half = 1.5
	switch s.shape {
	case drawing.Polyline:
		end := drawing.P(at.X+sampleMM, at.Y)
		p.Line(s.class, at, end)
		if s.ticked {
			p.tick(at, end)
		}
	default:
		ring := []drawing.Point{{X: at.X, Y: at.Y - half}, {X: at.X + sampleMM, Y: at.Y - half}, {X: at.X + sampleMM, Y: at.Y + half}, {X: at.X, Y: at.Y + half}}
		p.Items = append(p.Items, drawing.Item{Shape: s.shape, Class: s.class, Points: ring})
	}
	p.Text(drawing.Item{Class: drawing.TitleBlock, Size: wordMM, Anchor: drawing.Start, Text: s.words}, drawing.P(at.X+sampleMM+2, at.Y))
}

// samples are the lines that a view uses, with what they mean.
func (v *StandView) samples() []sample {
	var out []sample
	add := func(c drawing.Class, shape drawing.Shape, words string) {
		out = append(out, sample{class: c, shape: shape, words: words})
	}
	switch v.Show {
	case ShowBraces:
		add(drawing.Standing, drawing.Polygon, "stands")
		if len(v.Fresh) > 0 {
			add(drawing.Moving, drawing.Polygon, "came with this move")
		}
	case ShowUse:
		add(drawing.Slight, drawing.Polyline, "uses under 50 %")
		add(drawing.Half, drawing.Polyline, "50 to 80 %")
		add(drawing.Near, drawing.Polyline, "80 to 100 %")
		add(drawing.Over, drawing.Polyline, "! over what it bears")
	case ShowSway:
		add(drawing.Faint, drawing.Polygon, "where it stands")
		if v.Free {
			add(drawing.Swayed, drawing.Polyline, "where it moves to")
		} else {
			add(drawing.Swayed, drawing.Polyline, "where it sways to, exaggerated")
		}
	default:
		add(drawing.Faint, drawing.Polygon, "stands")
		add(drawing.Diagram, drawing.Polyline, "the value along it")
	}
	if len(v.Coming) > 0 {
		add(drawing.Coming, drawing.Bare, "is to come")
	}
	old, fresh := 0, 0
	for _, b := range v.Braces {
		if b.New {
			fresh++
		} else {
			old++
		}
	}
	switch {
	case v.Show == ShowUse || old+fresh == 0:
	case v.Show != ShowBraces:
		out = append(out, sample{class: drawing.Brace, ticked: true, words: "temporary brace, tick at its foot"})
	default:
		if old > 0 {
			out = append(out, sample{class: drawing.Brace, ticked: true, words: "temporary brace, tick at its foot"})
		}
		if fresh > 0 {
			out = append(out, sample{class: drawing.NewBrace, ticked: true, words: "brace to set with this move"})
		}
	}
	return out
}

// legendWords say what is drawn over the sticks, in which unit and how large.
func (v *StandView) legendWords(p *Picture) string {
	var words string
	most, stick := largestForce(v)
	switch v.Show {
	case ShowSway:
		if v.Free {
			words = "How it moves freely; how far says nothing."
			break
		}
		words = fmt.Sprintf("Sway drawn %g times as large as it is; the largest is %s.", v.Factor, units.Inches(largestMove(v)))
	case ShowBending:
		words = "Bending in lb·ft, drawn square to each stick; at each the largest."
		if stick >= 0 {
			words += fmt.Sprintf(" The largest of all is %s at %s.", count(most/nmPerFootPound), p.shapes[stick].mark)
		}
	case ShowAxial:
		words = "Force along each stick and brace in lbf, + for pull, − for push; at each the largest."
		if stick >= 0 {
			words += fmt.Sprintf(" The largest of all sticks is %s at %s.", count(units.PoundsForceFromN(most)), p.shapes[stick].mark)
		}
	case ShowUse:
		words = "Line weight is the largest share of what a stick with its joints, or a brace with its fastenings, bears in any combination."
	}
	if v.Case != "" && v.Show != ShowBraces {
		words = strings.TrimSpace(words + " Drawn: " + strings.TrimSuffix(v.Case, ".") + ".")
	}
	return words
}

// cautionLines are the cautions broken into lines of the shortest paper.
func (v *StandView) cautionLines() []string {
	if len(v.Cautions) == 0 {
		return nil
	}
	return broken("! "+strings.Join(v.Cautions, " "), wordMM, (paperWidthMM-2*borderMM)/legendWidth)
}

// description says what is to be seen, for people who cannot see it.
func (v *StandView) description() string {
	words := fmt.Sprintf("%d sticks stand, %d of them came with this move; %d are still to come, dashed; %d temporary braces.",
		len(v.Standing)+len(v.Fresh), len(v.Fresh), len(v.Coming), len(v.Braces))
	switch v.Show {
	case ShowSway:
		if v.Free {
			words += " How it moves freely is drawn."
			break
		}
		words += fmt.Sprintf(" Sway is drawn %g times as large as it is.", v.Factor)
	case ShowBending:
		words += " Bending is drawn along the sticks."
	case ShowAxial:
		words += " The force along each stick and brace is drawn."
	case ShowUse:
		words += " Line weight says how much of its capacity each stick uses."
	}
	if v.Verdict != "" {
		words += " " + v.Verdict
	}
	return words
}
