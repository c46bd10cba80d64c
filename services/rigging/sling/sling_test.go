package sling_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/rigging/internal/checkvalue"
	"github.com/pikepole/pikepole/services/rigging/sling"
)

func TestAngleFactorsAgainstCheckValues(t *testing.T) {
	t.Parallel()
	for _, r := range checkvalue.Read(t, "rigging_sling_factors.csv") {
		angle := r.Inputs["angle_deg"]
		switch r.Quantity {
		case "sling tension factor":
			r.Check(t, sling.TensionFactor(angle))
		case "sling reduction factor":
			r.Check(t, 1/sling.TensionFactor(angle))
		case "equal two-leg tension":
			run := 1 / math.Tan(angle*math.Pi/180)
			b, err := sling.Share(r.Inputs["W"], sling.Leg{RunMM: run, RiseMM: 1}, sling.Leg{RunMM: run, RiseMM: 1})
			if err != nil {
				t.Error(err)
			}
			r.Check(t, b.TensionN[0])
			r.Check(t, b.TensionN[1])
		case "two-leg chain bridle rating":
			// A bridle is rated for the weight at which each leg pulls what a single leg may.
			r.Check(t, 2*r.Inputs["single"]/sling.TensionFactor(angle))
		default:
			t.Errorf("no check for %q", r.Quantity)
		}
	}
}

// A sling sheet prints 0.6248 for the reduction factor at 40 degrees: the sine with two digits swapped.
func TestPrintedMisprintIsNotFollowed(t *testing.T) {
	t.Parallel()
	if got := 1 / sling.TensionFactor(40); math.Abs(got-0.6428) > 5e-5 {
		t.Errorf("reduction factor at 40 degrees is %v, want sin 40 = 0.6428", got)
	}
}

func TestShareAgainstCheckValues(t *testing.T) {
	t.Parallel()
	for _, r := range checkvalue.Read(t, "rigging_two_leg_slings.csv") {
		one := sling.Leg{RunMM: r.Inputs["a"], RiseMM: r.Inputs["h1"]}
		two := sling.Leg{RunMM: r.Inputs["b"], RiseMM: r.Inputs["h2"]}
		b, err := sling.Share(r.Inputs["W"], one, two)
		if err != nil {
			t.Errorf("%v: %v", r.Inputs, err)
			continue
		}
		got, ok := map[string]float64{
			"vertical share 1": b.VerticalN[0], "vertical share 2": b.VerticalN[1],
			"tension 1": b.TensionN[0], "tension 2": b.TensionN[1], "squeeze": b.SqueezeN,
			"angle 1": one.AngleDeg(), "angle 2": two.AngleDeg(),
		}[r.Quantity]
		if !ok {
			t.Errorf("no check for %q", r.Quantity)
		}
		r.Check(t, got)
	}
}

func TestHangAgainstCheckValues(t *testing.T) {
	t.Parallel()
	for _, r := range checkvalue.Read(t, "rigging_hanging_tilt.csv") {
		s, e, length := r.Inputs["s"], r.Inputs["e"], r.Inputs["L"]
		// The check values hold for a center of gravity just below the points as well as far below;
		// exactly on their line the load could roll, so a hair of depth stands for none.
		depth := max(r.Inputs["d"], 1e-9)
		h, err := sling.Hang(geom.V(-s/2, 0, 0), geom.V(s/2, 0, 0), geom.V(e, 0, -depth), length, length)
		if err != nil {
			t.Errorf("%v: %v", r.Inputs, err)
			continue
		}
		b, err := sling.Share(r.Inputs["W"], h.One, h.Two)
		if err != nil {
			t.Errorf("%v: %v", r.Inputs, err)
			continue
		}
		got, ok := map[string]float64{
			"tilt": h.AlongDeg, "out of level over the span": s * math.Sin(h.AlongDeg*math.Pi/180),
			"tension of the far leg": b.TensionN[0], "tension of the near leg": b.TensionN[1],
		}[r.Quantity]
		if !ok {
			t.Errorf("no check for %q", r.Quantity)
		}
		r.Check(t, got)
		if h.AcrossDeg > 1e-9 {
			t.Errorf("%v: leans %v degrees out of its plane", r.Inputs, h.AcrossDeg)
		}
	}
}

func TestShareRefusals(t *testing.T) {
	t.Parallel()
	good := sling.Leg{RunMM: 1, RiseMM: 2}
	for name, tt := range map[string]struct {
		weight   float64
		one, two sling.Leg
		want     error
	}{
		"no weight":           {0, good, good, sling.ErrWeight},
		"weight not known":    {math.NaN(), good, good, sling.ErrWeight},
		"weight without end":  {math.Inf(1), good, good, sling.ErrWeight},
		"level leg":           {1, sling.Leg{RunMM: 1}, good, sling.ErrRise},
		"hook below":          {1, good, sling.Leg{RunMM: 1, RiseMM: -1}, sling.ErrRise},
		"rise not known":      {1, good, sling.Leg{RunMM: 1, RiseMM: math.NaN()}, sling.ErrRise},
		"outside the points":  {1, good, sling.Leg{RunMM: -0.1, RiseMM: 2}, sling.ErrPush},
		"run not known":       {1, sling.Leg{RunMM: math.NaN(), RiseMM: 2}, good, sling.ErrPush},
		"both plumb":          {1, sling.Leg{RiseMM: 2}, sling.Leg{RiseMM: 3}, sling.ErrSplit},
		"run without an end":  {1, sling.Leg{RunMM: math.Inf(1), RiseMM: 2}, good, sling.ErrPush},
		"rise without an end": {1, sling.Leg{RunMM: 1, RiseMM: math.Inf(1)}, good, sling.ErrRise},
	} {
		if b, err := sling.Share(tt.weight, tt.one, tt.two); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, %v; want %v", name, b, err, tt.want)
		}
	}
}

func TestHangRefusals(t *testing.T) {
	t.Parallel()
	left, right, below := geom.V(-1000, 0, 0), geom.V(1000, 0, 0), geom.V(0, 0, -500)
	for name, tt := range map[string]struct {
		one, two, center geom.Vec
		legs             float64
		want             error
	}{
		"center above the line": {left, right, geom.V(0, 0, 500), 3000, sling.ErrRoll},
		"center on the line":    {left, right, geom.V(0, 0, 0), 3000, sling.ErrRoll},
		"center level beside":   {left, right, geom.V(0, 400, 0), 3000, sling.ErrRoll},
		"legs too short":        {left, right, below, 999, sling.ErrShort},
		"one point":             {left, left, below, 3000, sling.ErrShort},
		"center outside":        {left, right, geom.V(1500, 0, -10), 3000, sling.ErrPush},
		"plumb line":            {geom.V(0, 0, 0), geom.V(0, 0, 1000), geom.V(5, 0, -100), 3000, sling.ErrRoll},
	} {
		if h, err := sling.Hang(tt.one, tt.two, tt.center, tt.legs, tt.legs); !errors.Is(err, tt.want) {
			t.Errorf("%s: %+v, %v; want %v", name, h, err, tt.want)
		}
	}
}

func TestTensionFactorHasNoneForLevelLegs(t *testing.T) {
	t.Parallel()
	for _, angle := range []float64{0, -10, 91, math.NaN()} {
		if got := sling.TensionFactor(angle); !math.IsInf(got, 1) {
			t.Errorf("factor %v at %v degrees", got, angle)
		}
	}
}

func close9(a, b, scale float64) bool { return math.Abs(a-b) <= 1e-9*scale }

func TestLegsAreInEquilibrium(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		weight := rapid.Float64Range(1, 1e6).Draw(t, "weight")
		draw := func(name string) sling.Leg {
			return sling.Leg{
				RunMM:  rapid.Float64Range(1, 10000).Draw(t, name+" run"),
				RiseMM: rapid.Float64Range(10, 20000).Draw(t, name+" rise"),
			}
		}
		one, two := draw("one"), draw("two")
		b, err := sling.Share(weight, one, two)
		if err != nil {
			t.Fatal(err)
		}
		sum, level, moment := 0.0, 0.0, 0.0
		for i, leg := range []sling.Leg{one, two} {
			if b.TensionN[i] < 0 {
				t.Fatalf("leg %d pushes: %v", i+1, b)
			}
			side := float64(2*i - 1)
			angle := leg.AngleDeg() * math.Pi / 180
			up, in := b.TensionN[i]*math.Sin(angle), b.TensionN[i]*math.Cos(angle)
			sum += up
			level += side * in
			// Moments about the center of gravity's plumb line at the hook's height: forces at the points.
			moment += side*up*leg.RunMM - side*in*leg.RiseMM
		}
		scale := b.TensionN[0] + b.TensionN[1]
		if !close9(sum, weight, scale) || !close9(level, 0, scale) || !close9(moment, 0, scale*(one.LengthMM()+two.LengthMM())) {
			t.Fatalf("up %v of %v, level %v, moment %v", sum, weight, level, moment)
		}
		// The rule of sines is a second way to the same tensions.
		a, c := one.AngleDeg()*math.Pi/180, two.AngleDeg()*math.Pi/180
		if want := weight * math.Cos(c) / math.Sin(a+c); !close9(b.TensionN[0], want, scale) {
			t.Fatalf("tension %v, by the rule of sines %v", b.TensionN[0], want)
		}
	})
}

func TestTensionGrowsAsLegsFlatten(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		run := rapid.Float64Range(100, 5000).Draw(t, "run")
		high := rapid.Float64Range(100, 10000).Draw(t, "high")
		low := high * rapid.Float64Range(0.1, 0.99).Draw(t, "lower by")
		tension := func(rise float64) float64 {
			b, err := sling.Share(1000, sling.Leg{RunMM: run, RiseMM: rise}, sling.Leg{RunMM: run, RiseMM: rise})
			if err != nil {
				t.Fatal(err)
			}
			return b.TensionN[0]
		}
		if tension(low) <= tension(high) {
			t.Fatalf("flatter legs pull less: %v at %v, %v at %v", tension(low), low, tension(high), high)
		}
	})
}

// However a body hangs, its center of gravity ends plumb under the hook, legs keep their lengths, and
// the points keep their distance.
func TestHangingKeepsLengthsAndPlumb(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		span := rapid.Float64Range(500, 8000).Draw(t, "span")
		rise := rapid.Float64Range(-0.2, 0.2).Draw(t, "rise") * span
		one, two := geom.V(-span/2, 0, 0), geom.V(span/2, 0, rise)
		center := geom.V(rapid.Float64Range(-0.2, 0.2).Draw(t, "off")*span, rapid.Float64Range(-200, 200).Draw(t, "aside"),
			-rapid.Float64Range(0.2, 1).Draw(t, "depth")*span)
		legs := [2]float64{span * rapid.Float64Range(0.8, 2).Draw(t, "leg 1"), 0}
		legs[1] = legs[0] * rapid.Float64Range(0.95, 1.05).Draw(t, "leg 2")
		h, err := sling.Hang(one, two, center, legs[0], legs[1])
		if err != nil {
			t.Skip(err.Error())
		}
		if !close9(h.One.LengthMM(), legs[0], legs[0]) || !close9(h.Two.LengthMM(), legs[1], legs[1]) {
			t.Fatalf("legs of %v became %v and %v", legs, h.One.LengthMM(), h.Two.LengthMM())
		}
		if !close9(geom.Dist(h.Hook, one), legs[0], legs[0]) || !close9(geom.Dist(h.Hook, two), legs[1], legs[1]) ||
			!close9(geom.Dist(h.Hook, center), h.HookOverCenterMM, legs[0]) {
			t.Fatalf("the hook at %v is not at the end of both legs, %v over the center of gravity", h.Hook, h.HookOverCenterMM)
		}
		between := math.Hypot(h.One.RunMM+h.Two.RunMM, h.One.RiseMM-h.Two.RiseMM)
		if !close9(between, geom.Dist(one, two), span) {
			t.Fatalf("points %v apart, were %v", between, geom.Dist(one, two))
		}
		b, err := sling.Share(1000, h.One, h.Two)
		if err != nil || b.TensionN[0] < 0 || b.TensionN[1] < 0 {
			t.Fatalf("%+v: %v, %v", h, b, err)
		}
	})
}
