package wood_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/wood"
)

// row is one line of a published table.
type row struct {
	quantity, source, status string
	inputs                   map[string]string
	expected, tolerance      float64
}

func (r row) number(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r.inputs[name], 64)
	if err != nil {
		t.Fatalf("%s: input %s: %v", r.quantity, name, err)
	}
	return v
}

func (r row) species(t *testing.T) wood.Species {
	t.Helper()
	s, ok := wood.Lookup(r.inputs["species"])
	if !ok {
		t.Fatalf("species %q", r.inputs["species"])
	}
	return s
}

// published reads a table of check values.
func published(t *testing.T, name string) []row {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(records[0], ","); got != "quantity,inputs,expected,tolerance,source,status" {
		t.Fatalf("%s has the columns %s", name, got)
	}
	var rows []row
	for i, rec := range records[1:] {
		r := row{quantity: rec[0], source: rec[4], status: rec[5], inputs: make(map[string]string)}
		for pair := range strings.SplitSeq(rec[1], ";") {
			name, value, _ := strings.Cut(pair, "=")
			r.inputs[name] = value
		}
		var errs [2]error
		r.expected, errs[0] = strconv.ParseFloat(rec[2], 64)
		r.tolerance, errs[1] = strconv.ParseFloat(rec[3], 64)
		if errs != [2]error{} || r.source == "" || !slices.Contains([]string{"published", "computed", "common practice", "from memory"}, r.status) {
			t.Fatalf("%s line %d: %v %v", name, i+2, errs, rec)
		}
		rows = append(rows, r)
	}
	return rows
}

// hold compares a value with its row. Rows that are neither published nor computed are listed only.
func hold(t *testing.T, r row, got float64) {
	t.Helper()
	name := fmt.Sprint(r.quantity, " ", r.inputs)
	if r.status != "published" && r.status != "computed" {
		t.Logf("%s: %v, listed %v (%s)", name, got, r.expected, r.status)
		return
	}
	if math.Abs(got-r.expected) > r.tolerance {
		t.Errorf("%s: %v, want %v ± %v (%s; %s)", name, got, r.expected, r.tolerance, r.source, r.status)
	}
}

func TestPublishedSizes(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wood_size.csv") {
		var got float64
		var err error
		switch r.quantity {
		case "board feet":
			got = wood.BoardFeet(r.number(t, "width_in"), r.number(t, "depth_in"), r.number(t, "length_ft"))
		case "full volume m3":
			got = wood.BoardFeet(r.number(t, "width_in"), r.number(t, "depth_in"), r.number(t, "length_ft")) * wood.CubicMetresPerBoardFoot
		case "dressed timber in", "dressed timber by the dry list in":
			got, err = wood.DressedIn(r.number(t, "nominal_in"))
		case "dressed board width in":
			_, got, err = wood.DressedBoardIn(r.number(t, "thickness_in"), r.number(t, "width_in"))
		case "dressed board thickness in":
			got, _, err = wood.DressedBoardIn(r.number(t, "thickness_in"), r.number(t, "width_in"))
		default:
			t.Fatalf("no check for %q", r.quantity)
		}
		if err != nil {
			t.Error(err)
		}
		hold(t, r, got)
	}
}

func TestPublishedDensities(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wood_density.csv") {
		switch r.quantity {
		case "density kg/m3":
			hold(t, r, wood.DensityKgPerM3(r.number(t, "green_gravity"), r.number(t, "moisture_percent")))
		case "maximum moisture percent":
			hold(t, r, wood.MaxMoisture(r.number(t, "green_gravity")))
		case "green gravity":
			hold(t, r, r.species(t).GreenGravity)
		case "gravity at 12 percent":
			hold(t, r, r.species(t).DryGravity)
		case "stick mass kg":
			hold(t, r, r.species(t).DensityKgPerM3(r.number(t, "moisture_percent"))*r.number(t, "volume_m3"))
		case "peg mass g":
			d, l := r.number(t, "diameter_in")*25.4, r.number(t, "length_in")*25.4
			hold(t, r, r.species(t).PegDensityKgPerM3()*math.Pi/4*d*d*l*1e-6)
		default:
			t.Fatalf("no check for %q", r.quantity)
		}
	}
}

func TestPublishedShrinkage(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wood_shrinkage.csv") {
		s := r.species(t)
		total := s.RadialPercent
		if r.inputs["direction"] == "tangential" {
			total = s.TangentialPercent
		}
		hold(t, r, wood.ShrunkMM(r.number(t, "size_mm"), total, r.number(t, "moisture_percent")))
	}
}

func TestRememberedPegDistances(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wood_peg.csv") {
		d, ok := wood.PegDistancesOf(r.inputs["species"])
		if !ok || d.Status != wood.FromMemory {
			t.Errorf("%s: %+v, %v", r.inputs["species"], d, ok)
		}
		hold(t, r, map[string]float64{
			"peg end distance diameters": d.End, "peg edge distance diameters": d.Edge, "peg spacing distance diameters": d.Spacing,
		}[r.quantity])
	}
	if _, ok := wood.PegDistancesOf("white-spruce"); ok {
		t.Error("no distances are known for spruce")
	}
}

// A figure from memory must say so: the status in the table and in the code agree.
func TestGravityStatusIsThatOfTheTable(t *testing.T) {
	t.Parallel()
	for _, r := range published(t, "wood_density.csv") {
		if r.quantity == "green gravity" && r.species(t).GravityStatus.String() != r.status {
			t.Errorf("%s is %s, the table says %s", r.inputs["species"], r.species(t).GravityStatus, r.status)
		}
	}
}

func TestKeysAreUniqueAndFound(t *testing.T) {
	t.Parallel()
	keys := wood.Keys()
	if !slices.IsSorted(keys) || len(slices.Compact(slices.Clone(keys))) != len(keys) {
		t.Errorf("keys %v", keys)
	}
	for _, key := range keys {
		if s, ok := wood.Lookup(key); !ok || s.Name == "" || s.GreenGravity <= 0 || s.DryGravity < s.GreenGravity {
			t.Errorf("%s: %+v", key, s)
		}
		if !strings.Contains(wood.KeyList(), key) {
			t.Errorf("%s is not listed", key)
		}
	}
	if _, ok := wood.Lookup("cheese"); ok {
		t.Error("cheese is no wood")
	}
}

// Wetter wood of the same species is never lighter for its volume, and shrinks no more.
func TestDensityGrowsWithMoisture(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		gb := rapid.Float64Range(0.25, 0.8).Draw(t, "gb")
		dry := rapid.Float64Range(0.1, 249).Draw(t, "moisture")
		wet := rapid.Float64Range(dry, 250).Draw(t, "more")
		if wood.DensityKgPerM3(gb, wet) < wood.DensityKgPerM3(gb, dry)-1e-9 {
			t.Fatalf("density falls from %v to %v percent", dry, wet)
		}
		if s := wood.ShrinkagePercent(8, wet); s > wood.ShrinkagePercent(8, dry) || s < 0 {
			t.Fatalf("shrinkage %v", s)
		}
	})
}

func TestDressedSizesRefuseWhatTheyDoNotKnow(t *testing.T) {
	t.Parallel()
	for _, in := range []float64{4, 0, -8, math.NaN(), math.Inf(1)} {
		if _, err := wood.DressedIn(in); err == nil {
			t.Errorf("%v in has no dressed timber size", in)
		}
	}
	if _, _, err := wood.DressedBoardIn(6, 6); err == nil {
		t.Error("a timber is no board")
	}
}

func TestStatusWords(t *testing.T) {
	t.Parallel()
	var words []string
	for s := wood.FromMemory; s <= wood.Published; s++ {
		words = append(words, s.String())
	}
	if got := strings.Join(words, ","); got != "from memory,common practice,computed,published" {
		t.Error(got)
	}
}
