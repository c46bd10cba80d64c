package framepb

import (
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
)

// FromDraft writes a draft down in the form that travels.
func FromDraft(d frame.Draft) *framev1.Frame {
	return &framev1.Frame{
		Title: d.Title,
		Grid: &framev1.Grid{
			BentLines: each(d.Grid.BentLines, fromLine),
			WallLines: each(d.Grid.WallLines, fromLine),
			Levels: each(d.Grid.Levels, func(l frame.Level) *framev1.Level {
				return &framev1.Level{Label: l.Label, ZMm: l.ZMM}
			}),
		},
		Timbers: each(d.Timbers, fromTimber),
		Joints:  each(d.Joints, fromJoint),
		Assemblies: each(d.Assemblies, func(a frame.Assembly) *framev1.Assembly {
			return &framev1.Assembly{Id: a.ID, Kind: framev1.AssemblyKind(a.Kind), Line: a.Line}
		}),
		Hardware: each(d.Hardware, func(h frame.Hardware) *framev1.Hardware {
			return &framev1.Hardware{
				Id: h.ID, Kind: framev1.HardwareKind(h.Kind), Count: int32(h.Count),
				MassEachKg: h.MassEachKG, At: FromPoint(h.At), Timber: h.Timber,
			}
		}),
	}
}

// FromPoint writes a point down.
func FromPoint(p geom.Vec) *framev1.Point {
	return &framev1.Point{XMm: p.X, YMm: p.Y, ZMm: p.Z}
}

func fromLine(l frame.GridLine) *framev1.GridLine {
	return &framev1.GridLine{Label: l.Label, Point: FromPoint(l.Point), HeadingDeg: l.HeadingDeg}
}

func fromTimber(t frame.Timber) *framev1.Timber {
	return &framev1.Timber{
		Mark: t.Mark, Role: framev1.Role(t.Role), WidthMm: t.WidthMM, DepthMm: t.DepthMM,
		NominalWidthIn: copied(t.NominalWidthIn), NominalDepthIn: copied(t.NominalDepthIn),
		Start: FromPoint(t.Start), End: FromPoint(t.End), RollDeg: t.RollDeg,
		ReferenceFaces: each(t.ReferenceFaces, func(f frame.Face) framev1.Face { return framev1.Face(f) }),
		Species:        t.Species, Grade: t.Grade, Finish: framev1.Finish(t.Finish),
		MoisturePercent: t.MoisturePercent, Assembly: t.Assembly,
	}
}

func fromJoint(j frame.Joint) *framev1.Joint {
	out := &framev1.Joint{
		Id: j.ID, Kind: framev1.JointKind(j.Kind), Entering: j.Entering,
		EnteringEnd: framev1.TimberEnd(j.EnteringEnd), Receiving: j.Receiving,
		At: FromPoint(j.At), ScarfTable: framev1.ScarfTable(j.Scarf),
	}
	if t := j.Tenon; t != nil {
		out.Tenon = &framev1.Tenon{
			LengthMm: t.LengthMM, ThicknessMm: t.ThicknessMM, WidthMm: t.WidthMM,
			ShoulderOffsetMm: t.ShoulderOffsetMM, HousingDepthMm: t.HousingDepthMM, ClearanceMm: t.ClearanceMM,
		}
	}
	if p := j.Pegs; p != nil {
		out.Pegs = &framev1.Pegs{
			Count: int32(p.Count), DiameterMm: p.DiameterMM, LengthMm: p.LengthMM, Wood: p.Wood,
			DrivenFrom: framev1.Face(p.DrivenFrom), Hole: framev1.PegHole(p.Hole),
			DrawBoreOffsetMm: p.DrawBoreOffsetMM, FromShoulderMm: p.FromShoulderMM, SpacingMm: p.SpacingMM,
		}
	}
	return out
}
