package sequencing

import (
	"context"
	"fmt"
	"slices"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/units"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// RenderStanding gives every state of the raising order as CSV or HTML.
func (s *Service) RenderStanding(ctx context.Context, req *sequencingv1.RenderStandingRequest) (*sheetv1.Document, error) {
	if err := sheet.Check(req.GetFormat()); err != nil {
		return nil, err
	}
	w, err := s.standing(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	if req.GetFormat() == sheet.CSV {
		return sheet.File("standing", w.from, w.stateTable()), nil
	}
	return w.page().Document("standing"), nil
}

// page is the whole raising for people.
func (w *whole) page() sheet.Page {
	states := leaveOut(w.stateTable(), "gust checked", "highest gust", "sway at the top")
	states.Title += fmt.Sprintf(", for gusts of %s while you work and %s overnight", mph(w.problem.Rules.WorkingGustMPS), mph(w.problem.Rules.NightGustMPS))
	tables := []report.Table{readable(states)}
	tables = append(tables, w.braceTables("All temporary braces, in the order in which they are set", w.braces(), nil)...)
	tables = append(tables, strikeTable(w.plan.Stages))
	if s := w.stage(w.plan.First); s != nil {
		tables = slices.Insert(tables, 1, useTable(fmt.Sprintf("What is used most after move %d", s.Move), s.Released, 12))
	}
	return sheet.Page{
		Name: "Does it stand", From: w.from, Warnings: w.warnings(), Tables: tables, Basis: w.standBasis(w.braces()),
	}
}

// leaveOut drops columns, by their heads.
func leaveOut(t report.Table, heads ...string) report.Table {
	for i, c := range slices.Backward(t.Columns) {
		if !slices.Contains(heads, c.Head) {
			continue
		}
		t.Columns = slices.Delete(t.Columns, i, i+1)
		for k := range t.Rows {
			t.Rows[k] = slices.Delete(t.Rows[k], i, i+1)
		}
	}
	return t
}

// readable rounds the exact numbers of a table and writes its lengths in feet and inches, for people.
func readable(t report.Table) report.Table {
	t.FeetInches = true
	for i := range t.Columns {
		if c := &t.Columns[i]; c.Decimals == report.Exact {
			c.Decimals = 1
			if c.Unit == "" {
				c.Decimals = 2
			}
		}
	}
	return t
}

// RenderBraces gives the brace sheet of a move.
func (s *Service) RenderBraces(ctx context.Context, req *sequencingv1.RenderBracesRequest) (*sheetv1.Document, error) {
	if err := sheet.Check(req.GetFormat()); err != nil {
		return nil, err
	}
	w, st, err := s.stateAfter(ctx, req.GetJob(), req.GetRevision(), int(req.GetMove()))
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("braces-%d", st.Move)
	if req.GetFormat() == sheet.CSV {
		return sheet.File(name, w.from, w.placedTable("", st.Set, forces(st.Stage))), nil
	}
	svg, err := s.drawState(ctx, w, st, viewBraces)
	if err != nil {
		return nil, err
	}
	page := w.bracePage(st)
	page.Figures = []sheet.Figure{{Caption: fmt.Sprintf("State after move %d with its braces", st.Move), SVG: svg}}
	return page.Document(name), nil
}

// braceTables are what a crew sets braces by, where they go apart from how they are cut and fixed: in one table neither can be
// read on paper.
func (w *whole) braceTables(title string, braces []brace.Brace, forces map[string]standing.Forces) []report.Table {
	length := func(head string) report.Column {
		return report.Column{Head: head, Align: report.AlignRight, Length: true}
	}
	where := report.Table{
		Title: title, FeetInches: true,
		Columns: []report.Column{
			{Head: "brace"},
			{Head: "holds"},
			length("up, from the deck"),
			{Head: "foot on"},
			length("foot X"), length("foot Y"), length("foot up"),
			sheet.Number("most pull", "lbf", 0), sheet.Number("most push", "lbf", 0),
		},
	}
	how := report.Table{Title: title + ": cut and fix", Columns: []report.Column{{Head: "brace"}, {Head: "what to do"}}}
	for _, b := range braces {
		pull, push := report.Empty(), report.Empty()
		if f, known := forces[b.ID]; known {
			pull, push = report.Number(units.PoundsForceFromN(finite(f.Pull))), report.Number(units.PoundsForceFromN(finite(f.Push)))
		}
		where.Rows = append(where.Rows, []report.Cell{
			report.Text(b.ID), report.Text(b.Mark), report.Length(b.Top.Z), report.Text(footWords(b)), report.Length(b.Foot.X), report.Length(b.Foot.Y),
			report.Length(b.Foot.Z), pull, push,
		})
		how.Rows = append(how.Rows, []report.Cell{report.Text(b.ID), report.Text(w.cut(b.ID).Words)})
	}
	return []report.Table{where, how}
}

// mph is a speed as a forecast for people says it.
func mph(mps float64) string { return fmt.Sprintf("%.0f mph", units.MPHFromMPerS(mps)) }

// stateAfter is the whole raising with the stage of one of its moves.
func (s *Service) stateAfter(ctx context.Context, job, revision string, move int) (*whole, *stage, error) {
	w, err := s.standing(ctx, job, revision)
	if err != nil {
		return nil, nil, err
	}
	st, err := w.move(move)
	return w, st, err
}

// move is the stage of a move that a caller names.
func (w *whole) move(n int) (*stage, error) {
	if st := w.stage(n); st != nil {
		return st, nil
	}
	if n >= 1 && n <= len(w.problem.Moves) {
		return nil, fault.New(fault.Deadline, fault.ReasonDeadline, "The time was over before move %d was checked; ask again when fewer ask at once.", n)
	}
	return nil, fault.New(fault.NotFound, ReasonMove, "There is no move %d; the raising of this frame has moves 1 to %d.", n, len(w.problem.Moves))
}

// bracePage is the brace sheet of a move, without its drawing.
func (w *whole) bracePage(st *stage) sheet.Page {
	held := forces(st.Stage)
	before := slices.DeleteFunc(slices.Clone(st.On), func(b brace.Brace) bool {
		return slices.ContainsFunc(st.Set, func(s brace.Brace) bool { return s.ID == b.ID })
	})
	var warnings []string
	if !st.stands() {
		warnings = append(warnings, "Do not let go: "+st.verdict())
	}
	if len(st.Set) == 0 {
		warnings = append(warnings, "No brace is set with this move.")
	} else {
		warnings = append(warnings, fmt.Sprintf("Set %s before the hook or the hands let go of move %d.", strings.ReplaceAll(ids(st.Set), " ", ", "), st.Move))
	}
	if st.PegFirst {
		warnings = append(warnings, "Peg the joints of this move before the hook or the hands let go: without pegs it does not stay up.")
	}
	if st.stands() {
		warnings = append(warnings, fmt.Sprintf("Checked for a gust of %s. %s", mph(w.problem.Rules.WorkingGustMPS), st.verdict()))
	}
	if st.Overnight != nil && st.Overnight.Stands {
		warnings = append(warnings, fmt.Sprintf("It is left overnight: with all joints pegged it stands in a gust of %s.", mph(w.problem.Rules.NightGustMPS)))
	}
	if k := st.Knocked; k != nil && k.Verdict != nil && len(st.On) > 0 {
		words := "it still stands"
		if !k.Verdict.Stands {
			words = "it does not stand"
		}
		warnings = append(warnings, fmt.Sprintf("With any one brace knocked out, the worst being %s, %s in still air and in a gust of %s: %s",
			k.Brace, words, mph(w.problem.Rules.LowGustMPS), k.Verdict.Governing.Words))
	}
	return sheet.Page{
		Name: fmt.Sprintf("Brace sheet of move %d", st.Move), From: w.from, Warnings: append(warnings, w.standCautions()...),
		Tables: slices.Concat(
			w.braceTables("Set before letting go", st.Set, held),
			[]report.Table{strikeTable([]makesafe.Stage{*st.Stage})},
			w.braceTables("On already", before, held),
			[]report.Table{useTable("What is used most", st.Released, 12)},
		),
		Basis: w.standBasis(st.On),
	}
}
