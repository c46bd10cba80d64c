// Package rough makes whole frames from a few numbers, for the first days of a job when there are no
// shop drawings yet. What it makes is an ordinary frame: every stick, tenon and peg, valid by
// construction, and possible to put together. Sections, tenons and pegs follow common practice; nothing
// in it was designed for loads.
//
// A king-post frame has its bents in planes x = const. The posts' west faces (towards −X) lie on the bent lines,
// numbered from 1; their outer faces on the wall lines A (y = 0) and B (y = span). All sticks of a bent
// lie centred on one plane. Along the walls, girts or plates lie flush with the posts' outer faces; purlins and
// the ridge beam drop in last.
package rough

import (
	"fmt"

	"github.com/pikepole/pikepole/services/internal/frame"
)

// King are the few numbers of a frame with king-post bents. Lengths are millimetres.
type King struct {
	Title           string
	BentCount       int       // 2 to 200
	BaySpacingsMM   []float64 // between bent lines: one for all bays, or one for each; 1200 to 9000
	SpanMM          float64   // between the outer faces of a bent's two posts; 2400 to 15000
	PostHeightMM    float64   // from the deck to the post's top shoulder; 1500 to 8000
	RoofPitchDeg    float64   // 20 to 60
	PurlinsPerSlope int       // 0 to 6
	GirtDropMM      float64   // of the girts' tops below the posts' tops; 0 means plates instead
	BraceLegMM      float64   // along the post; 0 leaves knee braces out
	Struts          bool
	WallBraces      bool
	Sections        []Section // a role that is missing takes a default from the span
	Species, Grade  string
	MoisturePercent float64
	Planed          bool // finished section half an inch below nominal; else full
}

// Section is the nominal section of all timbers of one role.
type Section struct {
	// Role is the role's name in the frame model, such as ROLE_POST.
	Role string
	// NominalWidthIn and NominalDepthIn are inches, 4 to 24.
	NominalWidthIn, NominalDepthIn float64
}

// Make makes the frame. When the numbers do not go together the error is a *frame.Faults whose
// fields name those of the rough frame, such as rough.span_mm. What it makes passes frame.Parse.
func Make(k King) (frame.Draft, error) {
	c := &check{}
	c.ranges(k)
	sizes := c.sizes(k)
	if len(c.faults) > 0 {
		return frame.Draft{}, &frame.Faults{Faults: c.faults}
	}
	p := plan(k, sizes)
	c.fits(k, p)
	if len(c.faults) > 0 {
		return frame.Draft{}, &frame.Faults{Faults: c.faults}
	}
	b := &builder{k: k, p: p, index: make(map[string]int)}
	b.grid()
	for bent := range p.x {
		b.bent(bent)
	}
	for bay := range len(p.x) - 1 {
		b.walls(bay)
		b.roof(bay)
	}
	return b.d, nil
}

// check collects what is wrong with the numbers.
type check struct {
	faults []frame.Finding
}

func (c *check) fault(field, format string, args ...any) {
	c.faults = append(c.faults, frame.Finding{Field: "rough." + field, Message: fmt.Sprintf(format, args...)})
}
