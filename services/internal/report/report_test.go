package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/report"
)

func sticks(feetInches bool) report.Table {
	return report.Table{
		Title: "Sticks & more",
		Columns: []report.Column{
			{Head: "Mark"},
			{Head: "Use"},
			{Head: "Length", Length: true, Decimals: 1},
			{Head: "Mass", Unit: "kg", Decimals: 1},
			{Head: "Count"},
		},
		Rows: [][]report.Cell{
			{report.Mark("P1"), report.Text("post"), report.Length(3759.2), report.Number(61.25), report.Whole(2)},
			{report.Mark("=1+1"), report.Text("+x, \"y\"\nz"), report.Length(-25.4), report.Number(math.NaN()), report.Whole(-3)},
			{report.Mark("<b>"), report.Text("-")},
		},
		Foot:       [][]report.Cell{{report.Text("Total"), report.Empty(), report.Empty(), report.Number(-0.04)}},
		Notes:      []string{"Weigh one stick & compare."},
		FeetInches: feetInches,
	}
}

func TestCSV(t *testing.T) {
	t.Parallel()
	got := string(report.CSV(sticks(false)))
	want := "Mark,Use,Length (mm),Mass (kg),Count\r\n" +
		"P1,post,3759.2,61.2,2\r\n" +
		"'=1+1,\"'+x, \"\"y\"\"\r\nz\",-25.4,,-3\r\n" +
		"<b>,'-,,,\r\n" +
		"Total,,,0.0,\r\n"
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("CSV (-want +got):\n%s", diff)
	}
}

func TestCSVFeetInches(t *testing.T) {
	t.Parallel()
	lines := strings.Split(string(report.CSV(sticks(true))), "\r\n")
	if want := "Mark,Use,Length (ft-in),Mass (kg),Count"; lines[0] != want {
		t.Errorf("heads are %q, want %q", lines[0], want)
	}
	// 12 ft 4 in is 148 in of 25.4 mm: 3759.2 mm.
	if want := `P1,post,"12'-4""",61.2,2`; lines[1] != want {
		t.Errorf("first row is %q, want %q", lines[1], want)
	}
}

// Whatever the words are, a reader of RFC 4180 gets them back, and none begins like a formula.
func TestCSVGivesTextBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[=+\-@\t a-z",;']{0,12}`), 3, 3).Draw(t, "words")
		table := report.Table{Columns: make([]report.Column, 3)}
		row := make([]report.Cell, 3)
		for i, w := range words {
			table.Columns[i].Head, row[i] = "c", report.Text(w)
		}
		table.Rows = [][]report.Cell{row}
		records, err := csv.NewReader(bytes.NewReader(report.CSV(table))).ReadAll()
		if err != nil || len(records) != 2 {
			t.Fatalf("reading back: %d records, %v", len(records), err)
		}
		for i, got := range records[1] {
			if got != "" && strings.ContainsRune("=+-@\t\r", rune(got[0])) {
				t.Errorf("cell %q begins like a formula", got)
			}
			if got != words[i] && got != "'"+words[i] {
				t.Errorf("cell is %q, want %q", got, words[i])
			}
		}
	})
}

func TestHTML(t *testing.T) {
	t.Parallel()
	got := string(report.HTML(sticks(true)))
	for _, want := range []string{
		"<caption>Sticks &amp; more</caption>",
		`<th scope="col" class="number">Length <span class="unit">ft-in</span></th>`,
		`<tr id="P1"><th scope="row">P1</th><td>post</td><td class="number">12&#39;-4&#34;</td><td class="number">61.2</td><td class="number">2</td></tr>`,
		`<tr id="&lt;b&gt;"><th scope="row">&lt;b&gt;</th>`,
		"−0&#39;-1&#34;", "<td class=\"number\">–</td>", "<td class=\"number\">−3</td>",
		"<tfoot>\n<tr><td>Total</td>", "<p class=\"note\">Weigh one stick &amp; compare.</p>",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("HTML lacks %q:\n%s", want, got)
		}
	}
	decoder := xml.NewDecoder(strings.NewReader("<div>" + got + "</div>"))
	for {
		if _, err := decoder.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
	}
}

func TestAlignment(t *testing.T) {
	t.Parallel()
	table := report.Table{
		Columns: []report.Column{{Head: "a", Align: report.AlignCenter}, {Head: "b", Align: report.AlignLeft}, {Head: "c", Decimals: report.Exact}, {Head: "d"}},
		Rows:    [][]report.Cell{{report.Number(1), report.Number(2), report.Number(0.1), report.Empty()}},
	}
	want := `<tr><td class="center">1</td><td>2</td><td class="number">0.1</td><td></td></tr>`
	if got := string(report.HTML(table)); !strings.Contains(got, want) {
		t.Errorf("HTML lacks %q:\n%s", want, got)
	}
}
