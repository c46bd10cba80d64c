package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/drawing"
)

func small() *drawing.Sheet {
	s := &drawing.Sheet{WidthMM: 100, HeightMM: 50.5, Title: "A & B", Desc: "two <sticks>"}
	s.Line(drawing.Dimension, drawing.P(0, 0), drawing.P(10, -0.001), drawing.P(1.0/3, 2))
	s.Fill(drawing.Outline, "P 1", []drawing.Point{{X: 1, Y: 1}, {X: 2, Y: 1}, {X: 2, Y: 9}})
	s.Text(drawing.Item{Class: drawing.CenterMark, Size: 1.8, TurnDeg: 90, Text: "P 1", Link: "P 1"}, drawing.P(5, 6))
	s.Frame(drawing.Hidden, "", []drawing.Point{{X: 1, Y: 1}, {X: 2, Y: 1}, {X: 2, Y: 9}})
	s.Ring(drawing.Grid, drawing.P(20, 20), 4)
	s.Text(drawing.Item{Class: drawing.TitleBlock, Size: 1.8, Anchor: drawing.End, Text: "<end>\x00"}, drawing.P(99, math.NaN()))
	return s
}

func TestSVG(t *testing.T) {
	t.Parallel()
	got := string(drawing.SVG(small()))
	head, rest, _ := strings.Cut(got, "<style>\n")
	_, body, _ := strings.Cut(rest, "</style>\n")
	want := `<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="group" viewBox="0 0 100 50.5" width="100%">
<title>A &amp; B</title>
<desc>two &lt;sticks&gt;</desc>
<polyline class="dimension" points="0,0 10,0 0.33,2"/>
<a href="#P%201">
<polygon class="outline" points="1,1 2,1 2,9"/>
<text class="mark middle" x="5" y="6" font-size="2.5" transform="rotate(-90 5 6)">P 1</text>
</a>
<polygon class="hidden bare" points="1,1 2,1 2,9"/>
<circle class="grid" cx="20" cy="20" r="4"/>
<text class="title end" x="99" y="0" font-size="2.5">&lt;end&gt;` + "\uFFFD" + `</text>
</svg>
`
	if diff := cmp.Diff(want, head+body); diff != "" {
		t.Errorf("SVG (-want +got):\n%s", diff)
	}
	if !bytes.Equal(drawing.SVG(small()), []byte(got)) {
		t.Error("the same sheet gave other bytes the second time")
	}
}

func TestLastLinkIsClosed(t *testing.T) {
	t.Parallel()
	s := &drawing.Sheet{}
	s.Fill(drawing.Moving, "A", nil)
	s.Fill(drawing.Moving, "B", nil)
	if got := string(drawing.SVG(s)); strings.Count(got, "<a ") != 2 || strings.Count(got, "</a>") != 2 {
		t.Errorf("links are not closed one by one:\n%s", got)
	}
}

// Any words whatever, in titles, texts and links, leave the document well formed and come back.
func TestSVGHoldsAnyText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.String().Draw(t, "words")
		s := &drawing.Sheet{WidthMM: 1, HeightMM: 1, Title: words, Desc: words}
		s.Text(drawing.Item{Text: words, Link: words}, drawing.P(0, 0))
		decoder := xml.NewDecoder(bytes.NewReader(drawing.SVG(s)))
		for {
			token, err := decoder.Token()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				t.Fatalf("not well formed with %q: %v", words, err)
			}
			if e, ok := token.(xml.StartElement); ok && !strings.Contains("svg title desc style a text", e.Name.Local) {
				t.Fatalf("words %q became an element %s", words, e.Name.Local)
			}
		}
	})
}
