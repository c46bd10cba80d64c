package sequencing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/report"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// stateTable has one row for each state. As CSV it is read by programs, so numbers keep all their digits.
func (w *whole) stateTable() report.Table {
	table := report.Table{
		Title: "After each move, once the hook or the hands have let go, and overnight",
		Columns: []report.Column{
			sheet.Number("move", "", 0),
			{Head: "peg before letting go"},
			{Head: "after release"},
			{Head: "what governs"},
			sheet.Number("share of capacity", "", report.Exact),
			sheet.Number("gust checked", "m/s", report.Exact), sheet.Number("highest gust", "m/s", report.Exact), sheet.Number("sway at the top", "mm", report.Exact),
			{Head: "overnight"},
			{Head: "what governs overnight"},
			sheet.Number("share overnight", "", report.Exact),
			{Head: "while the next is set beside it"},
			{Head: "worst brace knocked out"},
			{Head: "without it"},
			{Head: "braces to set"},
			{Head: "braces that may come off"},
			sheet.Number("braces on", "", 0),
		},
	}
	for i := range w.plan.Stages {
		s := &w.plan.Stages[i]
		peg := report.Empty()
		if s.PegFirst {
			peg = report.Text("yes")
		}
		row := []report.Cell{report.Whole(s.Move), peg, verdictCell(s.Released), governing(s.Released), share(s.Released)}
		row = append(row, report.Number(w.problem.Rules.WorkingGustMPS), highest(s.Released), sway(s.Released))
		row = append(row, verdictCell(s.Overnight), governing(s.Overnight), share(s.Overnight), verdictCell(s.Beside))
		knocked, without := report.Empty(), report.Empty()
		if s.Knocked != nil && s.Knocked.Brace != "" {
			knocked, without = report.Text(s.Knocked.Brace), verdictCell(s.Knocked.Verdict)
		}
		row = append(row, knocked, without, report.Text(ids(s.Set)), report.Text(struck(s.Strike)), report.Whole(len(s.On)))
		table.Rows = append(table.Rows, row)
	}
	return table
}

func verdictCell(v *standing.Verdict) report.Cell {
	switch {
	case v == nil:
		return report.Empty()
	case v.Stands:
		return report.Text("stands")
	}
	return report.Text("does not stand")
}

func governing(v *standing.Verdict) report.Cell {
	if v == nil {
		return report.Empty()
	}
	return report.Text(v.Governing.Words)
}

// share is that of what governs; a free motion has none.
func share(v *standing.Verdict) report.Cell {
	if v == nil || math.IsInf(v.Governing.Share, 0) {
		return report.Empty()
	}
	return report.Number(v.Governing.Share)
}

func highest(v *standing.Verdict) report.Cell {
	if v == nil || v.HighestGustMPS < 0 {
		return report.Empty()
	}
	return report.Number(v.HighestGustMPS)
}

func sway(v *standing.Verdict) report.Cell {
	if v == nil || math.IsInf(v.SwayMM, 0) {
		return report.Empty()
	}
	return report.Number(v.SwayMM)
}

func ids(bs []brace.Brace) string {
	var out []string
	for _, b := range bs {
		out = append(out, b.ID)
	}
	return strings.Join(out, " ")
}

func struck(ss []makesafe.Strike) string {
	var out []string
	for _, s := range ss {
		out = append(out, s.ID)
	}
	return strings.Join(out, " ")
}

// placedTable lists braces with what to cut for them and what they bear. Lengths are millimetres in CSV.
func (w *whole) placedTable(title string, braces []brace.Brace, forces map[string]standing.Forces) report.Table {
	length := func(head string) report.Column {
		return report.Column{Head: head, Align: report.AlignRight, Length: true}
	}
	table := report.Table{
		Title: title,
		Columns: []report.Column{
			{Head: "brace"},
			{Head: "holds"},
			{Head: "lumber"},
			length("length, long point to long point"), length("cut from"),
			sheet.Number("top cut off square", "°", 1), sheet.Number("foot cut off square", "°", 1), sheet.Number("slope from level", "°", 1),
			length("top X"), length("top Y"), length("top Z"), length("foot X"), length("foot Y"), length("foot Z"),
			{Head: "foot on"},
			{Head: "fastening"},
			{Head: "anchor"},
			sheet.Number("most pull", "N", 0), sheet.Number("most push", "N", 0),
			{Head: "what to do"},
		},
	}
	for _, b := range braces {
		cut := w.cut(b.ID)
		f, known := forces[b.ID]
		pull, push := report.Empty(), report.Empty()
		if known {
			pull, push = report.Number(finite(f.Pull)), report.Number(finite(f.Push))
		}
		stock := report.Empty()
		if cut.StockMM > 0 {
			stock = report.Length(cut.StockMM)
		}
		table.Rows = append(table.Rows, []report.Cell{
			report.Text(b.ID), report.Text(b.Mark), report.Text(b.Lumber.Name), report.Length(cut.LengthMM), stock,
			report.Number(cut.TopBevelDeg), report.Number(cut.FootBevelDeg), report.Number(cut.SlopeDeg),
			report.Length(b.Top.X), report.Length(b.Top.Y), report.Length(b.Top.Z), report.Length(b.Foot.X), report.Length(b.Foot.Y), report.Length(b.Foot.Z),
			report.Text(footWords(b)), report.Text(b.Head.Name), report.Text(b.Anchor.Name), pull, push, report.Text(cut.Words),
		})
	}
	return table
}

func footWords(b brace.Brace) string {
	switch {
	case b.FootTimber >= 0:
		return b.FootMark
	case b.Anchor.Ground == model.OnGround:
		return "ground outside the deck"
	}
	return "deck"
}

// cut is what to cut for a brace.
func (w *whole) cut(id string) brace.Cut {
	i := slices.IndexFunc(w.plan.Cuts, func(c brace.Cut) bool { return c.ID == id })
	if i < 0 {
		return brace.Cut{ID: id}
	}
	return w.plan.Cuts[i]
}

// forces are the largest of each brace in a stage, by id.
func forces(s *makesafe.Stage) map[string]standing.Forces {
	out := map[string]standing.Forces{}
	add := func(v *standing.Verdict, on []brace.Brace) {
		if v == nil {
			return
		}
		for i, f := range v.BraceForces[:min(len(v.BraceForces), len(on))] {
			had := out[on[i].ID]
			out[on[i].ID] = standing.Forces{Pull: max(had.Pull, f.Pull), Push: max(had.Push, f.Push)}
		}
	}
	add(s.Released, s.On)
	add(s.Overnight, kept(s))
	add(s.Beside, kept(s))
	return out
}

// useTable lists what uses most of its capacity in a state.
func useTable(title string, v *standing.Verdict, most int) report.Table {
	table := report.Table{
		Title: title,
		Columns: []report.Column{
			{Head: "how it would fail"}, {Head: "piece"}, sheet.Number("share of capacity", "", 2), {Head: "combination"}, {Head: "in words"}, {Head: "formula"}, {Head: "source"}, {Head: "status"},
		},
	}
	if v == nil {
		return table
	}
	for _, u := range v.Worst[:min(len(v.Worst), most)] {
		part := report.Empty()
		if !math.IsInf(u.Share, 0) {
			part = report.Number(u.Share)
		}
		table.Rows = append(table.Rows, []report.Cell{
			report.Text(u.Kind.String()), report.Text(u.Piece), part, report.Text(u.Combination), report.Text(u.Words), report.Text(u.Formula),
			report.Text(u.Source), report.Text(u.Status.String()),
		})
	}
	return table
}

// strikeTable says which braces may come off and what must be on before.
func strikeTable(stages []makesafe.Stage) report.Table {
	table := report.Table{
		Title:   "Braces that may come off",
		Columns: []report.Column{sheet.Number("after move", "", 0), {Head: "brace"}, {Head: "once"}},
	}
	for i := range stages {
		for _, s := range stages[i].Strike {
			table.Rows = append(table.Rows, []report.Cell{report.Whole(stages[i].Move), report.Text(s.ID), report.Text(s.Once)})
		}
	}
	return table
}

// warnings are what a reader of a whole raising sees first.
func (w *whole) warnings() []string {
	p := w.plan
	first := fmt.Sprintf("Every state of the %d moves stands, with the braces listed.", len(p.Stages))
	switch {
	case w.stands():
	case len(p.Stages) == len(w.problem.Moves):
		first = fmt.Sprintf("The states of the %d moves stand with all braces listed, but were not all checked with each of them knocked out: do not rely on it, ask again.", len(p.Stages))
	default:
		first = fmt.Sprintf("Of %d moves only the first %d were checked; they stand with the braces listed.", len(w.problem.Moves), len(p.Stages))
	}
	if p.First > 0 {
		first = fmt.Sprintf("After move %d it does not stand.", p.First)
		if s := w.stage(p.First); s != nil {
			first = fmt.Sprintf("After move %d it does not stand: %s", p.First, s.words())
		}
	}
	return slices.Concat([]string{first}, w.standCautions(), p.Notes)
}

// stage is that of a move; nil when there is none.
func (w *whole) stage(n int) *stage {
	for i := range w.plan.Stages {
		if w.plan.Stages[i].Move == n {
			return &stage{&w.plan.Stages[i]}
		}
	}
	return nil
}

// stage is the state after a move, with words for it.
type stage struct{ *makesafe.Stage }

// words say why it does not stand, or what governs.
func (s *stage) words() string {
	if s.Refusal != "" {
		return s.Refusal
	}
	for _, v := range []*standing.Verdict{s.Released, s.Overnight, s.Beside} {
		if v != nil && !v.Stands {
			return v.Governing.Words
		}
	}
	if s.Released != nil {
		return s.Released.Governing.Words
	}
	return ""
}

// stands says whether it does so in every check of it.
func (s *stage) stands() bool {
	for _, v := range []*standing.Verdict{s.Released, s.Overnight, s.Beside} {
		if v != nil && !v.Stands {
			return false
		}
	}
	return s.Refusal == "" && s.Released != nil
}

// verdict is the state in one sentence.
func (s *stage) verdict() string {
	if s.stands() {
		return fmt.Sprintf("After move %d it stands. What governs: %s", s.Move, s.words())
	}
	return fmt.Sprintf("After move %d it does not stand: %s", s.Move, s.words())
}
