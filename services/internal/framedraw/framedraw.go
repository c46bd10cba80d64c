// Package framedraw draws frames: the plan, the elevation of each bent and of each wall, the whole
// frame in axonometric view, one move of its raising, and the floor on which it is laid out. Every
// stick is a link to its mark and every sheet ends in one line that says of which frame it is.
package framedraw

import (
	"fmt"
	"math"
	"strings"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
)

// Block is what the last line of a sheet says beside the frame's title, the view and the digest.
type Block struct {
	// Job is the title of the job; empty to leave it out.
	Job string
	// Revision is the number of the frame revision; 0 for a frame that was not issued.
	Revision int
	// Latest is the newest revision; a greater number than Revision is said at the top of the sheet.
	Latest int
	// Engine is the version of the engine that drew the sheet.
	Engine string
}

// The paper is 17 by 11 inches, ANSI B of ASME Y14.1; a frame that is too long for it at the smallest
// scale in use gets a longer sheet of the same kind.
const (
	paperWidthMM  = 431.8
	paperHeightMM = 279.4
	borderMM      = 8.0
	blockMM       = 9.0
	longestMM     = 12_000.0
)

// Heights of letters on paper.
const (
	markMM      = 2.1
	smallMM     = 1.3
	dimensionMM = 2.2
	gridMM      = 2.8
	titleMM     = 2.4
	bubbleMM    = 4.2
)

// scales are the denominators in use for framing drawings, 1" = 1'-0" down to 1/8" = 1'-0".
var scales = [...]float64{12, 16, 24, 32, 48, 64, 72, 96}

// span is an upright rectangle.
type span struct{ lo, hi drawing.Point }

func emptySpan() span {
	inf := math.Inf(1)
	return span{lo: drawing.P(inf, inf), hi: drawing.P(-inf, -inf)}
}

// include widens the rectangle so that it holds a point.
func (s *span) include(x, y float64) {
	s.lo = drawing.P(min(s.lo.X, x), min(s.lo.Y, y))
	s.hi = drawing.P(max(s.hi.X, x), max(s.hi.Y, y))
}

func (s span) width() float64  { return s.hi.X - s.lo.X }
func (s span) height() float64 { return s.hi.Y - s.lo.Y }

// margin is the room on paper around the model for dimensions and bubbles.
type margin struct{ left, right, top, bottom float64 }

// page is a sheet in the making: the paper, the scale, and the room that texts have taken.
type page struct {
	*drawing.Sheet
	view   drawing.View
	model  span
	placer *placer
	note   string
}

// newPage lays a part of the model plane on paper. With toScale it takes the largest scale in use that
// fits and lengthens the sheet below the smallest; otherwise it fills the paper.
func newPage(model span, room margin, toScale bool) *page {
	room.left += borderMM
	room.right += borderMM
	room.top += borderMM
	room.bottom += borderMM + blockMM
	w, h := max(model.width(), 1), max(model.height(), 1)
	freeW, freeH := paperWidthMM-room.left-room.right, paperHeightMM-room.top-room.bottom
	fit := min(freeW/w, freeH/h)
	p := &page{model: model, placer: newPlacer(), note: "not to scale"}
	p.Sheet = &drawing.Sheet{WidthMM: paperWidthMM, HeightMM: paperHeightMM}
	scale := max(fit, min(1.0/128, longestMM/max(w, h)))
	if toScale {
		scale = 1.0 / 96
		for _, d := range scales {
			if 1/d <= fit {
				scale = 1 / d
				break
			}
		}
		scale = min(scale, longestMM/max(w, h))
		p.note = scaleNote(scale)
	}
	p.WidthMM = max(p.WidthMM, w*scale+room.left+room.right)
	p.HeightMM = max(p.HeightMM, h*scale+room.top+room.bottom)
	if p.WidthMM != paperWidthMM || p.HeightMM != paperHeightMM {
		p.note += fmt.Sprintf(" on a sheet %.0f by %.0f in", p.WidthMM/25.4, p.HeightMM/25.4)
	} else if toScale {
		p.note += " on 17 by 11 in"
	}
	spareX := (p.WidthMM - room.left - room.right - w*scale) / 2
	spareY := (p.HeightMM - room.top - room.bottom - h*scale) / 2
	p.view = drawing.View{Scale: scale, Origin: drawing.P(
		room.left+spareX-model.lo.X*scale,
		room.top+spareY+model.hi.Y*scale)}
	return p
}

// scaleNote says a scale as it is written on a drawing.
func scaleNote(scale float64) string {
	names := map[float64]string{12: `1"`, 16: `3/4"`, 24: `1/2"`, 32: `3/8"`, 48: `1/4"`, 64: `3/16"`, 72: `1/6"`, 96: `1/8"`}
	if name, ok := names[math.Round(1/scale)]; ok {
		return name + " = 1'-0\""
	}
	return fmt.Sprintf("1 : %.0f", 1/scale)
}

// finish names the sheet, rules its last line and hands it over.
func (p *page) finish(f *frame.Frame, b Block, view, desc string) *drawing.Sheet {
	p.Title = f.Title() + ": " + view
	p.Desc = desc
	y := p.HeightMM - borderMM - blockMM/2
	p.Line(drawing.TitleBlock, drawing.P(borderMM, y-blockMM/2), drawing.P(p.WidthMM-borderMM, y-blockMM/2))
	text := strings.Join(blockWords(f, b, view, p.note), " · ")
	room := p.WidthMM - 2*borderMM
	size := min(titleMM, titleMM*room/max(drawing.TextWidth(text, titleMM), 1))
	p.Text(drawing.Item{Class: drawing.TitleBlock, Size: size, Anchor: drawing.Start, Text: text}, drawing.P(borderMM, y))
	if b.Latest > b.Revision && b.Revision > 0 {
		warning := fmt.Sprintf("! Not the newest frame: revision %d has been issued since this revision %d.", b.Latest, b.Revision)
		p.Text(drawing.Item{Class: drawing.Warning, Size: gridMM, Anchor: drawing.Start, Text: warning}, drawing.P(borderMM, borderMM))
	}
	return p.Sheet
}

// blockWords are the parts of a sheet's last line. A frame that has the title of its job is named once.
func blockWords(f *frame.Frame, b Block, view, scale string) []string {
	var words []string
	if b.Job != "" && b.Job != f.Title() {
		words = append(words, b.Job)
	}
	words = append(words, f.Title(), view)
	if b.Revision > 0 {
		words = append(words, fmt.Sprintf("revision %d", b.Revision))
	} else {
		words = append(words, "not issued")
	}
	words = append(words, f.Digest()[:8])
	if b.Engine != "" {
		words = append(words, "engine "+b.Engine)
	}
	return append(words, scale)
}
