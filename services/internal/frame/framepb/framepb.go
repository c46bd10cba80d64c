// Package framepb turns the frame model as it travels between programs into a frame.Draft and back.
// The order of every list is kept, so the paths of findings fit both.
package framepb

import (
	"math"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
)

// ToDraft reads a frame; nil gives an empty draft. A point that is absent where one is needed becomes a point
// that is not a number, so that frame.Parse names it.
func ToDraft(f *framev1.Frame) frame.Draft {
	return frame.Draft{
		Title: f.GetTitle(),
		Grid: frame.Grid{
			BentLines: each(f.GetGrid().GetBentLines(), toLine),
			WallLines: each(f.GetGrid().GetWallLines(), toLine),
			Levels: each(f.GetGrid().GetLevels(), func(l *framev1.Level) frame.Level {
				return frame.Level{Label: l.GetLabel(), ZMM: l.GetZMm()}
			}),
		},
		Timbers: each(f.GetTimbers(), toTimber),
		Joints:  each(f.GetJoints(), toJoint),
		Assemblies: each(f.GetAssemblies(), func(a *framev1.Assembly) frame.Assembly {
			return frame.Assembly{ID: a.GetId(), Kind: frame.AssemblyKind(a.GetKind()), Line: a.GetLine()}
		}),
		Hardware: each(f.GetHardware(), func(h *framev1.Hardware) frame.Hardware {
			return frame.Hardware{
				ID: h.GetId(), Kind: frame.HardwareKind(h.GetKind()), Count: int(h.GetCount()),
				MassEachKG: h.GetMassEachKg(), At: toPoint(h.GetAt()), Timber: h.GetTimber(),
			}
		}),
	}
}

// each maps a list; an empty list stays nil.
func each[A, B any](list []A, to func(A) B) []B {
	if len(list) == 0 {
		return nil
	}
	out := make([]B, len(list))
	for i, a := range list {
		out[i] = to(a)
	}
	return out
}

func toPoint(p *framev1.Point) geom.Vec {
	if p == nil {
		return geom.V(math.NaN(), math.NaN(), math.NaN())
	}
	return geom.V(p.GetXMm(), p.GetYMm(), p.GetZMm())
}

func toLine(l *framev1.GridLine) frame.GridLine {
	return frame.GridLine{Label: l.GetLabel(), Point: toPoint(l.GetPoint()), HeadingDeg: l.GetHeadingDeg()}
}

func toTimber(t *framev1.Timber) frame.Timber {
	out := frame.Timber{
		Mark: t.GetMark(), Role: frame.Role(t.GetRole()),
		WidthMM: t.GetWidthMm(), DepthMM: t.GetDepthMm(),
		Start: toPoint(t.GetStart()), End: toPoint(t.GetEnd()), RollDeg: t.GetRollDeg(),
		ReferenceFaces: each(t.GetReferenceFaces(), func(f framev1.Face) frame.Face { return frame.Face(f) }),
		Species:        t.GetSpecies(), Grade: t.GetGrade(), Finish: frame.Finish(t.GetFinish()),
		MoisturePercent: t.GetMoisturePercent(), Assembly: t.GetAssembly(),
	}
	if t != nil {
		out.NominalWidthIn, out.NominalDepthIn = copied(t.NominalWidthIn), copied(t.NominalDepthIn)
	}
	return out
}

func copied(v *float64) *float64 {
	if v == nil {
		return nil
	}
	c := *v
	return &c
}

func toJoint(j *framev1.Joint) frame.Joint {
	out := frame.Joint{
		ID: j.GetId(), Kind: joinery.Kind(j.GetKind()),
		Entering: j.GetEntering(), EnteringEnd: frame.End(j.GetEnteringEnd()), Receiving: j.GetReceiving(),
		At: toPoint(j.GetAt()), Scarf: joinery.ScarfTable(j.GetScarfTable()),
	}
	if t := j.GetTenon(); t != nil {
		out.Tenon = &joinery.Tenon{
			LengthMM: t.GetLengthMm(), ThicknessMM: t.GetThicknessMm(), WidthMM: t.GetWidthMm(),
			ShoulderOffsetMM: t.GetShoulderOffsetMm(), HousingDepthMM: t.GetHousingDepthMm(),
			ClearanceMM: t.GetClearanceMm(),
		}
	}
	if p := j.GetPegs(); p != nil {
		out.Pegs = &joinery.Pegs{
			Count: int(p.GetCount()), DiameterMM: p.GetDiameterMm(), LengthMM: p.GetLengthMm(),
			Wood: p.GetWood(), DrivenFrom: frame.Face(p.GetDrivenFrom()), Hole: joinery.PegHole(p.GetHole()),
			DrawBoreOffsetMM: p.GetDrawBoreOffsetMm(), FromShoulderMM: p.GetFromShoulderMm(),
			SpacingMM: p.GetSpacingMm(),
		}
	}
	return out
}

// Findings turns findings into the form in which the frames service answers them.
func Findings(list []frame.Finding) []*framesv1.Finding {
	return each(list, func(f frame.Finding) *framesv1.Finding {
		return &framesv1.Finding{Field: f.Field, Piece: f.Piece, Message: f.Message}
	})
}
