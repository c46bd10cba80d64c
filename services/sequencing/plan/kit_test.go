package plan_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// numbers are those of a small frame with girts and wall braces.
func numbers(bents int) rough.King {
	return rough.King{
		Title: "Trial", BentCount: bents, BaySpacingsMM: []float64{3658}, SpanMM: 7315, PostHeightMM: 2900,
		RoofPitchDeg: 40, PurlinsPerSlope: 2, GirtDropMM: 400, BraceLegMM: 760, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 25,
	}
}

func roughFrame(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, k)
}

// crew is a company with a telehandler.
func crew() work.Rates {
	r := work.Default()
	r.TelehandlerKG, r.TelehandlerReachMM = 900, 6000
	return r
}

func site() plan.Site { return plan.Site{Crane: true} }
