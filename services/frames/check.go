package frames

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// mostFields bounds the wrong fields that one answer names.
const mostFields = 200

// checker gathers the wrong fields of a request, so that one answer names them all.
type checker struct {
	fields []fault.Field
	more   int
}

// wrong notes a wrong field and says what to do.
func (c *checker) wrong(path, format string, args ...any) {
	if len(c.fields) == mostFields {
		c.more++
		return
	}
	c.fields = append(c.fields, fault.Field{Path: path, Message: fmt.Sprintf(format, args...)})
}

// err is the fault that names every wrong field, or nil.
func (c *checker) err() error {
	if len(c.fields) == 0 {
		return nil
	}
	return fault.InvalidFields(overflow(c.fields, c.more))
}

// overflow ends a list of wrong fields that was cut with how many more there are.
func overflow(fields []fault.Field, more int) []fault.Field {
	if more == 0 {
		return fields
	}
	return append(fields, fault.Field{Path: fields[len(fields)-1].Path, Message: fmt.Sprintf("And %d more; put these right first.", more)})
}

// words checks a text: how many characters it has, and that none of them is a control character.
func (c *checker) words(path, text string, least, most int) {
	n := utf8.RuneCountInString(text)
	switch {
	case n < least || strings.TrimSpace(text) == "" && least > 0:
		c.wrong(path, "is empty; write at least %d characters", least)
	case n > most:
		c.wrong(path, "has %d characters; write at most %d", n, most)
	case strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		c.wrong(path, "has control characters; leave them out")
	}
}

// id checks the id of something on a site, and that it is there once.
func (c *checker) id(path, id string, seen map[string]bool) {
	switch {
	case id == "" || utf8.RuneCountInString(id) > 40:
		c.wrong(path, "must have 1 to 40 characters")
	case strings.ContainsAny(id, "/:") || strings.ContainsFunc(id, unicode.IsControl):
		c.wrong(path, "has /, : or control characters; leave them out")
	case seen[id]:
		c.wrong(path, "%s is there twice; give each its own id", quote(id))
	}
	seen[id] = true
}

// within checks that a number is finite and lies between two bounds, both allowed.
func (c *checker) within(path string, v, least, most float64, unit string) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		c.wrong(path, "is not a finite number")
	case v < least || v > most:
		c.wrong(path, "is %g; it must lie between %g and %g %s", v, least, most, unit)
	}
}

// farMM is how far from the origin of a frame something on its site may lie.
const farMM = 1e6

// point checks a place on a site.
func (c *checker) point(path string, p *framev1.Point) {
	if p == nil {
		c.wrong(path, "is missing; give its x_mm, y_mm and z_mm")
		return
	}
	c.within(path+".x_mm", p.XMm, -farMM, farMM, "mm")
	c.within(path+".y_mm", p.YMm, -farMM, farMM, "mm")
	c.within(path+".z_mm", p.ZMm, -farMM, farMM, "mm")
}

// mostCorners bounds the corners of an outline or the points of a line.
const mostCorners = 1000

// outline checks a closed outline: at least three corners, counter-clockwise.
func (c *checker) outline(path string, corners []*framev1.Point) {
	if !c.count(path, len(corners), mostCorners) {
		return
	}
	if len(corners) < 3 {
		c.wrong(path, "has %d corners; an outline needs at least three", len(corners))
		return
	}
	before := len(c.fields)
	twice := 0.0
	for i, p := range corners {
		c.point(fmt.Sprintf("%s[%d]", path, i), p)
		if q := corners[(i+1)%len(corners)]; p != nil && q != nil {
			twice += p.XMm*q.YMm - q.XMm*p.YMm
		}
	}
	if len(c.fields) == before && twice <= 0 {
		c.wrong(path, "does not go round an area counter-clockwise; turn the order of its corners round")
	}
}

// count checks how many of something there are.
func (c *checker) count(path string, n, most int) bool {
	if n > most {
		c.wrong(path, "has %d entries; at most %d are taken", n, most)
	}
	return n <= most
}
