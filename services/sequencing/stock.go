package sequencing

import (
	"fmt"
	"strings"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// asManyAsWanted is the count of a length that does not run out.
const asManyAsWanted = -1

// stockPB is what a company braces with as a message, without an etag.
func stockPB(s brace.Stock) *sequencingv1.BraceStock {
	out := &sequencingv1.BraceStock{}
	for _, l := range s.Lumber {
		out.Lumber = append(out.Lumber, lumberPB(l))
	}
	for _, f := range s.Fastenings {
		out.Fastenings = append(out.Fastenings, &sequencingv1.Fastening{
			Id: f.ID, Name: f.Name, HoldsN: f.HoldsN, GivesNPerM: f.GivesNPerM, MostThickMm: f.MostThickMM,
			Status: sheet.Status(f.Status),
		})
	}
	for _, a := range s.Anchors {
		out.Anchors = append(out.Anchors, &sequencingv1.Anchor{
			Id: a.ID, Name: a.Name, Ground: groundPB(a.Ground), UpN: a.UpN, AcrossN: a.AcrossN, DownN: a.DownN,
			GivesNPerM: a.GivesNPerM, Status: sheet.Status(a.Status),
		})
	}
	return out
}

func lumberPB(l brace.Lumber) *sequencingv1.Lumber {
	out := &sequencingv1.Lumber{
		Id: l.ID, Name: l.Name, WidthMm: l.WidthMM, DepthMm: l.DepthMM, PlyCount: int32(l.Plies), Species: l.Species, Grade: l.Grade,
	}
	for i, mm := range l.LengthsMM {
		length := &sequencingv1.LumberLength{LengthMm: mm}
		if i < len(l.Counts) && l.Counts[i] >= 0 {
			n := int32(l.Counts[i])
			length.Count = &n
		}
		out.Lengths = append(out.Lengths, length)
	}
	return out
}

// stockOf is the stock of a message.
func stockOf(s *sequencingv1.BraceStock) brace.Stock {
	var out brace.Stock
	for _, l := range s.GetLumber() {
		out.Lumber = append(out.Lumber, lumberOf(l))
	}
	for _, f := range s.GetFastenings() {
		out.Fastenings = append(out.Fastenings, brace.Fastening{
			ID: f.GetId(), Name: f.GetName(), HoldsN: f.GetHoldsN(), GivesNPerM: f.GetGivesNPerM(), MostThickMM: f.GetMostThickMm(),
			Status: statusOf(f.GetStatus()),
		})
	}
	for _, a := range s.GetAnchors() {
		out.Anchors = append(out.Anchors, brace.Anchor{
			ID: a.GetId(), Name: a.GetName(), Ground: groundOf(a.GetGround()), UpN: a.GetUpN(), AcrossN: a.GetAcrossN(), DownN: a.GetDownN(),
			GivesNPerM: a.GetGivesNPerM(), Status: statusOf(a.GetStatus()),
		})
	}
	return out
}

func lumberOf(l *sequencingv1.Lumber) brace.Lumber {
	out := brace.Lumber{
		ID: l.GetId(), Name: l.GetName(), WidthMM: l.GetWidthMm(), DepthMM: l.GetDepthMm(), Plies: int(l.GetPlyCount()),
		Species: l.GetSpecies(), Grade: l.GetGrade(),
	}
	for _, length := range l.GetLengths() {
		count := asManyAsWanted
		if length.Count != nil {
			count = int(length.GetCount())
		}
		out.LengthsMM = append(out.LengthsMM, length.GetLengthMm())
		out.Counts = append(out.Counts, count)
	}
	return out
}

// groundPB and groundOf: the message counts from 1, 0 being not said.
func groundPB(g model.Ground) sequencingv1.Ground { return sequencingv1.Ground(g) + 1 }
func groundOf(g sequencingv1.Ground) model.Ground { return model.Ground(g) - 1 }

func statusOf(s sheetv1.SourceStatus) wood.Status {
	switch s {
	case sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED:
		return wood.Published
	case sheetv1.SourceStatus_SOURCE_STATUS_COMPUTED:
		return wood.Computed
	case sheetv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE:
		return wood.CommonPractice
	}
	return wood.FromMemory
}

// checkStock finds every fault of a stock that is put; paths begin with stock.
func checkStock(s *sequencingv1.BraceStock) error {
	if s == nil {
		return fault.Invalid("stock", "is missing; send all lumber, fastenings and anchors")
	}
	var c checker
	for i, f := range s.GetFastenings() {
		c.status(fmt.Sprintf("stock.fastenings[%d].status", i), f.GetStatus())
	}
	for i, a := range s.GetAnchors() {
		c.status(fmt.Sprintf("stock.anchors[%d].status", i), a.GetStatus())
	}
	c.counts("stock.lumber", s.GetLumber())
	for _, f := range stockOf(s).Faults() {
		c.add("stock."+f.Field, "%s", f.Message)
	}
	return c.err()
}

func (c *checker) status(path string, s sheetv1.SourceStatus) {
	if s < sheetv1.SourceStatus_SOURCE_STATUS_PUBLISHED || s > sheetv1.SourceStatus_SOURCE_STATUS_FROM_MEMORY {
		c.add(path, "must say how far the values can be trusted: published, computed, common practice or from memory")
	}
}

// counts refuses counts below 0, which would mean as many as wanted to the engine.
func (c *checker) counts(path string, boards []*sequencingv1.Lumber) {
	for i, l := range boards {
		for k, length := range l.GetLengths() {
			if length.GetCount() < 0 {
				c.add(fmt.Sprintf("%s[%d].lengths[%d].count", path, i, k), "must not be below 0; leave it out for as many as wanted")
			}
		}
	}
}

// boards checks the lumber of a request.
func (c *checker) boards(given []*sequencingv1.Lumber, stock brace.Stock) {
	c.counts("lumber", given)
	for _, f := range stock.Faults() {
		if strings.HasPrefix(f.Field, "lumber") {
			c.add(f.Field, "%s", f.Message)
		}
	}
}
