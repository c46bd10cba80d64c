package sheet_test

import (
	"strings"
	"testing"

	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/fault"
)

func from() *sheetv1.ComputedFrom {
	return &sheetv1.ComputedFrom{Job: "job-1", Revision: 2, LatestRevision: 3, Digest: "abcdef", Engine: "1"}
}

func TestOnlyOfferedFormats(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"csv", "html"} {
		if err := sheet.Check(format); err != nil {
			t.Errorf("%s: %v", format, err)
		}
	}
	for _, format := range []string{"", "CSV", "pdf"} {
		if err := sheet.Check(format); !fault.HasReason(err, sheet.ReasonFormat) {
			t.Errorf("%q: %v", format, err)
		}
	}
}

func TestPageSaysWhereItComesFrom(t *testing.T) {
	t.Parallel()
	doc := sheet.Page{
		Name: "Takeoff <b>", From: from(), Warnings: []string{"Mind & look up."},
		Figures: []sheet.Figure{{Caption: "Bent <1>", SVG: []byte("<svg></svg>\n")}},
		Tables: []report.Table{
			{Title: "Sums", Columns: []report.Column{sheet.Number("mass", "kg", 1)}, Rows: [][]report.Cell{{report.Number(12.34)}}},
			{Title: "Nothing", Columns: []report.Column{{Head: "x"}}},
		},
		Basis: []*sheetv1.Basis{
			{Quantity: "mass", Formula: "m = ρ·V", Source: "a book", Status: sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED, Inputs: []string{"ρ = 400", "V = 2"}},
			{Quantity: "angle", Source: "the trade", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE},
			{Quantity: "sum", Source: "arithmetic", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED},
			{Quantity: "gravity", Source: "nobody", Status: sheetv1.SourceStatus_SOURCE_STATUS_FROM_MEMORY},
		},
	}.Document("takeoff")
	if doc.GetFilename() != "takeoff-job-1-r2.html" || doc.GetMediaType() != "text/html; charset=utf-8" {
		t.Errorf("document %s, %s", doc.GetFilename(), doc.GetMediaType())
	}
	page := string(doc.GetContent())
	for _, want := range []string{
		"Takeoff &lt;b&gt; of job-1, revision 2", "newer revision of this frame: 3", "Mind &amp; look up.", "12.3", "abcdef",
		"ρ = 400; V = 2", "published", "common practice", "computed", "from memory",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	warned, drawn, summed := strings.Index(page, "look up"), strings.Index(page, "<svg></svg>\n<figcaption>Bent &lt;1&gt;</figcaption>"), strings.Index(page, "12.3")
	if warned > drawn || drawn > summed {
		t.Errorf("the drawing stands at %d, not between the warnings at %d and the tables at %d", drawn, warned, summed)
	}
	if strings.Contains(page, "Nothing") {
		t.Error("an empty table is shown")
	}
}

func TestFileIsCSV(t *testing.T) {
	t.Parallel()
	doc := sheet.File("picks", from(), report.Table{Columns: []report.Column{{Head: "mark"}}, Rows: [][]report.Cell{{report.Text("P-1")}}})
	if doc.GetFilename() != "picks-job-1-r2.csv" || !strings.HasPrefix(doc.GetMediaType(), "text/csv") || string(doc.GetContent()) != "mark\r\nP-1\r\n" {
		t.Errorf("document %s, %s: %q", doc.GetFilename(), doc.GetMediaType(), doc.GetContent())
	}
}
