package takeoff

import (
	"context"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/takeoff/measure"
)

// GetTakeoff gives the takeoff of a frame.
func (s *Service) GetTakeoff(ctx context.Context, req *takeoffv1.GetTakeoffRequest) (*takeoffv1.Takeoff, error) {
	t, from, err := s.measure(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	return render(t, from), nil
}

// RenderTakeoff gives the takeoff as CSV or HTML.
func (s *Service) RenderTakeoff(ctx context.Context, req *takeoffv1.RenderTakeoffRequest) (*sheetv1.Document, error) {
	if err := sheet.Check(req.GetFormat()); err != nil {
		return nil, err
	}
	t, from, err := s.measure(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	if req.GetFormat() == sheet.CSV {
		return sheet.File("takeoff", from, stickTable(t)), nil
	}
	return page(t, from).Document("takeoff"), nil
}

// measure loads a frame and measures it, or gives the kept takeoff of the same frame.
func (s *Service) measure(ctx context.Context, job, revision string) (measure.Takeoff, *sheetv1.ComputedFrom, error) {
	loaded, err := s.frames.Load(ctx, job, revision)
	if err != nil {
		return measure.Takeoff{}, nil, err
	}
	t, err := compute.Do(ctx, s.pool, s.cache, compute.Key("takeoff", loaded.Frame.Digest()),
		func(context.Context) (measure.Takeoff, error) { return measure.Frame(loaded.Frame), nil })
	return t, loaded.From, err
}

func render(t measure.Takeoff, from *sheetv1.ComputedFrom) *takeoffv1.Takeoff {
	out := &takeoffv1.Takeoff{
		ComputedFrom: from,
		BySection:    renderGroups(t.BySection), BySpecies: renderGroups(t.BySpecies), ByAssembly: renderGroups(t.ByAssembly),
		Total: renderGroup(t.All), Basis: basis(t),
		Sticks: make([]*takeoffv1.Stick, len(t.Sticks)),
	}
	for i := range t.Sticks {
		out.Sticks[i] = renderStick(&t.Sticks[i])
	}
	for _, p := range t.Pegs {
		out.Pegs = append(out.Pegs, &takeoffv1.PegLine{
			DiameterMm: p.DiameterMM, LengthMm: p.LengthMM, Wood: p.Wood, Count: int32(p.Count), MassKg: p.MassKG,
		})
	}
	for _, h := range t.Hardware {
		out.Hardware = append(out.Hardware, &takeoffv1.HardwareLine{
			Kind: framev1.HardwareKind(h.Kind), Count: int32(h.Count), MassKg: h.MassKG,
		})
	}
	return out
}

func renderStick(s *measure.Stick) *takeoffv1.Stick {
	return &takeoffv1.Stick{
		Mark: s.Mark, Role: framev1.Role(s.Role), Assembly: s.Assembly, Species: s.Species, Grade: s.Grade,
		WidthMm: s.WidthMM, DepthMm: s.DepthMM, NominalWidthIn: s.NominalWidthIn, NominalDepthIn: s.NominalDepthIn,
		ShoulderLengthMm: s.ShoulderMM, OverallLengthMm: s.OverallMM, BoardFeet: s.BoardFeet,
		VolumeM3: s.VolumeM3, RemovedM3: s.RemovedM3, DensityKgPerM3: s.DensityKgPerM3, MassKg: s.MassKG,
	}
}

func renderGroups(groups []measure.Group) []*takeoffv1.Group {
	out := make([]*takeoffv1.Group, len(groups))
	for i, g := range groups {
		out[i] = renderGroup(g)
	}
	return out
}

func renderGroup(g measure.Group) *takeoffv1.Group {
	return &takeoffv1.Group{
		Label: g.Label, Count: int32(g.Count), OverallLengthMm: g.OverallMM,
		BoardFeet: g.BoardFeet, VolumeM3: g.VolumeM3, MassKg: g.MassKG,
	}
}
