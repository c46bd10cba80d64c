package page

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// How much the pages of the stand check show.
const (
	// statesShown is how many states a page of the table has.
	statesShown = 40
	// cutsShown is how many pieces the cut list of a page has; the file has all.
	cutsShown = 150
)

// standView is a view of the picture of a state.
type standView struct {
	// View is what the service calls it; Name is what people call it.
	View, Name string
}

// standViews are the views of the picture of a state, the first unless another is asked for.
func standViews() []standView {
	return []standView{
		{"braces", "Braced"}, {"unbraced", "Unbraced"}, {"sway", "Sway"}, {"bending", "Bending"}, {"axial", "Push and pull"}, {"use", "Use"},
	}
}

// viewOf gives the view that is asked for; the first when none is, or one that is none.
func viewOf(r *http.Request) string {
	asked := r.URL.Query().Get("view")
	views := standViews()
	if slices.ContainsFunc(views, func(v standView) bool { return v.View == asked }) {
		return asked
	}
	return views[0].View
}

// standingPage is every state of a raising, does it stand.
type standingPage struct {
	Check    part[*sequencingv1.RaisingCheck]
	Raising  part[*sequencingv1.Raising]
	Stock    part[*sequencingv1.BraceStock]
	Rules    part[*sequencingv1.StandRules]
	Progress part[*sitelogv1.Progress]
	// Rows are the states that this page of the table shows.
	Rows []stateRow
	// Move is the move whose state is in the picture, and View how it is looked at.
	Move int32
	View string
	// Form asks for what makes it safe tonight; nil for someone who cannot send forms.
	Form *safeForm
}

// stateRow is a line of the table of states: after a move once the hook let go, or later.
type stateRow struct {
	*sequencingv1.RaisingState
	// Assembly is the one that the move raises; empty for loose pieces.
	Assembly string
	// Later says when, for a line that is not of the moment when the hook lets go; empty for one that is.
	Later string
	// Verdict is what was found.
	Verdict *sequencingv1.Verdict
}

// Off are the ids of the braces that may come off after the move.
func (r stateRow) Off() []string {
	var ids []string
	for _, strike := range r.GetStrike() {
		ids = append(ids, strike.GetBrace())
	}
	return ids
}

// stateRows makes the lines of the table of states. That the next move is set beside a state has a line only where it falls
// then; its sheet has it always.
func stateRows(states []*sequencingv1.RaisingState, raising *sequencingv1.Raising) []stateRow {
	var rows []stateRow
	for _, state := range states {
		assembly := moveOf(raising, state.GetMove()).GetAssembly()
		rows = append(rows, stateRow{RaisingState: state, Assembly: assembly, Verdict: state.GetReleased()})
		if beside := state.GetBeside(); beside != nil && !beside.GetStands() {
			rows = append(rows, stateRow{RaisingState: state, Assembly: assembly, Later: "the next beside it", Verdict: beside})
		}
		if night := state.GetOvernight(); night != nil {
			rows = append(rows, stateRow{RaisingState: state, Assembly: assembly, Later: "overnight", Verdict: night})
		}
	}
	return rows
}

// moveOf gives a move by its number; nil when there is none.
func moveOf(raising *sequencingv1.Raising, number int32) *sequencingv1.Move {
	i := slices.IndexFunc(raising.GetMoves(), func(m *sequencingv1.Move) bool { return m.GetNumber() == number })
	if i < 0 {
		return nil
	}
	return raising.GetMoves()[i]
}

// stateOf gives the state after a move; nil when there is none.
func stateOf(check *sequencingv1.RaisingCheck, move int32) *sequencingv1.RaisingState {
	i := slices.IndexFunc(check.GetStates(), func(s *sequencingv1.RaisingState) bool { return s.GetMove() == move })
	if i < 0 {
		return nil
	}
	return check.GetStates()[i]
}

// fails gives the verdict of a state that does not stand, the earliest first and at last that with one brace knocked out; nil
// when all of them stand.
func fails(state *sequencingv1.RaisingState) *sequencingv1.Verdict {
	for _, verdict := range []*sequencingv1.Verdict{state.GetReleased(), state.GetBeside(), state.GetOvernight(), state.GetKnockedOut().GetVerdict()} {
		if verdict != nil && !verdict.GetStands() {
			return verdict
		}
	}
	return nil
}

// Falling is the first state that does not stand; nil when all stand.
func (p *standingPage) Falling() *sequencingv1.RaisingState {
	return stateOf(p.Check.Value, p.Check.Value.GetFirstFallingMove())
}

// FallingLeft is how many more states than the first do not stand.
func (p *standingPage) FallingLeft() int {
	n := 0
	for _, state := range p.Check.Value.GetStates() {
		if fails(state) != nil {
			n++
		}
	}
	return max(0, n-1)
}

// Why is the verdict of the first state that does not stand.
func (p *standingPage) Why() *sequencingv1.Verdict { return fails(p.Falling()) }

// Nearest is the line that uses most of what it has; of those that have no share, the first.
func (p *standingPage) Nearest() *stateRow {
	var nearest *stateRow
	for _, row := range stateRows(p.Check.Value.GetStates(), p.Raising.Value) {
		if nearest == nil || row.Verdict.GetGoverning().GetShare() > nearest.Verdict.GetGoverning().GetShare() {
			nearest = &row
		}
	}
	return nearest
}

// Nights are the moves after which a night falls.
func (p *standingPage) Nights() []string {
	var moves []string
	for _, state := range p.Check.Value.GetStates() {
		if state.GetOvernight() != nil {
			moves = append(moves, strconv.Itoa(int(state.GetMove())))
		}
	}
	return moves
}

// Now is the last move that is done before the next one; 0 for none.
func (p *standingPage) Now() int32 {
	return standingNow(p.Progress.Value, p.Raising.Value.GetComputedFrom())
}

// Next is the state that the next move leads to; nil when all are done, or when nobody knows which are.
func (p *standingPage) Next() *sequencingv1.RaisingState {
	if p.Progress.Value == nil {
		return nil
	}
	return stateOf(p.Check.Value, p.Now()+1)
}

// PegFirst are the moves whose joints are pegged before letting go.
func (p *standingPage) PegFirst() []string {
	var moves []string
	for _, state := range p.Check.Value.GetStates() {
		if state.GetPegFirst() {
			moves = append(moves, strconv.Itoa(int(state.GetMove())))
		}
	}
	return moves
}

// Gusts says whether any line of the table has a highest gust.
func (p *standingPage) Gusts() bool {
	return slices.ContainsFunc(p.Rows, func(r stateRow) bool { return r.Verdict.HighestGustMPerS != nil })
}

// Views are the views of the picture.
func (*standingPage) Views() []standView { return standViews() }

// Sets are all braces that are set, by move.
func (p *standingPage) Sets() []setBrace {
	return setBraces(p.Check.Value, p.Stock.Value)
}

// Cuts are the braces that the cut list shows.
func (p *standingPage) Cuts() []setBrace { return first(p.Sets(), cutsShown) }

// CutsLeft is how many braces the cut list leaves out.
func (p *standingPage) CutsLeft() int { return rest(cutsShown, len(p.Sets())) }

// Boards say how many pieces of each length of lumber the braces are cut from.
func (p *standingPage) Boards() []board { return boards(p.Sets()) }

// Assemblies are those that are lifted as one.
func (p *standingPage) Assemblies() []string { return assemblies(p.Raising.Value) }

// pictured chooses the state that the picture shows: the one that is asked for, or the first that does not stand, or what
// stands now, or what comes nearest to its limits.
func (p *standingPage) pictured(r *http.Request) int32 {
	if n, err := strconv.ParseInt(r.URL.Query().Get("move"), 10, 32); err == nil && stateOf(p.Check.Value, int32(n)) != nil {
		return int32(n)
	}
	if falling := p.Falling(); falling != nil {
		return falling.GetMove()
	}
	if now := standingNow(p.Progress.Value, p.Raising.Value.GetComputedFrom()); stateOf(p.Check.Value, now) != nil {
		return now
	}
	return p.Nearest().move()
}

func (r *stateRow) move() int32 {
	if r == nil {
		return 0
	}
	return r.GetMove()
}

// standingNow is the last move that was done before the next one, of the raising order that the page shows; 0 for none.
func standingNow(progress *sitelogv1.Progress, from *sheetv1.ComputedFrom) int32 {
	switch {
	case progress.GetComputedFrom().GetRevision() != from.GetRevision():
		return 0
	case progress.GetNextMove() > 0:
		return progress.GetNextMove() - 1
	}
	return progress.GetMovesDoneCount()
}

func (s *Site) loadStanding(job, revision string) func(context.Context) (*sequencingv1.RaisingCheck, error) {
	return func(ctx context.Context) (*sequencingv1.RaisingCheck, error) {
		return s.config.Sequencing.GetStanding(ctx, &sequencingv1.GetStandingRequest{Job: job, Revision: revision})
	}
}

func (s *Site) loadStock(ctx context.Context) (*sequencingv1.BraceStock, error) {
	return s.config.Sequencing.GetBraceStock(ctx, &sequencingv1.GetBraceStockRequest{})
}

func (s *Site) loadRules(ctx context.Context) (*sequencingv1.StandRules, error) {
	return s.config.Sequencing.GetStandRules(ctx, &sequencingv1.GetStandRulesRequest{})
}

// standing answers with the page of all states.
func (s *Site) standing(w http.ResponseWriter, r *http.Request) {
	v, body, ok := s.standingView(w, r, true)
	if !ok {
		return
	}
	if v.CSRF != "" && body.Raising.Value != nil {
		body.Form = newSafeForm(body, r.URL.Query().Get("after"))
	}
	s.render(w, r, http.StatusOK, "standing", v)
}

// standingView begins the page of all states, with them or with the form alone; when it cannot, it has answered.
func (s *Site) standingView(w http.ResponseWriter, r *http.Request, states bool) (*view, *standingPage, bool) {
	v, ok := s.sheetView(w, r, "Standing", "standing")
	if !ok {
		return nil, nil, false
	}
	body := &standingPage{View: viewOf(r)}
	job, revision := v.Job.GetId(), v.revision()
	loaders := []func(context.Context){
		load(&body.Raising, s.loadRaising(job, revision)),
		load(&body.Progress, s.loadProgress(job)),
		load(&body.Stock, s.loadStock),
		load(&body.Rules, s.loadRules),
	}
	if states {
		loaders = append(loaders, load(&body.Check, s.loadStanding(job, revision)))
	}
	each(r.Context(), loaders...)
	v.computedFrom(body.Check.Value, body.Raising.Value)
	v.Block.Cautions = cautions(body.Check.Value.GetCautions())
	body.Rows = stateRows(paged(v, r, body.Check.Value.GetStates(), statesShown), body.Raising.Value)
	body.Move = body.pictured(r)
	v.Body = body
	return v, body, true
}
