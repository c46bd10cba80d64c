package frames

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
)

// ReasonRough: a rough frame cannot be made from these numbers; the fields name them.
const ReasonRough = "ROUGH_NOT_POSSIBLE"

// RoughOutFrame makes a whole frame from a few numbers. It is checked like any other before it is given.
func (s *Service) RoughOutFrame(ctx context.Context, req *framesv1.RoughOutFrameRequest) (*framev1.Frame, error) {
	if req.Rough == nil {
		return nil, fault.Invalid("rough", "is missing; give at least bents, bay, span, post height, pitch and species")
	}
	bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(req.Rough)
	if err != nil {
		return nil, fmt.Errorf("read rough frame: %w", err)
	}
	h, err := compute.Do(ctx, s.pool, s.sheets, compute.Key("rough", bytes), func(ctx context.Context) (held, error) {
		compute.Uncached(ctx)
		draft, err := rough.Make(kingOf(req.Rough))
		if err != nil {
			return held{}, err
		}
		f, err := frame.Parse(draft)
		if err != nil {
			// The numbers were taken, so the faults are ours and their paths mean nothing to the caller.
			return held{}, fmt.Errorf("rough frame is not valid: %w", errors.New(err.Error()))
		}
		return held{frame: f, message: framepb.FromDraft(draft)}, nil
	})
	if err != nil {
		return nil, refusal(err, "", ReasonRough)
	}
	return h.message, nil
}

func kingOf(r *framesv1.RoughFrame) rough.King {
	k := rough.King{
		Title: r.Title, BentCount: int(r.BentCount), BaySpacingsMM: r.BaySpacingsMm, SpanMM: r.SpanMm, PostHeightMM: r.PostHeightMm,
		RoofPitchDeg: r.RoofPitchDeg, PurlinsPerSlope: int(r.PurlinsPerSlope), GirtDropMM: r.GirtDropMm, BraceLegMM: r.BraceLegMm,
		Struts: r.Struts, WallBraces: r.WallBraces, Species: r.Species, Grade: r.Grade, MoisturePercent: r.MoisturePercent, Planed: r.Planed,
	}
	for _, x := range r.Sections {
		k.Sections = append(k.Sections, rough.Section{Role: x.GetRole(), NominalWidthIn: x.GetNominalWidthIn(), NominalDepthIn: x.GetNominalDepthIn()})
	}
	return k
}
