// Package chart reads a crane's rated capacity from its chart and knows the geometry of its boom. A
// rating is never interpolated: in doubt the smaller of the neighbouring ones counts, and outside the
// chart there is none. The chart that the crane carries always governs.
package chart

import (
	"fmt"
	"math"
	"sort"
)

// Row is one rating.
type Row struct {
	// BoomLengthMM is the length of the boom, in millimetres.
	BoomLengthMM float64
	// RadiusMM is the level distance from the center of rotation to the center of gravity of the
	// hanging load, in millimetres.
	RadiusMM float64
	// RatedKG is the gross rated capacity, in kilograms; hook block and rigging count as load.
	RatedKG float64
}

// Fault is one thing that is wrong with the rows of a chart.
type Fault struct {
	// Row is the place of the row in the list, from 0.
	Row int
	// Field is boom_length_mm, radius_mm or rated_kg.
	Field string
	// Message says what is wrong and what to do.
	Message string
}

// MaxRows is how many ratings a chart may have.
const MaxRows = 5000

// The largest values that a row may hold; beyond them the unit is mistaken.
const (
	maxLengthMM = 200_000
	maxRatedKG  = 5_000_000
)

// Chart holds checked ratings.
type Chart struct {
	booms []boom
}

type boom struct {
	lengthMM float64
	rows     []Row
}

// Parse checks rows and makes a chart of them, or gives every fault. Rows stand by boom length, and
// within a boom length by radius, both growing. A rating never grows with the radius. A boom length has
// no hole: between its own least and largest radius it has every radius that the chart lists.
func Parse(rows []Row) (*Chart, []Fault) {
	if len(rows) == 0 {
		return nil, []Fault{{Row: -1, Message: "a chart needs at least one rating"}}
	}
	if len(rows) > MaxRows {
		return nil, []Fault{{Row: -1, Message: fmt.Sprintf("a chart holds at most %d ratings; this one has %d", MaxRows, len(rows))}}
	}
	var faults []Fault
	for i, r := range rows {
		faults = append(faults, checkValues(i, r)...)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	for i := 1; i < len(rows); i++ {
		faults = append(faults, checkOrder(i, rows[i-1], rows[i])...)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	c := &Chart{}
	for i, r := range rows {
		if i == 0 || rows[i-1].BoomLengthMM != r.BoomLengthMM {
			c.booms = append(c.booms, boom{lengthMM: r.BoomLengthMM})
		}
		last := &c.booms[len(c.booms)-1]
		last.rows = append(last.rows, r)
	}
	if faults := c.holes(rows); len(faults) > 0 {
		return nil, faults
	}
	return c, nil
}

func checkValues(i int, r Row) []Fault {
	var faults []Fault
	check := func(field string, value, most float64, unit string) {
		if !(value > 0) || value > most {
			faults = append(faults, Fault{i, field, fmt.Sprintf("has to be above 0 and at most %.0f %s", most, unit)})
		}
	}
	check("boom_length_mm", r.BoomLengthMM, maxLengthMM, "mm")
	check("radius_mm", r.RadiusMM, maxLengthMM, "mm")
	check("rated_kg", r.RatedKG, maxRatedKG, "kg")
	return faults
}

func checkOrder(i int, before, r Row) []Fault {
	switch {
	case r.BoomLengthMM < before.BoomLengthMM:
		return []Fault{{i, "boom_length_mm", fmt.Sprintf("%.0f mm follows %.0f mm; list the rows by growing boom length", r.BoomLengthMM, before.BoomLengthMM)}}
	case r.BoomLengthMM > before.BoomLengthMM:
		return nil
	case r.RadiusMM <= before.RadiusMM:
		return []Fault{{i, "radius_mm", fmt.Sprintf("%.0f mm follows %.0f mm; list the rows of a boom length by growing radius, each once", r.RadiusMM, before.RadiusMM)}}
	case r.RatedKG > before.RatedKG:
		return []Fault{{i, "rated_kg", fmt.Sprintf("%.0f kg at %.0f mm is more than %.0f kg at %.0f mm; a rating does not grow with the radius, so read the chart again", r.RatedKG, r.RadiusMM, before.RatedKG, before.RadiusMM)}}
	}
	return nil
}

// holes finds radii that the chart lists and a boom length leaves out between its own.
func (c *Chart) holes(rows []Row) []Fault {
	listed := map[float64]bool{}
	for _, r := range rows {
		listed[r.RadiusMM] = true
	}
	radii := make([]float64, 0, len(listed))
	for r := range listed {
		radii = append(radii, r)
	}
	sort.Float64s(radii)
	var faults []Fault
	at := 0
	for _, b := range c.booms {
		next := sort.SearchFloat64s(radii, b.rows[0].RadiusMM)
		for _, r := range b.rows {
			for radii[next] < r.RadiusMM {
				faults = append(faults, Fault{at, "radius_mm", fmt.Sprintf(
					"the boom of %.0f mm has no rating at %.0f mm before this row, though the chart lists that radius; put it in", b.lengthMM, radii[next])})
				next++
			}
			next++
			at++
		}
	}
	return faults
}

// Side says on which side of a chart a question fell.
type Side int

// The sides of a chart.
const (
	// BelowLeastRadius is nearer than the first radius of the boom.
	BelowLeastRadius Side = iota + 1
	// BeyondRadius is farther than the last radius of the boom.
	BeyondRadius
	// BoomTooShort is a boom shorter than the shortest in the chart.
	BoomTooShort
	// BoomTooLong is a boom longer than the longest in the chart.
	BoomTooLong
)

// Outside is the error of a question that the chart does not answer.
type Outside struct {
	// Side is where the question fell.
	Side Side
	// AskedMM is the radius or boom length that was asked for, in millimetres.
	AskedMM float64
	// EdgeMM is where the chart ends on that side, in millimetres.
	EdgeMM float64
}

// Error says where the question fell, with both figures.
func (o *Outside) Error() string {
	switch o.Side {
	case BelowLeastRadius:
		return fmt.Sprintf("a radius of %.0f mm is less than the chart's least of %.0f mm", o.AskedMM, o.EdgeMM)
	case BeyondRadius:
		return fmt.Sprintf("a radius of %.0f mm is beyond the chart's last of %.0f mm", o.AskedMM, o.EdgeMM)
	case BoomTooShort:
		return fmt.Sprintf("a boom of %.0f mm is shorter than the chart's shortest of %.0f mm", o.AskedMM, o.EdgeMM)
	}
	return fmt.Sprintf("a boom of %.0f mm is longer than the chart's longest of %.0f mm", o.AskedMM, o.EdgeMM)
}

// Read gives the rating that counts for a boom length and a radius: at the next longer listed radius
// the smaller of the ratings of the two listed boom lengths around the one asked for. Published chart
// notes differ (smaller of the two; next longer boom; next longer radius), and this reading is safe
// under all of them (notes of US Army crane manuals TM 5-3810-305-10 and -306-10, and of a provincial
// crane safety authority). Outside the chart the error is an *Outside.
func (c *Chart) Read(boomMM, radiusMM float64) (Row, error) {
	shortest, longest := c.booms[0].lengthMM, c.booms[len(c.booms)-1].lengthMM
	if !(boomMM >= shortest) {
		return Row{}, &Outside{BoomTooShort, boomMM, shortest}
	}
	if boomMM > longest {
		return Row{}, &Outside{BoomTooLong, boomMM, longest}
	}
	i := sort.Search(len(c.booms), func(i int) bool { return c.booms[i].lengthMM >= boomMM })
	row, err := c.booms[i].read(radiusMM)
	if err != nil || c.booms[i].lengthMM == boomMM {
		return row, err
	}
	shorter, err := c.booms[i-1].read(radiusMM)
	if err != nil {
		return Row{}, err
	}
	if shorter.RatedKG < row.RatedKG {
		return shorter, nil
	}
	return row, nil
}

// read gives the row of the next longer radius.
func (b boom) read(radiusMM float64) (Row, error) {
	least, last := b.rows[0].RadiusMM, b.rows[len(b.rows)-1].RadiusMM
	if !(radiusMM >= least) {
		return Row{}, &Outside{BelowLeastRadius, radiusMM, least}
	}
	if math.IsInf(radiusMM, 1) || radiusMM > last {
		return Row{}, &Outside{BeyondRadius, radiusMM, last}
	}
	i := sort.Search(len(b.rows), func(i int) bool { return b.rows[i].RadiusMM >= radiusMM })
	return b.rows[i], nil
}
