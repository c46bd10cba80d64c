package sequencing

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/standup"
)

// The bounds of a lift's settings.
const (
	// slingDeg is the angle of slings of which none is said.
	slingDeg       = 60.0
	leastSlingDeg  = 30
	mostSlingDeg   = 90
	mostDynamic    = 3
	mostLiftPoints = 8
	leastSteps     = 2
	mostSteps      = 91
)

// CheckLift says how a bent bears being stood up.
func (s *Service) CheckLift(ctx context.Context, req *sequencingv1.CheckLiftRequest) (*sequencingv1.LiftCheck, error) {
	in, err := s.site(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	r := reader{f: in.frame}
	problem := r.lift(req, stockOf(in.stock))
	if err := r.err(); err != nil {
		return nil, err
	}
	problem.Rules = rulesOf(in.rules)
	key := compute.Key("lift", in.named(), in.rules, in.stock, req)
	got, err := compute.Do(ctx, s.pool, s.lifts, key, func(ctx context.Context) (*standup.Answer, error) {
		return standup.Check(ctx, problem)
	})
	if err != nil {
		return nil, refused(err)
	}
	return in.liftPB(got, &problem), nil
}

// lift reads the problem of a request; its rules are left out.
func (r *reader) lift(req *sequencingv1.CheckLiftRequest, stock brace.Stock) standup.Problem {
	p := standup.Problem{Frame: r.f, Pieces: slices.Sorted(slices.Values(r.f.Members(req.GetAssembly()))), Steps: int(req.GetStepCount())}
	if len(p.Pieces) == 0 {
		r.add("assembly", "there is no assembly %q in this frame; it has %s", req.GetAssembly(), r.assemblies())
		return p
	}
	p.Pegged = r.pegged("unpegged", req.GetUnpegged())
	if len(req.GetPoints()) > mostLiftPoints {
		r.add("points", "has %d places; slings take hold at up to %d", len(req.GetPoints()), mostLiftPoints)
		return p
	}
	for i, at := range req.GetPoints() {
		path := fmt.Sprintf("points[%d]", i)
		t := r.member(path+".mark", at.GetMark(), p.Pieces)
		if t >= 0 {
			r.within(path+".from_start_mm", at.GetFromStartMm(), 0, r.f.Solid(t).ShoulderMM, "mm")
		}
		p.Points = append(p.Points, standup.Point{Timber: t, FromStartMM: at.GetFromStartMm()})
	}
	if req.SlingDeg != nil {
		r.within("sling_deg", req.GetSlingDeg(), leastSlingDeg, mostSlingDeg, "degrees")
		p.SlingDeg = req.GetSlingDeg()
	}
	if req.DynamicFactor != nil {
		r.within("dynamic_factor", req.GetDynamicFactor(), 1, mostDynamic, "")
		p.DynamicFactor = req.GetDynamicFactor()
	}
	if p.Steps != 0 {
		r.within("step_count", float64(p.Steps), leastSteps, mostSteps, "steps")
	}
	p.FeetTied = r.feet(req.GetFeetTied(), p.Pieces)
	if id := req.GetStrongback(); id != "" {
		l := pick(r, "strongback", id, stock.Lumber, func(l brace.Lumber) string { return l.ID })
		p.Strongback = &l
	}
	return p
}

func (r *reader) assemblies() string {
	var ids []string
	for _, a := range r.f.Assemblies() {
		ids = append(ids, a.ID)
	}
	if len(ids) == 0 {
		return "none"
	}
	return strings.Join(ids, ", ")
}

// member finds a stick among the pieces of an assembly.
func (r *reader) member(path, mark string, pieces []int) int {
	t, ok := r.f.Index(mark)
	if !ok || !slices.Contains(pieces, t) {
		r.add(path, "%q is no stick of this assembly", mark)
		return -1
	}
	return t
}

// feet are the posts whose feet are tied.
func (r *reader) feet(marks []string, pieces []int) []int {
	var out []int
	if slices.Contains(marks, all) {
		if len(marks) > 1 {
			r.add("feet_tied", "names posts beside %q; give one of the two", all)
		}
		for _, t := range pieces {
			if r.f.Timbers()[t].Role == frame.RolePost {
				out = append(out, t)
			}
		}
		return out
	}
	for i, mark := range marks {
		at := fmt.Sprintf("feet_tied[%d]", i)
		t := r.member(at, mark, pieces)
		if t >= 0 && r.f.Timbers()[t].Role != frame.RolePost {
			r.add(at, "%s is no post; feet of posts are tied", mark)
		}
		out = append(out, t)
	}
	if len(marks) == 1 {
		r.add("feet_tied", "names one post; it takes two or more to tie feet to one another")
	}
	return out
}

// liftPB is the answer as a message.
func (in *site) liftPB(a *standup.Answer, p *standup.Problem) *sequencingv1.LiftCheck {
	out := &sequencingv1.LiftCheck{
		ComputedFrom: in.from, Holds: a.Holds, Governing: usePB(a.Governing), Notes: slices.Clone(a.Notes),
		Basis: in.liftBasis(p), Cautions: in.liftCautions(),
	}
	for i := range a.Steps {
		out.Steps = append(out.Steps, in.stepPB(&a.Steps[i]))
	}
	for _, r := range a.Remedies {
		out.Remedies = append(out.Remedies, &sequencingv1.LiftRemedy{Words: r.Words, Holds: r.Holds, Governing: usePB(r.Governing)})
	}
	for _, at := range a.Points {
		out.Points = append(out.Points, &sequencingv1.LiftPoint{Mark: in.frame.Timbers()[at.Timber].Mark, FromStartMm: at.FromStartMM})
	}
	return out
}

func (in *site) stepPB(s *standup.Step) *sequencingv1.LiftStep {
	out := &sequencingv1.LiftStep{
		TiltDeg: s.TiltDeg, Hanging: s.Hanging, HookN: finite(s.HookN), BaseUpN: finite(s.BaseUpN), BaseAcrossN: finite(s.BaseAcrossN),
		BendingAcrossNm: finite(s.BendingAcrossNM), BendingMark: s.BendingMark,
		MoveMm: finite(s.MoveMM), SqueezeN: finite(s.SqueezeN), Governing: usePB(s.Governing),
	}
	if f := s.FrictionNeeded; !math.IsInf(f, 0) && !math.IsNaN(f) {
		out.FrictionNeeded = &f
	}
	for _, j := range s.Pulled {
		out.JointsPulled = append(out.JointsPulled, in.frame.Joints()[j].ID)
	}
	return out
}
