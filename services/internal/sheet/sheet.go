// Package sheet turns the tables of a computed answer into documents: CSV for programs, one HTML page
// for people that ends in how the numbers came about and from which frame they come.
package sheet

import (
	"bytes"
	"fmt"
	"html"
	"slices"
	"strings"

	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// The formats that are offered.
const (
	CSV  = "csv"
	HTML = "html"
)

// ReasonFormat is the reason of a document format that is not offered.
const ReasonFormat = "UNKNOWN_FORMAT"

// Check refuses a format that is not offered.
func Check(format string) error {
	if format == CSV || format == HTML {
		return nil
	}
	f := fault.Invalid("format", "%q is not offered; ask for csv or html", format)
	f.Reason = ReasonFormat
	return f
}

// Page is a computed answer as people read it.
type Page struct {
	// Name is what the sheet is, such as "Takeoff"; with job and revision it becomes the title.
	Name string
	// From says from which frame it was computed.
	From *sheetv1.ComputedFrom
	// Warnings stand at the top, then Figures, then Tables; tables without rows are left out.
	Warnings []string
	Figures  []Figure
	Tables   []report.Table
	// Basis stands at the end.
	Basis []*sheetv1.Basis
}

// Figure is a drawing on a page.
type Figure struct {
	// Caption says what is to be seen.
	Caption string
	// SVG is the drawing, as package drawing writes it.
	SVG []byte
}

// File gives the document of one table as CSV.
func File(name string, from *sheetv1.ComputedFrom, table report.Table) *sheetv1.Document {
	return &sheetv1.Document{
		MediaType: "text/csv; charset=utf-8", Filename: filename(name, from, CSV), Content: report.CSV(table),
	}
}

// Document gives the page as HTML.
func (p Page) Document(name string) *sheetv1.Document {
	return &sheetv1.Document{
		MediaType: "text/html; charset=utf-8", Filename: filename(name, p.From, HTML), Content: p.html(),
	}
}

func filename(name string, from *sheetv1.ComputedFrom, format string) string {
	return fmt.Sprintf("%s-%s-r%d.%s", name, from.GetJob(), from.GetRevision(), format)
}

func (p Page) html() []byte {
	var out bytes.Buffer
	title := html.EscapeString(fmt.Sprintf("%s of %s, revision %d", p.Name, p.From.GetJob(), p.From.GetRevision()))
	fmt.Fprintf(&out, "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>%s</title>\n</head>\n<body>\n<h1>%s</h1>\n", title, title)
	if newest := p.From.GetLatestRevision(); newest > p.From.GetRevision() {
		fmt.Fprintf(&out, "<p><strong>There is a newer revision of this frame: %d.</strong></p>\n", newest)
	}
	if len(p.Warnings) > 0 {
		out.WriteString("<ul>\n")
		for _, w := range p.Warnings {
			fmt.Fprintf(&out, "<li>%s</li>\n", html.EscapeString(w))
		}
		out.WriteString("</ul>\n")
	}
	for _, f := range p.Figures {
		fmt.Fprintf(&out, "<figure>\n%s<figcaption>%s</figcaption>\n</figure>\n", f.SVG, html.EscapeString(f.Caption))
	}
	for _, table := range slices.Concat(p.Tables, []report.Table{basisTable(p.Basis)}) {
		if len(table.Rows) > 0 {
			out.Write(report.HTML(table))
		}
	}
	fmt.Fprintf(&out, "<p>Frame digest %s, engine %s.</p>\n</body>\n</html>\n",
		html.EscapeString(p.From.GetDigest()), html.EscapeString(p.From.GetEngine()))
	return out.Bytes()
}

// basisTable lists how the numbers came about, one row for each, its inputs included.
func basisTable(basis []*sheetv1.Basis) report.Table {
	table := report.Table{
		Title:   "How the numbers came about",
		Columns: []report.Column{{Head: "quantity"}, {Head: "formula"}, {Head: "inputs"}, {Head: "source"}, {Head: "status"}},
	}
	for _, b := range basis {
		table.Rows = append(table.Rows, []report.Cell{
			report.Text(b.GetQuantity()), report.Text(b.GetFormula()), report.Text(strings.Join(b.GetInputs(), "; ")),
			report.Text(b.GetSource()), report.Text(statusWords(b.GetStatus())),
		})
	}
	return table
}

func statusWords(s sheetv1.SourceStatus) string {
	switch s {
	case sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED:
		return "published"
	case sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED:
		return "computed"
	case sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE:
		return "common practice"
	}
	return "from memory"
}

// Number describes a column of numbers with a fixed number of decimals, or report.Exact.
func Number(head, unit string, decimals int) report.Column {
	return report.Column{Head: head, Unit: unit, Align: report.AlignRight, Decimals: decimals}
}
