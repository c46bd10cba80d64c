package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"

	"github.com/pikepole/pikepole/services/platform/units"
)

// CSV writes the table as RFC 4180 has it: one line of heads with units, lines ended by CR LF, UTF-8.
// Numbers are plain, with a point and no separators; a number that is not finite is left empty. A text
// cell that a spreadsheet would take for a formula gets an apostrophe in front of it.
func CSV(t Table) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	record := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		record[i] = guard(head(t, c))
	}
	write := func() {
		if len(record) == 1 && record[0] == "" {
			// The writer leaves such a line blank, and readers skip blank lines.
			out.WriteString("\"\"\r\n")
			return
		}
		// A bytes.Buffer never refuses a write, so the writer has no error to give.
		_ = w.Write(record)
		w.Flush()
	}
	write()
	for _, rows := range [][][]Cell{t.Rows, t.Foot} {
		for _, row := range rows {
			for i, c := range t.Columns {
				record[i] = plain(t, c, cell(row, i))
			}
			write()
		}
	}
	return out.Bytes()
}

// head gives the head of a column with its unit in brackets.
func head(t Table, c Column) string {
	if unit := unitOf(t, c); unit != "" {
		return c.Head + " (" + unit + ")"
	}
	return c.Head
}

// unitOf gives the unit in which the numbers of a column are written.
func unitOf(t Table, c Column) string {
	switch {
	case c.Length && t.FeetInches:
		return "ft-in"
	case c.Length:
		return "mm"
	}
	return c.Unit
}

// plain gives the text of a cell for CSV.
func plain(t Table, c Column, x Cell) string {
	switch x.kind {
	case text, mark:
		return guard(x.text)
	case length:
		if t.FeetInches && finite(x.value) {
			return guard(units.FeetInches(x.value))
		}
		return digits(x.value, c.Decimals)
	case number:
		return digits(x.value, c.Decimals)
	}
	return ""
}

// guard puts an apostrophe before text that a spreadsheet would take for a formula.
func guard(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// digits writes a number with a point and never as minus nought; what is not finite is empty.
func digits(v float64, decimals int) string {
	if !finite(v) {
		return ""
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}
