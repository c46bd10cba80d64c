package brace

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/wood"
)

const (
	footMM = 12 * wood.InchMM
	// lumberMoisture is the moisture content in percent of lumber that lies outdoors: the wettest that still counts as dry.
	lumberMoisture = 19
	// wetJoint is the wet service factor on fasteners that are driven into green timber.
	wetJoint = 0.7
)

// DefaultStock is what most yards have, for reading: 2x4 and 2x6 in pairs, 4x4, single 2x6 for short or pulling braces, three 2x6 for long ones, all
// Spruce-Pine-Fir No. 2 of 8 to 20 feet, as many as wanted. Fastenings and anchors are at the low end of what was
// remembered, in green timber of the lightest kind; confirm every one before anybody stands under it.
func DefaultStock() Stock {
	return Stock{
		Lumber: []Lumber{
			lumber("2x4-2", "pair of 2x4", 3, 3.5, 2), lumber("2x6-2", "pair of 2x6", 3, 5.5, 2),
			lumber("4x4", "4x4", 3.5, 3.5, 1), lumber("2x6", "2x6", 1.5, 5.5, 1), lumber("2x6-3", "three 2x6", 4.5, 5.5, 3),
		},
		Fastenings: defaultFastenings(),
		Anchors: []Anchor{
			{
				ID: "cleat-lags", Name: "4x4 cleat across the joists, four 1/2 in lag screws 3 in into them", Ground: model.OnDeck,
				UpN: 5000, AcrossN: 2500, DownN: 15_000, GivesNPerM: 4e6,
			},
			{
				ID: "plate-bolts", Name: "deck anchor plate, two 1/2 in bolts through deck and blocking", Ground: model.OnDeck,
				UpN: 8000, AcrossN: 5000, DownN: 20_000, GivesNPerM: 8e6,
			},
			{
				ID: "screw-anchor", Name: "screw anchor, 4 ft deep in firm soil", Ground: model.OnGround,
				UpN: 4000, AcrossN: 2500, DownN: 4000, GivesNPerM: 1e6,
			},
			{
				ID: "stake", Name: "ground stake, 3 ft driven, in firm soil", Ground: model.OnGround,
				UpN: 800, AcrossN: 1500, DownN: 3000, GivesNPerM: 0.5e6,
			},
		},
	}
}

// defaultFastenings reckons nails by their formula through Spruce-Pine-Fir into eastern white pine, the lightest timber that
// is usual, driven green. Screws and slip are from memory: so are all of them.
func defaultFastenings() []Fastening {
	const side, spruce, pine = 1.5 * wood.InchMM, 0.42, 0.36
	nail := wood.CommonNail16d(side, spruce, pine).LateralN() * wetJoint
	round := func(n float64) float64 { return math.Floor(n/50) * 50 }
	return []Fastening{
		{ID: "5-16d", Name: "five 16d common nails", HoldsN: round(5 * nail), GivesNPerM: 2e6, MostThickMM: side},
		{ID: "8-16d", Name: "eight 16d common nails", HoldsN: round(8 * nail), GivesNPerM: 3e6, MostThickMM: side},
		{ID: "4-screws-6in", Name: "four structural screws, 1/4 by 6 in", HoldsN: 2400, GivesNPerM: 2.5e6, MostThickMM: 3 * wood.InchMM},
		{ID: "6-screws-8in", Name: "six structural screws, 1/4 by 8 in", HoldsN: 3600, GivesNPerM: 3.5e6, MostThickMM: 3.5 * wood.InchMM},
		{ID: "8-screws-10in", Name: "eight structural screws, 1/4 by 10 in", HoldsN: 4800, GivesNPerM: 4.5e6, MostThickMM: 4.5 * wood.InchMM},
	}
}

func lumber(id, name string, widthIn, depthIn float64, plies int) Lumber {
	l := Lumber{
		ID: id, Name: name, WidthMM: widthIn * wood.InchMM, DepthMM: depthIn * wood.InchMM, Plies: plies,
		Species: "white-spruce", Grade: "No. 2",
	}
	for ft := 8; ft <= 20; ft += 2 {
		l.LengthsMM = append(l.LengthsMM, float64(ft)*footMM)
		l.Counts = append(l.Counts, -1)
	}
	return l
}

// Design are the design values of the boards.
func (l Lumber) Design() (wood.Design, error) {
	return wood.DesignOf(l.Species, l.Grade, l.WidthMM/float64(max(1, l.Plies)), l.DepthMM, lumberMoisture)
}

// DensityKgPerM3 is the density of the boards, 1000·[G/(1 + 0.009·G·M)]·(1 + M/100) with G the gravity of their group and M the
// moisture content in percent (supplement of the national standard for wood construction); 0 for a species that is not
// known.
func (l Lumber) DensityKgPerM3() float64 {
	d, err := l.Design()
	if err != nil {
		return 0
	}
	return 1000 * d.Gravity / (1 + 0.009*d.Gravity*lumberMoisture) * (1 + lumberMoisture/100.0)
}

// KGPerM is what it weighs by length.
func (l Lumber) KGPerM() float64 { return l.DensityKgPerM3() * l.WidthMM * l.DepthMM * 1e-6 }

// LongestMM is the longest length that can be had; 0 when none is left.
func (l Lumber) LongestMM() float64 {
	most := 0.0
	for i, length := range l.LengthsMM {
		if i >= len(l.Counts) || l.Counts[i] != 0 {
			most = math.Max(most, length)
		}
	}
	return most
}

// Fits reports whether the fastening goes through the lumber.
func (f Fastening) Fits(l Lumber) bool {
	return f.MostThickMM == 0 || l.WidthMM <= f.MostThickMM+0.5
}

// HeadFor is the fastening of the stock that fits the lumber and holds most; false when none fits.
func (s Stock) HeadFor(l Lumber) (Fastening, bool) {
	best, found := Fastening{}, false
	for _, f := range s.Fastenings {
		if f.Fits(l) && (!found || f.HoldsN > best.HoldsN) {
			best, found = f, true
		}
	}
	return best, found
}

// AnchorFor is the anchor of the stock for a ground that holds most across; false when there is none.
func (s Stock) AnchorFor(g model.Ground) (Anchor, bool) {
	best, found := Anchor{}, false
	for _, a := range s.Anchors {
		if a.Ground == g && (!found || a.AcrossN > best.AcrossN) {
			best, found = a, true
		}
	}
	return best, found
}

// Fault is what is wrong with one value of a stock.
type Fault struct {
	// Field is its path, such as "lumber[2].depth_mm".
	Field string
	// Message says what it must be, going on from the path.
	Message string
}

// Bounds of what a stock may say.
const (
	mostStock           = 100
	leastMM, mostMM     = 12.0, 400.0
	leastLongMM         = 300.0
	mostLongMM          = 20_000.0
	mostHoldN           = 500_000.0
	leastGives          = 1e3
	mostGives           = 1e9
	mostPlies, mostName = 4, 120
	mostCount           = 100_000
)

// Faults finds every wrong value of the stock. Paths are those of the API; a message goes on from the path, such as
// "must be from 12 to 400 mm, not 3".
func (s Stock) Faults() []Fault {
	var c checker
	c.list("lumber", len(s.Lumber))
	c.list("fastenings", len(s.Fastenings))
	c.list("anchors", len(s.Anchors))
	seen := map[string]bool{}
	for i, l := range s.Lumber {
		c.lumber(fmt.Sprintf("lumber[%d]", i), l, seen)
	}
	seen = map[string]bool{}
	for i, f := range s.Fastenings {
		at := fmt.Sprintf("fastenings[%d]", i)
		c.named(at, f.ID, f.Name, seen)
		c.number(at+".holds_n", f.HoldsN, 0, mostHoldN, " N")
		c.number(at+".gives_n_per_m", f.GivesNPerM, leastGives, mostGives, " N/m")
		c.number(at+".most_thick_mm", f.MostThickMM, 0, mostMM, " mm")
	}
	seen = map[string]bool{}
	for i, a := range s.Anchors {
		c.anchor(fmt.Sprintf("anchors[%d]", i), a, seen)
	}
	return c.faults
}

// Check is the first fault as an error.
func (s Stock) Check() error {
	if faults := s.Faults(); len(faults) > 0 {
		return fmt.Errorf("brace stock: %s %s", faults[0].Field, faults[0].Message)
	}
	return nil
}

type checker struct{ faults []Fault }

func (c *checker) fault(field, format string, args ...any) {
	c.faults = append(c.faults, Fault{field, fmt.Sprintf(format, args...)})
}

func (c *checker) list(field string, n int) {
	if n < 1 || n > mostStock {
		c.fault(field, "must have from 1 to %d entries, not %d", mostStock, n)
	}
}

func (c *checker) number(field string, v, low, high float64, unit string) {
	if !(v >= low && v <= high) {
		c.fault(field, "must be from %s to %s%s, not %s", figure(low), figure(high), unit, figure(v))
	}
}

// figure writes a number as people do, without an exponent.
func figure(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (c *checker) text(field, s string) {
	if strings.TrimSpace(s) == "" || utf8.RuneCountInString(s) > mostName {
		c.fault(field, "must have from 1 to %d characters", mostName)
	}
}

func (c *checker) named(at, id, name string, seen map[string]bool) {
	c.text(at+".id", id)
	if seen[id] {
		c.fault(at+".id", "must be unique, but %q is used twice", id)
	}
	seen[id] = true
	c.text(at+".name", name)
}

func (c *checker) lumber(at string, l Lumber, seen map[string]bool) {
	c.named(at, l.ID, l.Name, seen)
	c.number(at+".width_mm", l.WidthMM, leastMM, mostMM, " mm")
	c.number(at+".depth_mm", l.DepthMM, leastMM, mostMM, " mm")
	c.number(at+".ply_count", float64(l.Plies), 1, mostPlies, " boards")
	c.text(at+".grade", l.Grade)
	if _, ok := wood.Lookup(l.Species); !ok {
		c.fault(at+".species", "must be one of %s, not %q", wood.KeyList(), l.Species)
	}
	if n := len(l.LengthsMM); n < 1 || n > mostStock || len(l.Counts) != n {
		c.fault(at+".lengths", "must have from 1 to %d entries, each with a count or none", mostStock)
		return
	}
	known := map[float64]bool{}
	for i, length := range l.LengthsMM {
		path := fmt.Sprintf("%s.lengths[%d]", at, i)
		c.number(path+".length_mm", length, leastLongMM, mostLongMM, " mm")
		c.number(path+".count", float64(l.Counts[i]), -1, mostCount, " pieces")
		if known[length] {
			c.fault(path+".length_mm", "must be unique, but %s mm is named twice", figure(length))
		}
		known[length] = true
	}
}

func (c *checker) anchor(at string, a Anchor, seen map[string]bool) {
	c.named(at, a.ID, a.Name, seen)
	if a.Ground != model.OnDeck && a.Ground != model.OnGround {
		c.fault(at+".ground", "must be the deck or the ground")
	}
	c.number(at+".up_n", a.UpN, 0, mostHoldN, " N")
	c.number(at+".across_n", a.AcrossN, 0, mostHoldN, " N")
	c.number(at+".down_n", a.DownN, 0, mostHoldN, " N")
	c.number(at+".gives_n_per_m", a.GivesNPerM, leastGives, mostGives, " N/m")
}
