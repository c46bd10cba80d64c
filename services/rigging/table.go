package rigging

import (
	"strings"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
)

// pickTable lists every pick, one row for each.
func pickTable(p *riggingv1.Picks) report.Table {
	table := report.Table{
		Title: "Picks",
		Columns: []report.Column{
			{Head: "pick"},
			{Head: "accepted"},
			{Head: "governed by"},
			sheet.Number("share of rated", "", 3), sheet.Number("mass", "kg", 1), sheet.Number("allowance", "kg", 1),
			sheet.Number("rigging", "kg", 1), sheet.Number("deduction", "kg", 1), sheet.Number("hook load", "kg", 1),
			sheet.Number("pick radius", "mm", 0), sheet.Number("set radius", "mm", 0), sheet.Number("largest radius", "mm", 0),
			sheet.Number("boom read", "mm", 0), sheet.Number("radius read", "mm", 0), sheet.Number("rated", "kg", 0),
			{Head: "slings"},
			{Head: "point 1 on"},
			{Head: "point 2 on"},
			sheet.Number("point 1 from tip", "mm", 0), sheet.Number("point 2 from tip", "mm", 0),
			sheet.Number("angle 1", "deg", 1), sheet.Number("angle 2", "deg", 1),
			sheet.Number("tension 1", "N", 0), sheet.Number("tension 2", "N", 0),
			sheet.Number("hook over points", "mm", 0),
			{Head: "refusals"},
		},
	}
	for _, pick := range p.GetPicks() {
		table.Rows = append(table.Rows, pickRow(pick))
	}
	return table
}

func pickRow(p *riggingv1.Pick) []report.Cell {
	accepted, governs := "no", ""
	if p.GetAccepted() {
		accepted = "yes"
	}
	if len(p.GetLimits()) > 0 {
		governs = p.GetLimits()[0].GetName()
	}
	row := []report.Cell{
		report.Mark(p.GetId()), report.Text(accepted), report.Text(governs),
		report.Number(p.GetShareOfRated()), report.Number(p.GetMassKg()), report.Number(p.GetAllowanceKg()),
		report.Number(p.GetRiggingKg()), report.Number(p.GetDeductionKg()), report.Number(p.GetHookLoadKg()),
		report.Number(p.GetPickRadiusMm()), report.Number(p.GetSetRadiusMm()), report.Number(p.GetLargestRadiusMm()),
	}
	if r := p.GetChartRow(); r != nil {
		row = append(row, report.Number(r.GetBoomLengthMm()), report.Number(r.GetRadiusMm()), report.Number(r.GetRatedKg()))
	} else {
		row = append(row, report.Empty(), report.Empty(), report.Empty())
	}
	row = append(row, pointCells(p)...)
	return append(row, report.Number(p.GetHookHeightMm()), report.Text(strings.Join(p.GetRefusals(), " ")))
}

// pointCells are slings, sticks, places on them, angles and tensions of the two points, empty where there are none.
func pointCells(p *riggingv1.Pick) []report.Cell {
	cells := make([]report.Cell, 9)
	points := p.GetPoints()
	if len(points) != 2 {
		return cells
	}
	for k, pt := range points {
		cells[1+k], cells[3+k] = report.Text(pt.GetMark()), report.Number(pt.GetFromTipMm())
	}
	if points[0].GetSling() == "" {
		return cells
	}
	slings := "2 × " + points[0].GetSling()
	if s := points[0].GetShackle(); s != "" {
		slings += ", 2 × " + s
	}
	cells[0] = report.Text(slings)
	for k, pt := range points {
		cells[5+k], cells[7+k] = report.Number(pt.GetAngleFromLevelDeg()), report.Number(pt.GetTensionN())
	}
	return cells
}

// limitTable lists every limit of every pick, the governing one first.
func limitTable(p *riggingv1.Picks) report.Table {
	table := report.Table{
		Title: "Limits",
		Columns: []report.Column{
			{Head: "pick"},
			{Head: "limit"},
			sheet.Number("share", "", 3),
			sheet.Number("demand", "", 1), sheet.Number("capacity", "", 1),
			{Head: "unit"},
		},
	}
	for _, pick := range p.GetPicks() {
		for _, l := range pick.GetLimits() {
			table.Rows = append(table.Rows, []report.Cell{
				report.Text(pick.GetId()), report.Text(l.GetName()), report.Number(l.GetShare()),
				report.Number(l.GetDemand()), report.Number(l.GetCapacity()), report.Text(l.GetUnit()),
			})
		}
	}
	return table
}

// pickPage is all picks for people: cautions first, then the picks, then every limit.
func pickPage(p *riggingv1.Picks) sheet.Page {
	return sheet.Page{
		Name: "Picks", From: p.GetComputedFrom(), Warnings: p.GetCautions(), Basis: p.GetBasis(),
		Tables: []report.Table{pickTable(p), limitTable(p)},
	}
}
