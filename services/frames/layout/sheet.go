package layout

import (
	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/report"
)

// Sheet draws the layout for the crew that marks the deck.
func (l Layout) Sheet(f *frame.Frame, b framedraw.Block) *drawing.Sheet {
	feet := make([]framedraw.Foot, len(l.Posts))
	for i, p := range l.Posts {
		feet[i] = framedraw.Foot{Mark: p.Mark, Corners: p.Corners, RunningXMM: p.RunningXMM, RunningYMM: p.RunningYMM}
	}
	tapes := make([]framedraw.Tape, len(l.Diagonals))
	for i, d := range l.Diagonals {
		tapes[i] = framedraw.Tape{From: l.Posts[d.From].Point, To: l.Posts[d.To].Point, LengthMM: d.LengthMM}
	}
	return framedraw.Floor(f, feet, tapes, b)
}

// Table writes the layout as one table: a row for each post, then a row for each diagonal.
func (l Layout) Table(title string) report.Table {
	t := report.Table{
		Title: title,
		Columns: []report.Column{
			{Head: "What"},
			{Head: "Mark"},
			{Head: "Bent"},
			{Head: "Wall"},
			length("Running X"), length("Running Y"),
			length("Corner 1 X"), length("Corner 1 Y"), length("Corner 2 X"), length("Corner 2 Y"),
			length("Corner 3 X"), length("Corner 3 Y"), length("Corner 4 X"), length("Corner 4 Y"),
			{Head: "To"},
			length("Diagonal"),
			{Head: "Other diagonal"},
		},
	}
	for _, p := range l.Posts {
		row := []report.Cell{
			report.Text("post"), report.Mark(p.Mark), report.Text(p.Bent), report.Text(p.Wall),
			report.Length(p.RunningXMM), report.Length(p.RunningYMM),
		}
		for _, c := range p.Corners {
			row = append(row, report.Length(c.X), report.Length(c.Y))
		}
		t.Rows = append(t.Rows, row)
	}
	for _, d := range l.Diagonals {
		row := make([]report.Cell, 14, 17)
		row[0], row[1] = report.Text("diagonal"), report.Text(l.Posts[d.From].Mark)
		row = append(row, report.Text(l.Posts[d.To].Mark), report.Length(d.LengthMM), report.Text(l.Name(d.Partner)))
		t.Rows = append(t.Rows, row)
	}
	return t
}

// Name gives a diagonal's two marks, from and to.
func (l Layout) Name(diagonal int) string {
	d := l.Diagonals[diagonal]
	return l.Posts[d.From].Mark + " " + l.Posts[d.To].Mark
}

func length(head string) report.Column {
	return report.Column{Head: head, Length: true, Decimals: 2}
}
