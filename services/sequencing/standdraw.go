package sequencing

import (
	"context"
	"fmt"
	"slices"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// The views of a state.
const (
	viewBraces   = "braces"
	viewUnbraced = "unbraced"
	viewSway     = "sway"
	viewBending  = "bending"
	viewAxial    = "axial"
	viewUse      = "use"
)

func views() []string {
	return []string{viewBraces, viewUnbraced, viewSway, viewBending, viewAxial, viewUse}
}

// drawnCaution stands on every picture of a state.
const drawnCaution = "A check for planning: temporary works need a qualified person and the rules of the place."

// DrawStand draws the state after a move.
func (s *Service) DrawStand(ctx context.Context, req *sequencingv1.DrawStandRequest) (*sheetv1.Document, error) {
	view := req.GetView()
	if view == "" {
		view = viewBraces
	}
	if !slices.Contains(views(), view) {
		f := fault.Invalid("view", "%q is not offered; ask for %s", view, strings.Join(views(), ", "))
		f.Reason = ReasonView
		return nil, f
	}
	w, st, err := s.stateAfter(ctx, req.GetJob(), req.GetRevision(), int(req.GetMove()))
	if err != nil {
		return nil, err
	}
	svg, err := s.drawState(ctx, w, st, view)
	if err != nil {
		return nil, err
	}
	return &sheetv1.Document{
		MediaType: "image/svg+xml", Content: svg,
		Filename: fmt.Sprintf("standing-%d-%s-%s-r%d.svg", st.Move, view, w.from.GetJob(), w.from.GetRevision()),
	}, nil
}

// drawState draws a state, or gives the kept drawing of it.
func (s *Service) drawState(ctx context.Context, w *whole, st *stage, view string) ([]byte, error) {
	picture, err := s.picture(ctx, w.answer)
	if err != nil {
		return nil, err
	}
	svg, err := compute.Do(ctx, s.pool, s.drawings, compute.Key("stand", w.key, st.Move, view, w.block()),
		func(ctx context.Context) ([]byte, error) {
			shown, err := w.view(ctx, st, view)
			if err != nil {
				return nil, err
			}
			svg := drawing.SVG(picture.Stand(*shown))
			if len(svg) > keptBytes {
				compute.Uncached(ctx)
			}
			return svg, nil
		})
	return svg, refused(err)
}

// view is what a picture of a state shows.
func (w *whole) view(ctx context.Context, st *stage, name string) (*framedraw.StandView, error) {
	out := &framedraw.StandView{
		Name:     fmt.Sprintf("state after move %d of %d, %s", st.Move, len(w.problem.Moves), viewWords(name)),
		Cautions: []string{drawnCaution}, Block: w.block(),
	}
	for _, m := range w.raising.Moves {
		switch {
		case m.Number < st.Move:
			out.Standing = append(out.Standing, m.Pieces...)
		case m.Number == st.Move:
			out.Fresh = append(out.Fresh, m.Pieces...)
		default:
			out.Coming = append(out.Coming, m.Pieces...)
		}
	}
	moment := makesafe.Released
	if st.PegFirst {
		moment = makesafe.Pegged
	}
	state := w.problem.State(st.Move, st.On, moment)
	if name == viewBraces {
		w.drawBraces(out, st, st.Released)
		out.Verdict, out.Falls = st.verdict(), !st.stands()
		return out, nil
	}
	if name == viewUnbraced {
		state.Braces = nil
	}
	v, err := standing.Check(ctx, w.frame, state, w.problem.Rules, standing.Ask{Keep: name != viewUnbraced})
	if err != nil {
		return nil, err
	}
	out.Falls = !v.Stands
	switch {
	case name == viewUnbraced && v.Stands:
		out.Verdict = "It stands without temporary braces. What governs: " + v.Governing.Words
	case name == viewUnbraced:
		out.Verdict = "Without temporary braces it does not stand: " + v.Governing.Words
	case v.Stands:
		out.Verdict = "It stands. What governs: " + v.Governing.Words
	default:
		out.Verdict = "It does not stand: " + v.Governing.Words
	}
	if name == viewUnbraced {
		return out, nil
	}
	w.drawBraces(out, st, v)
	return out, w.drawRun(out, v, state, name)
}

func viewWords(name string) string {
	switch name {
	case viewUnbraced:
		return "without temporary braces"
	case viewSway:
		return "sway"
	case viewBending:
		return "bending moments"
	case viewAxial:
		return "axial forces"
	case viewUse:
		return "use of capacity"
	}
	return "temporary braces"
}

// drawBraces adds the braces that are on, with their use in a verdict.
func (w *whole) drawBraces(out *framedraw.StandView, st *stage, v *standing.Verdict) {
	fresh := map[string]bool{}
	for _, b := range st.Set {
		fresh[b.ID] = true
	}
	used := map[string]float64{}
	if v != nil {
		for _, u := range v.Worst {
			used[u.Piece] = max(used[u.Piece], u.Share)
		}
	}
	for _, b := range st.On {
		out.Braces = append(out.Braces, framedraw.StandBrace{ID: b.ID, Foot: b.Foot, Top: b.Top, New: fresh[b.ID], Use: used[b.ID]})
	}
}

// drawRun adds what the combination that governs does to the state.
func (w *whole) drawRun(out *framedraw.StandView, v *standing.Verdict, state standing.Situation, name string) error {
	if name == viewUse {
		out.Show, out.Uses = framedraw.ShowUse, v.Uses
		return nil
	}
	show := map[string]framedraw.StandShow{viewSway: framedraw.ShowSway, viewBending: framedraw.ShowBending, viewAxial: framedraw.ShowAxial}
	out.Show = show[name]
	run := governingRun(v, name == viewSway)
	if run == nil {
		out.Case = "none: it moves freely"
		return nil
	}
	st := v.Structures[run.Stiffness]
	out.Case = run.Name
	d := drawn{st: st, out: out, show: out.Show, timbers: slices.Concat(state.Standing, state.OnHook)}
	if run.Result.Outcome != statics.Solved {
		out.Free = true
		d.motion(&run.Result.Motions[0])
		return nil
	}
	solver, err := statics.Prepare(st.Model)
	if err != nil {
		return fmt.Errorf("prepare the structure of a picture: %w", err)
	}
	d.result(solver, run.Result)
	return nil
}

// governingRun is the run of what governs; else the first that has something to show.
func governingRun(v *standing.Verdict, motions bool) *standing.Run {
	fits := func(r *standing.Run) bool {
		return r.Result != nil && v.Structures[r.Stiffness] != nil &&
			(r.Result.Outcome == statics.Solved || motions && len(r.Result.Motions) > 0)
	}
	var first *standing.Run
	for i := range v.Runs {
		r := &v.Runs[i]
		if !fits(r) {
			continue
		}
		if r.Name == v.Governing.Combination {
			return r
		}
		if first == nil {
			first = r
		}
	}
	return first
}

// drawn puts displacements and forces of a structure into a picture.
type drawn struct {
	st      *model.Structure
	out     *framedraw.StandView
	show    framedraw.StandShow
	timbers []int
}

// samples is at how many places along each member a line is drawn.
const samples = 5

// toMM turns metres into millimetres.
const toMM = 1000

// ends are the ends of a member, in metres.
func (d *drawn) ends(k int) (a, b geom.Vec) {
	m := &d.st.Model.Members[k]
	return geom.Add(d.st.Model.Nodes[m.I].At, m.ArmI), geom.Add(d.st.Model.Nodes[m.J].At, m.ArmJ)
}

// result draws an answer with forces.
func (d *drawn) result(solver *statics.Solver, r *statics.Result) {
	for _, t := range d.timbers {
		if len(d.st.Members[t]) == 0 {
			continue
		}
		if d.show == framedraw.ShowSway {
			d.sway(t, func(k int, atM float64) geom.Vec { return solver.Shape(r, k, atM) })
			continue
		}
		d.force(t, func(k int, atM float64) statics.Vec6 { return solver.Forces(r, k, atM) })
	}
	for i, k := range d.st.BraceMembers {
		if i >= len(d.out.Braces) || k < 0 {
			continue
		}
		a, b := d.ends(k)
		length := geom.Dist(a, b)
		br := &d.out.Braces[i]
		br.TopMove, br.FootMove = geom.Scale(toMM, solver.Shape(r, k, 0)), geom.Scale(toMM, solver.Shape(r, k, length))
		br.AxialN = solver.Forces(r, k, length/2)[0]
	}
}

// sway draws the displaced shape of a stick.
func (d *drawn) sway(t int, shape func(member int, atM float64) geom.Vec) {
	s := framedraw.StickSway{Stick: t}
	for _, k := range d.st.Members[t] {
		a, b := d.ends(k)
		length := geom.Dist(a, b)
		for i := range samples {
			share := float64(i) / (samples - 1)
			s.At = append(s.At, geom.Scale(toMM, geom.Along(a, share, geom.Sub(b, a))))
			s.Move = append(s.Move, geom.Scale(toMM, shape(k, share*length)))
		}
	}
	d.out.Sways = append(d.out.Sways, s)
}

// force draws the axial force or the bending of a stick: of its two bendings that which is larger, on the side in tension.
func (d *drawn) force(t int, forces func(member int, atM float64) statics.Vec6) {
	type point struct {
		at   geom.Vec
		f    statics.Vec6
		y, z geom.Vec
	}
	var points []point
	var my, mz float64
	for _, k := range d.st.Members[t] {
		a, b := d.ends(k)
		length := geom.Dist(a, b)
		y, z := sides(geom.Sub(b, a), d.st.Model.Members[k].YRef)
		for i := range samples {
			share := float64(i) / (samples - 1)
			f := forces(k, share*length)
			my, mz = max(my, f[4], -f[4]), max(mz, f[5], -f[5])
			points = append(points, point{geom.Scale(toMM, geom.Along(a, share, geom.Sub(b, a))), f, y, z})
		}
	}
	s := framedraw.StickForce{Stick: t}
	for _, p := range points {
		s.At = append(s.At, p.at)
		switch {
		case d.show == framedraw.ShowAxial:
			s.Values = append(s.Values, p.f[0])
		case mz >= my:
			// A positive Mz stretches the side against local y.
			s.Values, s.Sides = append(s.Values, p.f[5]), append(s.Sides, geom.Scale(-1, p.y))
		default:
			s.Values, s.Sides = append(s.Values, p.f[4]), append(s.Sides, p.z)
		}
	}
	d.out.Forces = append(d.out.Forces, s)
}

// sides are the local y and z of a member, as package statics has them.
func sides(along, ref geom.Vec) (y, z geom.Vec) {
	x := geom.Unit(along)
	if ref == (geom.Vec{}) {
		ref = geom.V(0, 0, 1)
		if x.Z*x.Z > 1-1e-6 {
			ref = geom.V(1, 0, 0)
		}
	}
	z = geom.Unit(geom.Cross(x, ref))
	return geom.Cross(z, x), z
}

// motion draws a free motion, its farthest point moving by a metre.
func (d *drawn) motion(m *statics.Motion) {
	move := func(node int, arm geom.Vec) geom.Vec {
		n := m.Nodes[node]
		return geom.Add(geom.V(n[0], n[1], n[2]), geom.Cross(geom.V(n[3], n[4], n[5]), arm))
	}
	between := func(k int, atM float64) geom.Vec {
		member := &d.st.Model.Members[k]
		a, b := d.ends(k)
		from, to := move(member.I, member.ArmI), move(member.J, member.ArmJ)
		return geom.Along(from, atM/geom.Dist(a, b), geom.Sub(to, from))
	}
	for _, t := range d.timbers {
		if len(d.st.Members[t]) > 0 {
			d.sway(t, between)
		}
	}
	for i, k := range d.st.BraceMembers {
		if i >= len(d.out.Braces) || k < 0 {
			continue
		}
		member := &d.st.Model.Members[k]
		d.out.Braces[i].TopMove = geom.Scale(toMM, move(member.I, member.ArmI))
		d.out.Braces[i].FootMove = geom.Scale(toMM, move(member.J, member.ArmJ))
	}
}
