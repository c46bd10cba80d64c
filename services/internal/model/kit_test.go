package model_test

import (
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// king is a frame of king-post bents as an estimator roughs it out.
func king(bents int) rough.King {
	return rough.King{
		Title: "Barn", BentCount: bents, BaySpacingsMM: []float64{3600}, SpanMM: 7200, PostHeightMM: 3000, RoofPitchDeg: 36.87,
		PurlinsPerSlope: 2, GirtDropMM: 300, BraceLegMM: 800, Struts: true, WallBraces: true,
		Species: "douglas-fir", Grade: "No. 1", MoisturePercent: 30,
	}
}

func made(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, k)
}

// all are the indices of all timbers.
func all(f *frame.Frame) []int {
	indices := make([]int, len(f.Timbers()))
	for i := range indices {
		indices[i] = i
	}
	return indices
}

// pegged has every joint pegged.
func pegged(f *frame.Frame) []bool {
	p := make([]bool, len(f.Joints()))
	for i := range p {
		p[i] = true
	}
	return p
}

func complete(f *frame.Frame) model.State {
	return model.State{Standing: all(f), Pegged: pegged(f)}
}

func settings(stiffness model.Stiffness) model.Settings {
	o := model.Defaults()
	o.Stiffness = stiffness
	return o
}

func build(t testing.TB, f *frame.Frame, s model.State, stiffness model.Stiffness) *model.Structure {
	t.Helper()
	st, err := model.Build(f, s, settings(stiffness))
	if err != nil {
		t.Fatalf("the structure is not built: %v", err)
	}
	return st
}

// weighN is the weight of a model's members in newtons.
func weighN(m *statics.Model) float64 {
	sum := 0.0
	for i := range m.Members {
		p := &m.Members[i]
		from := geom.Add(m.Nodes[p.I].At, p.ArmI)
		to := geom.Add(m.Nodes[p.J].At, p.ArmJ)
		sum += p.Material.Rho * p.Section.A * geom.Dist(from, to) * statics.StandardGravity
	}
	return sum
}

// genKing makes rough frames of many shapes; those that do not go together are skipped.
func genKing(t *rapid.T) *frame.Frame {
	k := rough.King{
		BentCount:       rapid.IntRange(2, 4).Draw(t, "bents"),
		BaySpacingsMM:   []float64{rapid.Float64Range(2400, 5500).Draw(t, "bay")},
		SpanMM:          rapid.Float64Range(4500, 10_000).Draw(t, "span"),
		PostHeightMM:    rapid.Float64Range(2200, 4500).Draw(t, "height"),
		RoofPitchDeg:    rapid.Float64Range(25, 50).Draw(t, "pitch"),
		PurlinsPerSlope: rapid.IntRange(0, 3).Draw(t, "purlins"),
		GirtDropMM:      rapid.SampledFrom([]float64{0, 250, 400}).Draw(t, "drop"),
		BraceLegMM:      rapid.Float64Range(600, 1000).Draw(t, "leg"),
		Struts:          rapid.Bool().Draw(t, "struts"),
		WallBraces:      true,
		Species:         rapid.SampledFrom([]string{"eastern-white-pine", "douglas-fir", "white-oak"}).Draw(t, "species"),
		Grade:           "No. 1",
		MoisturePercent: rapid.Float64Range(12, 60).Draw(t, "moisture"),
		Planed:          rapid.Bool().Draw(t, "planed"),
	}
	d, err := rough.Make(k)
	if err != nil {
		t.Skip()
	}
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatalf("the rough frame is not valid: %v", err)
	}
	return f
}
