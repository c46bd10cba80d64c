package report

import (
	"bytes"
	"html"
	"strings"

	"github.com/pikepole/pikepole/services/platform/units"
)

// HTML writes the table as a fragment: a table element with caption, head, body and foot, and its
// notes as paragraphs after it. All text is escaped. The classes are "number" and "center"; without
// a style sheet the table still reads.
func HTML(t Table) []byte {
	var out bytes.Buffer
	out.WriteString("<table class=\"report\">\n")
	if t.Title != "" {
		out.WriteString("<caption>" + html.EscapeString(t.Title) + "</caption>\n")
	}
	out.WriteString("<thead>\n<tr>")
	for i, c := range t.Columns {
		out.WriteString("<th scope=\"col\"" + class(alignOf(t, i)) + ">" + html.EscapeString(c.Head))
		if unit := unitOf(t, c); unit != "" {
			out.WriteString(" <span class=\"unit\">" + html.EscapeString(unit) + "</span>")
		}
		out.WriteString("</th>")
	}
	out.WriteString("</tr>\n</thead>\n")
	section(&out, t, "tbody", t.Rows)
	if len(t.Foot) > 0 {
		section(&out, t, "tfoot", t.Foot)
	}
	out.WriteString("</table>\n")
	for _, note := range t.Notes {
		out.WriteString("<p class=\"note\">" + html.EscapeString(note) + "</p>\n")
	}
	return out.Bytes()
}

// section writes the rows of the body or of the foot.
func section(out *bytes.Buffer, t Table, tag string, rows [][]Cell) {
	out.WriteString("<" + tag + ">\n")
	for _, row := range rows {
		out.WriteString("<tr" + rowID(row) + ">")
		for i, c := range t.Columns {
			x := cell(row, i)
			shown := html.EscapeString(shown(t, c, x))
			if x.kind == mark {
				out.WriteString("<th scope=\"row\">" + shown + "</th>")
				continue
			}
			out.WriteString("<td" + class(alignOf(t, i)) + ">" + shown + "</td>")
		}
		out.WriteString("</tr>\n")
	}
	out.WriteString("</" + tag + ">\n")
}

// rowID gives the id attribute of a row that has a mark.
func rowID(row []Cell) string {
	for _, x := range row {
		if x.kind == mark && x.text != "" {
			return " id=\"" + html.EscapeString(x.text) + "\""
		}
	}
	return ""
}

// alignOf settles the alignment of a column by what stands first in it.
func alignOf(t Table, column int) Align {
	if a := t.Columns[column].Align; a != AlignAuto {
		return a
	}
	for _, row := range t.Rows {
		switch cell(row, column).kind {
		case number, length:
			return AlignRight
		case text, mark:
			return AlignLeft
		}
	}
	return AlignLeft
}

func class(a Align) string {
	switch a {
	case AlignRight:
		return " class=\"number\""
	case AlignCenter:
		return " class=\"center\""
	}
	return ""
}

// shown gives the text of a cell for people: as in CSV, but with a true minus sign, a dash for what
// is not known, and no guard.
func shown(t Table, c Column, x Cell) string {
	switch x.kind {
	case text, mark:
		return x.text
	case empty:
		return ""
	}
	if !finite(x.value) {
		return "–"
	}
	s := digits(x.value, c.Decimals)
	if x.kind == length && t.FeetInches {
		s = units.FeetInches(x.value)
	}
	if strings.HasPrefix(s, "-") {
		return "−" + s[1:]
	}
	return s
}
