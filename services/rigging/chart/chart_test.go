package chart_test

import (
	"errors"
	"math"
	"slices"
	"sort"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/rigging/chart"
	"github.com/pikepole/pikepole/services/rigging/internal/checkvalue"
)

// invented reads the synthetic chart of the check values; it belongs to no crane.
func invented(t *testing.T) *chart.Chart {
	t.Helper()
	var rows []chart.Row
	for _, r := range checkvalue.Read(t, "rigging_chart_reading.csv") {
		if r.Quantity == "rating listed" {
			rows = append(rows, chart.Row{BoomLengthMM: r.Inputs["boom"], RadiusMM: r.Inputs["radius"], RatedKG: r.Expected})
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].BoomLengthMM < rows[j].BoomLengthMM })
	c, faults := chart.Parse(rows)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	return c
}

func TestReadAgainstCheckValues(t *testing.T) {
	t.Parallel()
	c := invented(t)
	for _, r := range checkvalue.Read(t, "rigging_chart_reading.csv") {
		switch r.Quantity {
		case "rating read":
			row, err := c.Read(r.Inputs["boom"], r.Inputs["radius"])
			if err != nil {
				t.Errorf("%v: %v", r.Inputs, err)
			}
			r.Check(t, row.RatedKG)
		case "rating refused":
			row, err := c.Read(r.Inputs["boom"], r.Inputs["radius"])
			var outside *chart.Outside
			if !errors.As(err, &outside) {
				t.Errorf("%v: read %v outside the chart", r.Inputs, row)
			}
		}
	}
}

func TestOutsideNamesSideAndEdge(t *testing.T) {
	t.Parallel()
	c := invented(t)
	for _, tt := range []struct {
		boom, radius float64
		want         chart.Outside
		words        string
	}{
		{70, 40.1, chart.Outside{Side: chart.BeyondRadius, AskedMM: 40.1, EdgeMM: 40}, "beyond the chart's last"},
		{50, 19.9, chart.Outside{Side: chart.BelowLeastRadius, AskedMM: 19.9, EdgeMM: 20}, "less than the chart's least"},
		{71, 27, chart.Outside{Side: chart.BoomTooLong, AskedMM: 71, EdgeMM: 70}, "longer than the chart's longest"},
		{49.9, 27, chart.Outside{Side: chart.BoomTooShort, AskedMM: 49.9, EdgeMM: 50}, "shorter than the chart's shortest"},
	} {
		_, err := c.Read(tt.boom, tt.radius)
		var outside *chart.Outside
		if !errors.As(err, &outside) || *outside != tt.want || !strings.Contains(err.Error(), tt.words) {
			t.Errorf("Read(%v, %v): %v, want %+v", tt.boom, tt.radius, err, tt.want)
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := c.Read(50, bad); err == nil {
			t.Errorf("read a rating at radius %v", bad)
		}
		if _, err := c.Read(bad, 25); err == nil {
			t.Errorf("read a rating for boom %v", bad)
		}
	}
}

func TestBoomAgainstCheckValues(t *testing.T) {
	t.Parallel()
	for _, r := range checkvalue.Read(t, "rigging_crane_radius.csv") {
		b := chart.Boom{LengthMM: r.Inputs["boom"], PivotBackMM: r.Inputs["pivot_back"], PivotHeightMM: r.Inputs["pivot_height"]}
		switch r.Quantity {
		case "radius":
			r.Check(t, b.RadiusMM(r.Inputs["angle_deg"]))
		case "boom angle":
			got, err := b.AngleDeg(r.Inputs["radius"])
			if err != nil {
				t.Error(err)
			}
			r.Check(t, got)
		case "tip height":
			got, err := b.TipHeightMM(r.Inputs["radius"])
			if err != nil {
				t.Error(err)
			}
			r.Check(t, got)
		default:
			t.Errorf("no check for %q", r.Quantity)
		}
	}
}

func TestBoomRefusesWhatItCannotReach(t *testing.T) {
	t.Parallel()
	b := chart.Boom{LengthMM: 100, PivotBackMM: 3}
	for _, radius := range []float64{97.1, -3.1, math.NaN(), math.Inf(1)} {
		if got, err := b.TipHeightMM(radius); err == nil {
			t.Errorf("tip height %v at radius %v", got, radius)
		}
	}
	if _, err := (chart.Boom{}).AngleDeg(1); err == nil {
		t.Error("a boom without length reaches")
	}
}

func TestParseNamesEveryFault(t *testing.T) {
	t.Parallel()
	good := func() []chart.Row {
		return []chart.Row{{10000, 3000, 900}, {10000, 4000, 800}, {10000, 5000, 700}, {20000, 4000, 600}, {20000, 5000, 500}}
	}
	if _, faults := chart.Parse(good()); len(faults) > 0 {
		t.Fatalf("a good chart is refused: %v", faults)
	}
	for name, tt := range map[string]struct {
		change func(r []chart.Row) []chart.Row
		row    int
		field  string
		words  string
	}{
		"nothing":           {func([]chart.Row) []chart.Row { return nil }, -1, "", "at least one"},
		"too much":          {func([]chart.Row) []chart.Row { return make([]chart.Row, chart.MaxRows+1) }, -1, "", "at most"},
		"radius not number": {func(r []chart.Row) []chart.Row { r[3].RadiusMM = math.NaN(); return r }, 3, "radius_mm", "above 0"},
		"boom infinite":     {func(r []chart.Row) []chart.Row { r[1].BoomLengthMM = math.Inf(1); return r }, 1, "boom_length_mm", "above 0"},
		"rating negative":   {func(r []chart.Row) []chart.Row { r[2].RatedKG = -1; return r }, 2, "rated_kg", "above 0"},
		"rating nought":     {func(r []chart.Row) []chart.Row { r[2].RatedKG = 0; return r }, 2, "rated_kg", "above 0"},
		"rating huge":       {func(r []chart.Row) []chart.Row { r[2].RatedKG = 1e12; return r }, 2, "rated_kg", "at most"},
		"radius twice":      {func(r []chart.Row) []chart.Row { r[2].RadiusMM = 4000; return r }, 2, "radius_mm", "growing radius"},
		"radius backwards":  {func(r []chart.Row) []chart.Row { r[1].RadiusMM = 2000; return r }, 1, "radius_mm", "growing radius"},
		"rating rises":      {func(r []chart.Row) []chart.Row { r[4].RatedKG = 601; return r }, 4, "rated_kg", "does not grow"},
		"boom backwards":    {func(r []chart.Row) []chart.Row { r[4].BoomLengthMM = 15000; return r }, 4, "boom_length_mm", "growing boom"},
		"hole":              {func(r []chart.Row) []chart.Row { return slices.Delete(r, 1, 2) }, 1, "radius_mm", "no rating at 4000 mm"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, faults := chart.Parse(tt.change(good()))
			if c != nil || len(faults) != 1 {
				t.Fatalf("faults %v, want one", faults)
			}
			f := faults[0]
			if f.Row != tt.row || f.Field != tt.field || !strings.Contains(f.Message, tt.words) {
				t.Errorf("fault %+v, want row %d, field %q, words %q", f, tt.row, tt.field, tt.words)
			}
		})
	}
}

// drawChart makes a chart with two to four booms over growing radii.
func drawChart(t *rapid.T) (*chart.Chart, []chart.Row) {
	radii := rapid.SliceOfNDistinct(rapid.Float64Range(2000, 40000), 3, 8, rapid.ID[float64]).Draw(t, "radii")
	sort.Float64s(radii)
	var rows []chart.Row
	length := 8000.0
	for range rapid.IntRange(2, 4).Draw(t, "booms") {
		length += rapid.Float64Range(500, 9000).Draw(t, "longer")
		rated := rapid.Float64Range(5000, 50000).Draw(t, "rated")
		first := rapid.IntRange(0, 1).Draw(t, "first")
		for _, r := range radii[first:] {
			rated *= rapid.Float64Range(0.5, 1).Draw(t, "falls to")
			rows = append(rows, chart.Row{BoomLengthMM: length, RadiusMM: r, RatedKG: rated})
		}
	}
	c, faults := chart.Parse(rows)
	if len(faults) > 0 {
		t.Fatalf("%v", faults)
	}
	return c, rows
}

func TestRatingNeverGrowsWithRadius(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c, rows := drawChart(t)
		boom := rapid.Float64Range(rows[0].BoomLengthMM, rows[len(rows)-1].BoomLengthMM).Draw(t, "boom")
		near := rapid.Float64Range(2000, 40000).Draw(t, "near")
		far := rapid.Float64Range(near, 40000).Draw(t, "far")
		a, errA := c.Read(boom, near)
		b, errB := c.Read(boom, far)
		if errA == nil && errB == nil && b.RatedKG > a.RatedKG {
			t.Fatalf("rated %v at %v but %v at %v", a.RatedKG, near, b.RatedKG, far)
		}
		if errA == nil && a.RadiusMM < near {
			t.Fatalf("read the row at %v for a radius of %v", a.RadiusMM, near)
		}
	})
}

// Never interpolated upwards: no listed rating at a longer radius of either neighbouring boom may be
// beaten unless it is farther out than the next one.
func TestReadIsTheSmallerOfTheNeighbours(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c, rows := drawChart(t)
		boom := rapid.Float64Range(rows[0].BoomLengthMM, rows[len(rows)-1].BoomLengthMM).Draw(t, "boom")
		radius := rapid.Float64Range(2000, 40000).Draw(t, "radius")
		got, err := c.Read(boom, radius)
		if err != nil {
			return
		}
		// A slow second reading: for each listed boom the first row that is far enough.
		lower, upper := 0.0, math.Inf(1)
		for _, r := range rows {
			if r.BoomLengthMM <= boom {
				lower = max(lower, r.BoomLengthMM)
			}
			if r.BoomLengthMM >= boom {
				upper = min(upper, r.BoomLengthMM)
			}
		}
		want := math.Inf(1)
		for _, length := range []float64{lower, upper} {
			for _, r := range rows {
				if r.BoomLengthMM == length && r.RadiusMM >= radius {
					want = min(want, r.RatedKG)
					break
				}
			}
		}
		if got.RatedKG != want {
			t.Fatalf("read %v for boom %v at %v, want %v", got, boom, radius, want)
		}
	})
}

func TestTipFallsAsTheRadiusGrows(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := chart.Boom{
			LengthMM:    rapid.Float64Range(5000, 60000).Draw(t, "length"),
			PivotBackMM: rapid.Float64Range(-2000, 3000).Draw(t, "back"),
		}
		angle := rapid.Float64Range(5, 85).Draw(t, "angle")
		near := b.RadiusMM(angle)
		back, err := b.AngleDeg(near)
		if err != nil || math.Abs(back-angle) > 1e-6 {
			t.Fatalf("angle %v came back as %v, %v", angle, back, err)
		}
		high, _ := b.TipHeightMM(near)
		low, err := b.TipHeightMM(b.RadiusMM(angle - 4))
		if err != nil || low >= high {
			t.Fatalf("tip at %v, farther out at %v (%v)", high, low, err)
		}
	})
}
