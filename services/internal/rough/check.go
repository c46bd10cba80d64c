package rough

import (
	"fmt"
	"math"
	"unicode"
	"unicode/utf8"

	"github.com/pikepole/pikepole/services/internal/wood"
)

// Ranges of the numbers. Each is far beyond what is usual, and says only what the geometry was tried with.
const (
	minBents, maxBents         = 2, 200
	minBayMM, maxBayMM         = 1200, 9000
	minSpanMM, maxSpanMM       = 2400, 15_000
	minHeightMM, maxHeightMM   = 1500, 8000
	minPitchDeg, maxPitchDeg   = 20, 60
	maxPurlins                 = 6
	minLegMM, maxLegMM         = 300, 2500
	minNominalIn, maxNominalIn = 4, 24
	maxTitle, maxGrade         = 200, 100
	// clearMM is the least clear distance between neighbouring shoulders.
	clearMM = 50
	// headroomMM is the least length of post that stays free below a brace.
	headroomMM = 150
)

func (c *check) between(field string, v, low, high float64, unit string) {
	if !(v >= low && v <= high) {
		c.fault(field, "The value %v is not between %v and %v %s; put it right.", v, low, high, unit)
	}
}

// ranges checks each number by itself.
func (c *check) ranges(k King) {
	c.text("title", k.Title, maxTitle)
	c.text("grade", k.Grade, maxGrade)
	c.between("bent_count", float64(k.BentCount), minBents, maxBents, "bents")
	if n := len(k.BaySpacingsMM); n != 1 && n != k.BentCount-1 {
		c.fault("bay_spacings_mm", "There are %d bay spacings for %d bays; give one for all bays or one for each.", n, max(0, k.BentCount-1))
	}
	for i, s := range k.BaySpacingsMM {
		if i >= maxBents {
			break
		}
		c.between(fmt.Sprintf("bay_spacings_mm[%d]", i), s, minBayMM, maxBayMM, "mm")
	}
	c.between("span_mm", k.SpanMM, minSpanMM, maxSpanMM, "mm")
	c.between("post_height_mm", k.PostHeightMM, minHeightMM, maxHeightMM, "mm")
	c.between("roof_pitch_deg", k.RoofPitchDeg, minPitchDeg, maxPitchDeg, "degrees")
	c.between("purlins_per_slope", float64(k.PurlinsPerSlope), 0, maxPurlins, "purlins")
	c.between("girt_drop_mm", k.GirtDropMM, 0, maxHeightMM, "mm")
	if k.BraceLegMM != 0 {
		c.between("brace_leg_mm", k.BraceLegMM, minLegMM, maxLegMM, "mm, or 0 for no braces")
	}
	if _, known := wood.Lookup(k.Species); !known {
		c.fault("species", "The species is not known, so the weight is not either; use one of %s.", wood.KeyList())
	}
	if !(k.MoisturePercent > 0 && k.MoisturePercent <= wood.MaxMoisturePercent) {
		c.fault("moisture_percent", "The moisture content %v is not above 0 and at most %d percent; give what the mill says.", k.MoisturePercent, wood.MaxMoisturePercent)
	}
}

func (c *check) text(field, s string, most int) {
	bad := !utf8.ValidString(s) || utf8.RuneCountInString(s) > most
	for _, r := range s {
		bad = bad || !unicode.IsPrint(r)
	}
	if bad {
		c.fault(field, "The text is longer than %d characters or holds characters that cannot be printed; shorten or clean it.", most)
	}
}

// fits checks that the numbers go together.
func (c *check) fits(k King, p planned) {
	if p.rafterMM() < 4*p.rafter.DepthMM || p.foot.u+p.rafter.DepthMM/2/p.sin > k.SpanMM/2 {
		c.fault("span_mm", "The span %v mm leaves no room for rafters of this depth at this pitch; make it wider, the pitch steeper or the rafters shallower.", k.SpanMM)
		return
	}
	if p.head.z-p.rafter.DepthMM/2/p.cos < p.tieTop+clearMM || p.ridgeZ-p.ridge.DepthMM/2 < p.tieTop+clearMM {
		c.fault("roof_pitch_deg", "The truss is too low for its rafters and ridge beam; make the pitch steeper, the span wider or the sections smaller.")
		return
	}
	c.fitsBraces(k, p)
	c.fitsGirts(k, p)
	c.fitsPurlins(k, p)
	if k.Struts {
		c.fitsStruts(p)
	}
}

func (c *check) fitsBraces(k King, p planned) {
	if k.BraceLegMM == 0 {
		if k.WallBraces {
			c.fault("wall_braces", "Wall braces need the length of their legs; give brace_leg_mm, or leave them out.")
		}
		return
	}
	leg, half := k.BraceLegMM, p.brace.DepthMM*math.Sqrt2/2
	switch {
	case leg < half+clearMM/2:
		c.fault("brace_leg_mm", "The leg is too short for braces %.0f mm deep; make it longer or the braces shallower.", p.brace.DepthMM)
	case p.post.DepthMM+leg+half+clearMM > k.SpanMM/2:
		c.fault("brace_leg_mm", "The braces of a bent meet at the middle of the tie beam; make the leg shorter or the span wider.")
	case k.PostHeightMM-leg-half < headroomMM:
		c.fault("brace_leg_mm", "The braces reach down to the deck; make the leg shorter or the posts taller.")
	}
	if !k.WallBraces {
		return
	}
	if p.beamBottom-leg-half < headroomMM {
		c.fault("brace_leg_mm", "The wall braces reach down to the deck; make the leg shorter, the girts higher or the posts taller.")
	}
	for i, clear := range p.clearBays() {
		if clear < 2*(leg+half)+clearMM {
			c.fault(fmt.Sprintf("bay_spacings_mm[%d]", min(i, len(k.BaySpacingsMM)-1)), "The wall braces of the bay meet; make the bay wider or the leg shorter.")
		}
	}
}

func (c *check) fitsGirts(k King, p planned) {
	if p.beamBottom < headroomMM {
		c.fault("girt_drop_mm", "The girts lie on the deck; make the drop smaller.")
	}
	if k.BraceLegMM == 0 {
		return
	}
	// A bent's brace and a girt share the post; their mortises must not meet.
	low, high := k.PostHeightMM-k.BraceLegMM-p.brace.DepthMM*math.Sqrt2/2, k.PostHeightMM-k.BraceLegMM+p.brace.DepthMM*math.Sqrt2/2
	if k.GirtDropMM > 0 && p.beamBottom < high && p.beamBottom+p.beam.DepthMM > low {
		c.fault("girt_drop_mm", "The girts meet the posts where the braces of the bents do; lower or raise them, or change brace_leg_mm.")
	}
}

func (c *check) fitsPurlins(k King, p planned) {
	if k.PurlinsPerSlope == 0 {
		return
	}
	step, w, d := p.rafterMM()/float64(k.PurlinsPerSlope+1), p.purlin.WidthMM, p.purlin.DepthMM
	aboveTie := (step-w/2)*p.sin + (p.rafter.DepthMM/2-d)*p.cos
	offKing := (step-w/2)*p.cos - math.Max(0, d-p.rafter.DepthMM/2)*p.sin
	if step < w+clearMM || aboveTie < clearMM/2 || offKing < clearMM/2 {
		c.fault("purlins_per_slope", "The rafters are too short for %d purlins of this section; use fewer or smaller ones.", k.PurlinsPerSlope)
	}
}

func (c *check) fitsStruts(p planned) {
	s := p.strut
	length := math.Hypot(p.strutHead.u-p.strutFoot.u, p.strutHead.z-p.strutFoot.z)
	footTop := p.strutFoot.z + s.DepthMM/2/math.Cos(p.strutRad)
	headHalf := s.DepthMM / 2 / math.Sin(p.strutRad+p.pitch)
	fromHead := (p.strutHead.u-p.head.u)/p.cos - p.rafter.DepthMM/2*p.sin/p.cos
	if p.strutHead.u <= p.strutFoot.u || length < 2*s.DepthMM ||
		footTop+clearMM > p.head.z-p.rafter.DepthMM/2/p.cos || fromHead < headHalf+clearMM {
		c.fault("struts", "The truss has no room for struts; leave them out, or make the span wider, the pitch steeper or the sections smaller.")
	}
}
