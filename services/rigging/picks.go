package rigging

import (
	"context"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framefetch"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/rigging/chart"
	"github.com/pikepole/pikepole/services/rigging/picking"
)

// picks plans every pick of a frame, or gives the kept plan of the same frame, site, crane and gear.
func (s *Service) picks(ctx context.Context, jobID, revision string) (*riggingv1.Picks, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	job, err := s.frames.Job(ctx, jobID)
	if err != nil {
		return nil, err
	}
	loaded, err := s.frames.Load(ctx, jobID, revision)
	if err != nil {
		return nil, err
	}
	crane, gear, err := s.book(ctx, caller.Company, job.GetCrane())
	if err != nil {
		return nil, err
	}
	site, err := parseSite(job, crane)
	if err != nil {
		return nil, err
	}
	key := cacheKey(caller.Company, job, loaded, crane, gear)
	plan, err := compute.Do(ctx, s.pool, s.cache, key, func(ctx context.Context) ([]*riggingv1.Pick, error) {
		picks, err := picking.Plan(ctx, loaded.Frame, site, parseGear(gear), s.settings)
		if err != nil {
			return nil, err
		}
		return renderPicks(loaded.Frame, picks), nil
	})
	if err != nil {
		return nil, err
	}
	out := &riggingv1.Picks{
		ComputedFrom: loaded.From, Crane: crane, Picks: plan,
		Basis:    basis(s.settings, site),
		Cautions: cautions(plan, crane, job.GetSite()),
	}
	if site.SetUp != nil {
		out.CraneSetUp = site.SetUp.ID
	}
	return out, nil
}

// book reads the job's crane, nil when the book does not hold it, and all gear of the company.
func (s *Service) book(ctx context.Context, company, craneID string) (*riggingv1.Crane, []*riggingv1.Gear, error) {
	var crane *riggingv1.Crane
	var gear []*riggingv1.Gear
	err := s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		crane = nil
		if craneID != "" {
			c, err := cranes().get(ctx, tx, company, craneID)
			if err != nil && !fault.HasReason(err, ReasonCraneNotFound) {
				return err
			}
			if err == nil {
				crane = c
			}
		}
		var err error
		gear, err = gears().list(ctx, tx, company, "", gears().most)
		return err
	})
	return crane, gear, err
}

// cacheKey names all that a plan of picks is computed from.
func cacheKey(company string, job *framesv1.Job, loaded framefetch.Loaded, crane *riggingv1.Crane, gear []*riggingv1.Gear) string {
	parts := []any{"picks", company, loaded.Frame.Digest(), job.GetCrane(), job.GetSite(), crane}
	for _, g := range gear {
		parts = append(parts, g)
	}
	return compute.Key(parts...)
}

func parseSite(job *framesv1.Job, crane *riggingv1.Crane) (picking.Site, error) {
	site := picking.Site{CraneID: job.GetCrane()}
	if crane != nil {
		ratings, faults := chart.Parse(chartRows(crane.GetChart()))
		if len(faults) > 0 {
			return site, fault.New(fault.Precondition, fault.ReasonInvalid,
				"The chart of crane %s cannot be read (%s): put the crane into the company book again.", crane.GetId(), faults[0].Message)
		}
		site.Crane = &picking.Crane{
			Chart: ratings, DeductionKG: crane.GetDeductionKg(), TwoBlockMM: crane.GetTwoBlockMarginMm(),
			PivotBackMM: crane.GetBoomPivotBackMm(), PivotHeightMM: crane.GetBoomPivotHeightMm(),
		}
	}
	if setUps := job.GetSite().GetCraneSetUps(); len(setUps) > 0 {
		first := setUps[0]
		site.SetUp = &picking.SetUp{ID: first.GetId(), Center: vec(first.GetCenter()), BoomLengthMM: first.GetBoomLengthMm()}
	}
	for _, z := range job.GetSite().GetStagingZones() {
		zone := &picking.Zone{ID: z.GetId(), Center: vec(z.GetCenter())}
		switch {
		case z.GetUse() == framesv1.StagingUse_STAGING_USE_STACK && site.Stack == nil:
			site.Stack = zone
		case z.GetUse() != framesv1.StagingUse_STAGING_USE_STACK && site.Loose == nil:
			site.Loose = zone
		}
	}
	return site, nil
}

func parseGear(gear []*riggingv1.Gear) []picking.Gear {
	out := make([]picking.Gear, len(gear))
	for i, g := range gear {
		out[i] = picking.Gear{
			ID: g.GetId(), Kind: picking.Kind(g.GetKind()), Count: int(g.GetCount()), LengthMM: g.GetLengthMm(),
			VerticalKG: g.GetRatedVerticalKg(), ChokerKG: g.GetRatedChokerKg(), BasketKG: g.GetRatedBasketKg(), MassKG: g.GetMassKg(),
		}
	}
	return out
}

func vec(p *framev1.Point) geom.Vec { return geom.V(p.GetXMm(), p.GetYMm(), p.GetZMm()) }

func point(v geom.Vec) *framev1.Point { return &framev1.Point{XMm: v.X, YMm: v.Y, ZMm: v.Z} }

func renderPicks(f *frame.Frame, picks []picking.Pick) []*riggingv1.Pick {
	out := make([]*riggingv1.Pick, len(picks))
	for i := range picks {
		out[i] = renderPick(f, &picks[i])
	}
	return out
}

func renderPick(f *frame.Frame, p *picking.Pick) *riggingv1.Pick {
	timbers := f.Timbers()
	out := &riggingv1.Pick{
		Id: p.ID, Assembly: p.Assembly, MassKg: p.MassKG, CenterOfGravity: point(p.Center),
		RiggingKg: p.RiggingKG, DeductionKg: p.DeductionKG, AllowanceKg: p.AllowanceKG, HookLoadKg: p.HookLoadKG,
		PickRadiusMm: p.PickRadiusMM, SetRadiusMm: p.SetRadiusMM, LargestRadiusMm: p.LargestRadiusMM,
		ShareOfRated: p.ShareOfRated, Refusals: p.Refusals, Accepted: len(p.Refusals) == 0, HookHeightMm: p.HookHeightMM,
	}
	for _, i := range p.Timbers {
		out.Marks = append(out.Marks, timbers[i].Mark)
	}
	if p.Row != nil {
		out.ChartRow = &riggingv1.ChartRow{BoomLengthMm: p.Row.BoomLengthMM, RadiusMm: p.Row.RadiusMM, RatedKg: p.Row.RatedKG}
	}
	for _, pt := range p.Points {
		out.Points = append(out.Points, &riggingv1.PickPoint{
			Mark: timbers[pt.Timber].Mark, At: point(pt.At), Sling: pt.Sling, Shackle: pt.Shackle, Hitch: pt.Hitch,
			LegLengthMm: pt.LegMM, AngleFromLevelDeg: pt.AngleDeg, TensionN: pt.TensionN, ShareOfRated: pt.Share,
			FromTipMm: picking.FromTipMM(f, pt),
		})
	}
	for _, l := range p.Limits {
		out.Limits = append(out.Limits, &riggingv1.Limit{Name: l.Name, Share: l.Share, Demand: l.Demand, Capacity: l.Capacity, Unit: l.Unit})
	}
	return out
}
