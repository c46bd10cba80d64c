// Package checkvalue reads tables of published and independently computed check values for tests.
package checkvalue

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Row is one check value.
type Row struct {
	// Quantity is what is checked.
	Quantity string
	// Inputs are the values that go in, by name.
	Inputs map[string]float64
	// Expected is the value to come out; NaN where the table leaves it empty because nothing may.
	Expected float64
	// Tolerance is the largest difference allowed.
	Tolerance float64
	// Source says where the value comes from.
	Source string
	// Status is published, computed, common practice or from memory.
	Status string
}

// Held says whether the row is held to its tolerance: common practice and memory are not.
func (r Row) Held() bool { return r.Status == "published" || r.Status == "computed" }

// Check compares a value with the row.
func (r Row) Check(t testing.TB, got float64) {
	t.Helper()
	if !r.Held() {
		return
	}
	if !(math.Abs(got-r.Expected) <= r.Tolerance) {
		t.Errorf("%s %v: %v, want %v within %v (%s)", r.Quantity, r.Inputs, got, r.Expected, r.Tolerance, r.Source)
	}
}

// Read gives the rows of a table under testdata/published, and fails the test when there are none.
func Read(t testing.TB, name string) []Row {
	t.Helper()
	file, err := os.Open(filepath.Join(root(t), "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if want := "quantity,inputs,expected,tolerance,source,status"; len(lines) < 2 || strings.Join(lines[0], ",") != want {
		t.Fatalf("%s: the table has no rows under the head %s", name, want)
	}
	rows := make([]Row, 0, len(lines)-1)
	for _, line := range lines[1:] {
		rows = append(rows, Row{
			Quantity: line[0], Inputs: inputs(t, name, line[1]),
			Expected: number(t, name, line[2]), Tolerance: number(t, name, line[3]),
			Source: line[4], Status: line[5],
		})
	}
	return rows
}

func inputs(t testing.TB, name, text string) map[string]float64 {
	t.Helper()
	values := map[string]float64{}
	if text == "" {
		return values
	}
	for _, part := range strings.Split(text, ";") {
		key, value, ok := strings.Cut(part, "=")
		if !ok {
			t.Fatalf("%s: input %q is not name=value", name, part)
		}
		values[key] = number(t, name, value)
	}
	return values
}

func number(t testing.TB, name, text string) float64 {
	t.Helper()
	if text == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

// root finds the folder of the module from the folder of the package under test.
func root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the package under test")
		}
		dir = up
	}
}
