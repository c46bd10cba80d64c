package sequencing

import (
	"context"
	"fmt"
	"slices"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
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
	braces := w.placedTable("All temporary braces, in the order in which they are set", w.braces(), nil)
	tables := []report.Table{readable(w.stateTable()), readable(braces), strikeTable(w.plan.Stages)}
	if s := w.stage(w.plan.First); s != nil {
		tables = slices.Insert(tables, 1, useTable(fmt.Sprintf("What is used most after move %d", s.Move), s.Released, 12))
	}
	return sheet.Page{
		Name: "Does it stand", From: w.from, Warnings: w.warnings(), Tables: tables, Basis: w.standBasis(w.braces()),
	}
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
	w, err := s.standing(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	st, err := w.move(int(req.GetMove()))
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
	warnings := []string{st.verdict()}
	if len(st.Set) == 0 {
		warnings = append(warnings, "No brace is set with this move.")
	} else {
		warnings = append(warnings, fmt.Sprintf("Set these %d before the hook or the hands let go of move %d.", len(st.Set), st.Move))
	}
	if st.PegFirst {
		warnings = append(warnings, "Peg the joints of this move before the hook or the hands let go: without pegs it does not stay up.")
	}
	if k := st.Knocked; k != nil && k.Verdict != nil && len(st.On) > 0 {
		words := "it still stands"
		if !k.Verdict.Stands {
			words = "it does not stand"
		}
		warnings = append(warnings, fmt.Sprintf("With any one brace knocked out, the worst being %s, %s in still air and in a gust of %g m/s: %s",
			k.Brace, words, w.problem.Rules.LowGustMPS, k.Verdict.Governing.Words))
	}
	return sheet.Page{
		Name: fmt.Sprintf("Brace sheet of move %d", st.Move), From: w.from, Warnings: append(warnings, w.standCautions()...),
		Tables: []report.Table{
			readable(w.placedTable("Set before letting go", st.Set, held)),
			readable(w.placedTable("On already", before, held)),
			strikeTable([]makesafe.Stage{*st.Stage}),
			useTable("What is used most", st.Released, 12),
		},
		Basis: w.standBasis(st.On),
	}
}
