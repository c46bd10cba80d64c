package sequencing

import (
	"fmt"
	"slices"
	"strings"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/sequencing/bracing"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/raising"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// render is the answer as a message.
func (a *answer) render() *sequencingv1.Raising {
	out := &sequencingv1.Raising{
		ComputedFrom: a.from,
		CraneHours:   a.raising.CraneHours, TotalHours: a.raising.TotalHours,
		StandNote: plan.StandNote, Basis: a.basis(), Cautions: a.raising.Cautions(),
		Moves: make([]*sequencingv1.Move, len(a.raising.Moves)),
	}
	for i := range a.raising.Moves {
		out.Moves[i] = renderMove(&a.raising.Moves[i])
	}
	return out
}

func renderMove(m *plan.Move) *sequencingv1.Move {
	out := &sequencingv1.Move{
		Number: int32(m.Number), Assembly: m.Assembly, Marks: slices.Clone(m.Marks),
		Machine: sequencingv1.Machine(m.Machine), Closing: sequencingv1.Closing(m.Closing), Direction: pointPB(m.Home),
		Joints: slices.Clone(m.Joints), MassKg: m.MassKG, PersonCount: int32(m.Persons), Minutes: m.Minutes,
		Instruction: m.Instruction,
	}
	for _, b := range m.After {
		out.After = append(out.After, &sequencingv1.Before{Move: int32(b.Move), Joints: slices.Clone(b.Joints), Reason: b.Reason})
	}
	for _, b := range m.Braces {
		out.Braces = append(out.Braces, &sequencingv1.TemporaryBrace{Mark: b.Mark, Top: pointPB(b.Top), Foot: pointPB(b.Foot), Rule: b.Rule})
	}
	return out
}

func pointPB(v geom.Vec) *framev1.Point { return &framev1.Point{XMm: v.X, YMm: v.Y, ZMm: v.Z} }

// basis says how the order and the times came about.
func (a *answer) basis() []*sheetv1.Basis {
	r := ratesOf(a.work)
	rates := "the company's own rates of work"
	if a.work.GetEtag() == "0" {
		rates = "defaults, since the company has put no rates of work yet; time your own moves and put them in place of these"
	}
	practice := sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE
	var minutes []string
	for _, m := range work.Machines() {
		minutes = append(minutes, fmt.Sprintf("%s %g min", m, r.MoveMinutes[m]))
	}
	return []*sheetv1.Basis{
		{
			Quantity: "raising order",
			Formula: "taken apart backwards: of all sets that may leave along one direction by their joints, and leave nothing without a joint " +
				"towards the deck, a smallest one leaves; the order is turned round. Pieces that no direction splits are one move",
			Source: "directions in which each kind of joint opens; an independent replay checks that every move closes", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
			Inputs: []string{
				fmt.Sprintf("play of a tenon %g°", raising.PlayDeg),
				fmt.Sprintf("at most one assembly and %d units are put together beforehand", raising.MaxGroup),
			},
		},
		{
			Quantity: "order where the joints leave the choice",
			Formula:  "what stands on the deck along X; then the walls bay by bay along X, low before high; then the rest, low before high and along X; at last by mark",
			Source:   "common practice", Status: practice,
		},
		{
			Quantity: "closing",
			Formula: "joined to nothing: stand; opening upwards, by at least the angle given: drop in; on feet and opening level: lean and come upright when the turn about the " +
				"outer edge of the feet stays within the play of every tenon, atan(a/h) and 2·asin(L/2r) at most the play; two tenons or more: start all and draw up; else slide",
			Source: "geometry of the joints", Status: sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED,
			Inputs: []string{fmt.Sprintf("play of a tenon %g°", raising.PlayDeg), fmt.Sprintf("drop in from %g° from level", raising.DropDeg)},
		},
		{
			Quantity: "machine",
			Formula: "hands when the crew carries it and every joint and its centre of gravity are within reach from the deck; else the telehandler when it lifts it that high; " +
				"else the job's crane; without a crane a gin pole that lifts it; else a crane is asked for",
			Source: rates, Status: practice,
			Inputs: []string{
				fmt.Sprintf("carry %g kg a person, crew %d", r.CarryPerPersonKG, r.CrewCount),
				fmt.Sprintf("reach by hand %d mm above the deck; two persons for sticks longer than %d mm", work.HandReachMM, work.PairMM),
				fmt.Sprintf("telehandler %g kg up to %g mm above the ground, deck %g mm above it", r.TelehandlerKG, r.TelehandlerReachMM, a.job.GetSite().GetDeckHeightMm()),
				fmt.Sprintf("gin pole %g kg", r.GinPoleKG),
				fmt.Sprintf("crane planned for the job: %t", a.job.GetCrane() != ""),
			},
		},
		{
			Quantity: "minutes of a move",
			Formula:  "t = t_machine + n_joints · t_joint + n_braces · t_brace; crane hours = Σ t of crane moves + setting up, once. Putting pieces together before they are lifted, and props, are not counted",
			Source:   rates, Status: practice,
			Inputs: append(minutes, fmt.Sprintf("joint %g min", r.JointMinutes), fmt.Sprintf("brace %g min", r.BraceMinutes),
				fmt.Sprintf("setting up the crane %g min", r.CraneSetUpMinutes)),
		},
		{
			Quantity: "temporary braces, not checked for standing",
			Formula: "a single post: two at right angles, towards the middle of the frame; held square to the line of its feet by nothing that stands: two at each post, to both sides; joined to what stands: one at each " +
				"post, towards what stands; posts on a sill as on the deck; loose pieces and what stands on neither: none",
			Source: "a simple rule of ours; no force was computed", Status: practice,
			Inputs: []string{
				fmt.Sprintf("fixed at %g of the post's height, or down to %g to keep %g mm from joints on that face; %g° to %g° from the deck",
					bracing.HighShare, bracing.LowShare, bracing.JointMM, bracing.LeastDeg, bracing.MostDeg),
				"kept off the edge of the deck, the feet of timbers and where later moves come home; other timbers above the deck are not looked at",
			},
		},
	}
}

// moveTable lists the moves. As CSV it is read by programs, so numbers keep all their digits.
func moveTable(r *plan.Raising) report.Table {
	table := report.Table{
		Title: "Moves",
		Columns: []report.Column{
			sheet.Number("move", "", 0),
			{Head: "assembly"},
			{Head: "marks"},
			{Head: "machine"},
			sheet.Number("persons", "", 0),
			{Head: "closing"},
			sheet.Number("mass", "kg", report.Exact), sheet.Number("minutes", "min", report.Exact),
			{Head: "after moves"},
			{Head: "joints"},
			sheet.Number("temporary braces, not checked for standing", "", 0),
			{Head: "instruction"},
		},
		Notes: append([]string{plan.StandNote}, r.Cautions()...),
	}
	for i := range r.Moves {
		m := &r.Moves[i]
		var after []string
		for _, b := range m.After {
			after = append(after, fmt.Sprint(b.Move))
		}
		table.Rows = append(table.Rows, []report.Cell{
			report.Whole(m.Number), report.Text(m.Assembly), report.Text(strings.Join(m.Marks, " ")), report.Text(m.Machine.String()),
			report.Whole(m.Persons), report.Text(m.Closing.String()), report.Number(m.MassKG), report.Number(m.Minutes),
			report.Text(strings.Join(after, " ")), report.Text(strings.Join(m.Joints, " ")), report.Whole(len(m.Braces)), report.Text(m.Instruction),
		})
	}
	return table
}

// reasonTable says for each move what must come before it and why.
func reasonTable(r *plan.Raising) report.Table {
	table := report.Table{
		Title:   "What must come before, and why",
		Columns: []report.Column{sheet.Number("move", "", 0), sheet.Number("after move", "", 0), {Head: "why"}},
	}
	for _, m := range r.Moves {
		for _, b := range m.After {
			table.Rows = append(table.Rows, []report.Cell{report.Whole(m.Number), report.Whole(b.Move), report.Text(b.Reason)})
		}
	}
	return table
}

// braceTable lists the temporary braces.
func braceTable(r *plan.Raising) report.Table {
	mm := func(head string) report.Column { return sheet.Number(head, "mm", 0) }
	table := report.Table{
		Title: "Temporary braces of a simple rule, not checked for standing",
		Columns: []report.Column{
			sheet.Number("before the end of move", "", 0), {Head: "post"}, mm("top X"), mm("top Y"), mm("top Z"), mm("foot X"), mm("foot Y"), mm("length"), {Head: "rule"},
		},
	}
	for _, m := range r.Moves {
		for _, b := range m.Braces {
			table.Rows = append(table.Rows, []report.Cell{
				report.Whole(m.Number), report.Text(b.Mark), report.Number(b.Top.X), report.Number(b.Top.Y), report.Number(b.Top.Z),
				report.Number(b.Foot.X), report.Number(b.Foot.Y), report.Number(geom.Dist(b.Top, b.Foot)), report.Text(b.Rule),
			})
		}
	}
	return table
}

// page is the raising for people: what must be heeded, the sums, the moves, the reasons.
func (a *answer) page() sheet.Page {
	r := a.raising
	sums := report.Table{
		Title:   "Hours",
		Columns: []report.Column{{Head: "what"}, sheet.Number("time", "h", 1)},
		Rows: [][]report.Cell{
			{report.Text("crane, with setting up"), report.Number(r.CraneHours)},
			{report.Text("all moves, one after another"), report.Number(r.TotalHours)},
		},
	}
	moves := moveTable(r)
	for i := range moves.Columns {
		switch moves.Columns[i].Head {
		case "mass", "minutes":
			moves.Columns[i].Decimals = 0
		}
	}
	moves.Notes = nil
	return sheet.Page{
		Name: "Raising order", From: a.from, Warnings: append([]string{plan.StandNote}, r.Cautions()...), Basis: a.basis(),
		Tables: []report.Table{sums, moves, reasonTable(r), braceTable(r)},
	}
}
