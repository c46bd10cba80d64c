package takeoff

import (
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/takeoff/measure"
)

// stickTable lists every stick, with the total in its foot. As CSV it is read by programs, so numbers
// keep all their digits.
func stickTable(t measure.Takeoff) report.Table {
	table := report.Table{
		Title: "Sticks",
		Columns: []report.Column{
			{Head: "mark"},
			{Head: "role"},
			{Head: "assembly"},
			{Head: "species"},
			{Head: "grade"},
			sheet.Number("nominal width", "in", report.Exact), sheet.Number("nominal depth", "in", report.Exact),
			sheet.Number("width", "mm", report.Exact), sheet.Number("depth", "mm", report.Exact),
			sheet.Number("shoulder length", "mm", report.Exact), sheet.Number("overall length", "mm", report.Exact),
			sheet.Number("board feet", "bf", report.Exact), sheet.Number("volume", "m³", report.Exact), sheet.Number("removed", "m³", report.Exact),
			sheet.Number("density", "kg/m³", report.Exact), sheet.Number("mass", "kg", report.Exact),
		},
	}
	for i := range t.Sticks {
		s := &t.Sticks[i]
		table.Rows = append(table.Rows, []report.Cell{
			report.Mark(s.Mark), report.Text(s.Role.String()), report.Text(s.Assembly), report.Text(s.Species), report.Text(s.Grade),
			report.Number(s.NominalWidthIn), report.Number(s.NominalDepthIn), report.Number(s.WidthMM), report.Number(s.DepthMM),
			report.Number(s.ShoulderMM), report.Number(s.OverallMM), report.Number(s.BoardFeet),
			report.Number(s.VolumeM3), report.Number(s.RemovedM3), report.Number(s.DensityKgPerM3), report.Number(s.MassKG),
		})
	}
	e := report.Empty()
	table.Foot = [][]report.Cell{{
		report.Text(t.All.Label), e, e, e, e, e, e, e, e, e,
		report.Number(t.All.OverallMM), report.Number(t.All.BoardFeet), report.Number(t.All.VolumeM3), e, e, report.Number(t.All.MassKG),
	}}
	return table
}

// forReading rounds the columns of the stick table as people read them.
func forReading(t report.Table) report.Table {
	decimals := map[string]int{
		"nominal width": 2, "nominal depth": 2, "width": 1, "depth": 1, "shoulder length": 0, "overall length": 0,
		"board feet": 1, "volume": 4, "removed": 4, "density": 0, "mass": 1,
	}
	for i := range t.Columns {
		if d, ok := decimals[t.Columns[i].Head]; ok {
			t.Columns[i].Decimals = d
		}
	}
	return t
}

func groupTable(title, head string, groups []measure.Group) report.Table {
	table := report.Table{
		Title: title,
		Columns: []report.Column{
			{Head: head},
			sheet.Number("sticks", "", 0), sheet.Number("overall length", "mm", 0),
			sheet.Number("board feet", "bf", 1), sheet.Number("volume", "m³", 3), sheet.Number("mass", "kg", 1),
		},
	}
	for _, g := range groups {
		table.Rows = append(table.Rows, []report.Cell{
			report.Text(g.Label), report.Whole(g.Count), report.Number(g.OverallMM),
			report.Number(g.BoardFeet), report.Number(g.VolumeM3), report.Number(g.MassKG),
		})
	}
	return table
}

func pegTable(lines []measure.PegLine) report.Table {
	table := report.Table{
		Title: "Pegs",
		Columns: []report.Column{
			sheet.Number("diameter", "mm", 1), sheet.Number("length", "mm", 0), {Head: "wood"}, sheet.Number("pegs", "", 0), sheet.Number("mass", "kg", 2),
		},
	}
	for _, p := range lines {
		table.Rows = append(table.Rows, []report.Cell{
			report.Number(p.DiameterMM), report.Number(p.LengthMM), report.Text(p.Wood), report.Whole(p.Count), report.Number(p.MassKG),
		})
	}
	return table
}

func hardwareTable(lines []measure.HardwareLine) report.Table {
	table := report.Table{
		Title:   "Hardware",
		Columns: []report.Column{{Head: "kind"}, sheet.Number("pieces", "", 0), sheet.Number("mass", "kg", 2)},
	}
	for _, h := range lines {
		table.Rows = append(table.Rows, []report.Cell{report.Text(h.Kind.String()), report.Whole(h.Count), report.Number(h.MassKG)})
	}
	return table
}

// page is the whole takeoff for people: sums first, then every stick.
func page(t measure.Takeoff, from *sheetv1.ComputedFrom) sheet.Page {
	return sheet.Page{
		Name: "Takeoff", From: from, Basis: basis(t),
		Tables: []report.Table{
			groupTable("All sticks", "what", []measure.Group{t.All}),
			groupTable("By section", "nominal section in inches", t.BySection),
			groupTable("By species", "species", t.BySpecies),
			groupTable("By assembly", "assembly", t.ByAssembly),
			pegTable(t.Pegs), hardwareTable(t.Hardware), forReading(stickTable(t)),
		},
	}
}
