package e2e_test

import (
	"encoding/json"
	"math"
	"net/http"
	"testing"

	"github.com/pikepole/pikepole/deploy/testkit"
)

// What follows adds a frame up from its JSON alone, by the rules that are written down for
// the measure of a frame, with nothing of the product but that text.

type vec [3]float64

func (a vec) plus(b vec) vec      { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) times(k float64) vec { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) length() float64     { return math.Sqrt(a.dot(a)) }
func (a vec) unit() vec           { return a.times(1 / a.length()) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func (a vec) turned(by float64, about vec) vec {
	return a.times(math.Cos(by)).plus(about.cross(a).times(math.Sin(by))).plus(about.times(about.dot(a) * (1 - math.Cos(by))))
}

type jsonPoint struct {
	X float64 `json:"xMm"`
	Y float64 `json:"yMm"`
	Z float64 `json:"zMm"`
}

func (p jsonPoint) vec() vec { return vec{p.X, p.Y, p.Z} }

type jsonTimber struct {
	Mark         string    `json:"mark"`
	Width        float64   `json:"widthMm"`
	Depth        float64   `json:"depthMm"`
	NominalWidth float64   `json:"nominalWidthIn"`
	NominalDepth float64   `json:"nominalDepthIn"`
	Start        jsonPoint `json:"start"`
	End          jsonPoint `json:"end"`
	Roll         float64   `json:"rollDeg"`
	Species      string    `json:"species"`
	Moisture     float64   `json:"moisturePercent"`
	Assembly     string    `json:"assembly"`
}

type jsonJoint struct {
	ID        string `json:"id"`
	Kind      string `json:"kind"`
	Entering  string `json:"entering"`
	End       string `json:"enteringEnd"`
	Receiving string `json:"receiving"`
	Tenon     struct {
		Length    float64 `json:"lengthMm"`
		Thickness float64 `json:"thicknessMm"`
		Width     float64 `json:"widthMm"`
		Housing   float64 `json:"housingDepthMm"`
		Clearance float64 `json:"clearanceMm"`
	} `json:"tenon"`
	Pegs *struct {
		Count    int     `json:"count"`
		Diameter float64 `json:"diameterMm"`
		Length   float64 `json:"lengthMm"`
		Wood     string  `json:"wood"`
	} `json:"pegs"`
}

type jsonFrame struct {
	Timbers []jsonTimber `json:"timbers"`
	Joints  []jsonJoint  `json:"joints"`
}

// sum is what a takeoff says of a stick or of several.
type sum struct {
	Count        int     `json:"count"`
	Shoulder     float64 `json:"shoulderLengthMm"`
	Overall      float64 `json:"overallLengthMm"`
	BoardFeet    float64 `json:"boardFeet"`
	Volume       float64 `json:"volumeM3"`
	Removed      float64 `json:"removedM3"`
	Density      float64 `json:"densityKgPerM3"`
	Mass         float64 `json:"massKg"`
	Mark         string  `json:"mark"`
	Label        string  `json:"label"`
	DiameterMM   float64 `json:"diameterMm"`
	LengthMM     float64 `json:"lengthMm"`
	beyond       [2]float64
	gained, lost float64
}

// directions are a, w and d: along the stick, across its width, across its depth.
func (t jsonTimber) directions() (a, w, d vec) {
	a = t.End.vec().plus(t.Start.vec().times(-1)).unit()
	d = vec{0, 1, 0}
	if up := (vec{0, 0, 1}); up.cross(a).length() > 1e-9 {
		d = up.plus(a.times(-up.dot(a))).unit()
	}
	roll := t.Roll * math.Pi / 180
	w = d.cross(a)
	return a, w.turned(roll, a), d.turned(roll, a)
}

// entered is the outward normal of the long face whose normal is most against out.
func (t jsonTimber) entered(out vec) vec {
	_, w, d := t.directions()
	var best vec
	most := math.Inf(-1)
	for _, n := range []vec{d, d.times(-1), w, w.times(-1)} {
		if against := -n.dot(out); against > most+1e-9 {
			best, most = n, against
		}
	}
	return best
}

// The species of the demonstration: oven-dry mass over green volume, and over the volume at 12
// percent (Wood Handbook, tables 4-1 and 5-3a; published).
var gravities = map[string]struct{ green, dry float64 }{
	"douglas-fir": {0.45, 0.48},
	"white-oak":   {0.60, 0.68},
}

// density is Wood Handbook eq. 4-12 to 4-14, on the volume at moisture x percent.
func density(t *testing.T, species string, x float64) float64 {
	t.Helper()
	g, known := gravities[species]
	if !known {
		t.Fatalf("no gravity for %s", species)
	}
	a := math.Max(0, 1-x/30)
	return 1000 * g.green / (1 - 0.265*g.green*a) * (1 + x/100)
}

// recompute measures every stick of the frame.
func recompute(t *testing.T, f jsonFrame) map[string]*sum {
	t.Helper()
	timbers, sums := map[string]jsonTimber{}, map[string]*sum{}
	for _, timber := range f.Timbers {
		timbers[timber.Mark] = timber
		sums[timber.Mark] = &sum{Mark: timber.Mark, Shoulder: timber.End.vec().plus(timber.Start.vec().times(-1)).length()}
	}
	for _, j := range f.Joints {
		if j.Kind == "JOINT_KIND_POST_BASE_BEARING" {
			continue // square on the deck, and nothing cut
		}
		measureJoint(t, j, timbers[j.Entering], timbers[j.Receiving], sums[j.Entering], sums[j.Receiving])
	}
	for mark, s := range sums {
		timber := timbers[mark]
		s.Overall = s.Shoulder + s.beyond[0] + s.beyond[1]
		s.BoardFeet = timber.NominalWidth * timber.NominalDepth * s.Overall / 304.8 / 12
		s.Removed = s.lost * 1e-9
		s.Volume = (timber.Width*timber.Depth*s.Shoulder + s.gained - s.lost) * 1e-9
		s.Density = density(t, timber.Species, timber.Moisture)
		s.Mass = s.Density * s.Volume
	}
	return sums
}

func measureJoint(t *testing.T, j jsonJoint, in, into jsonTimber, entering, receiving *sum) {
	t.Helper()
	switch j.Kind {
	case "JOINT_KIND_BLIND_MORTISE_AND_TENON", "JOINT_KIND_FORK_AND_TONGUE", "JOINT_KIND_DOVETAILED_HOUSING":
	default:
		t.Fatalf("joint %s: a %s was not foreseen", j.ID, j.Kind)
	}
	a, w, d := in.directions()
	along, _, _ := into.directions()
	out, end := a, 1
	if j.End == "TIMBER_END_START" {
		out, end = a.times(-1), 0
	}
	n := into.entered(out)
	c := math.Abs(n.dot(a))
	k := j.Tenon
	shoulder := (in.Width/2*math.Abs(n.dot(w)) + in.Depth/2*math.Abs(n.dot(d)) + k.Housing) / c
	tip := k.Length*c + k.Width/2*math.Abs(along.dot(a))
	entering.beyond[end] = math.Max(entering.beyond[end], math.Max(shoulder, tip))
	housing := in.Width * in.Depth * k.Housing / c
	entering.gained += housing + k.Thickness*k.Width*(k.Length-k.Housing)
	receiving.lost += housing + k.Thickness*k.Width*(k.Length-k.Housing+k.Clearance)
}

// near compares to 1e-9 of the value, or of one where it is smaller.
func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		t.Errorf("%s is %.15g; the frame adds up to %.15g", what, got, want)
	}
}

// TestTakeoffOfTheHouse compares the takeoff of the five-bent frame with its JSON.
func TestTakeoffOfTheHouse(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	lead := client{s.URL, s.Keys["lead"]}
	at := "/v1/jobs/" + s.Jobs["house"] + "/frames/latest"
	var revision struct {
		Frame jsonFrame `json:"frame"`
	}
	var takeoff struct {
		Sticks     []sum `json:"sticks"`
		BySection  []sum `json:"bySection"`
		BySpecies  []sum `json:"bySpecies"`
		ByAssembly []sum `json:"byAssembly"`
		Pegs       []sum `json:"pegs"`
		Total      sum   `json:"total"`
	}
	for path, into := range map[string]any{at: &revision, at + "/takeoff": &takeoff} {
		if err := json.Unmarshal(lead.do(t, http.MethodGet, path, nil).body, into); err != nil {
			t.Fatal(err)
		}
	}
	want := recompute(t, revision.Frame)
	if len(want) < 50 || len(takeoff.Sticks) != len(want) {
		t.Fatalf("the takeoff has %d sticks, the frame %d", len(takeoff.Sticks), len(want))
	}
	var total sum
	byAssembly := map[string]float64{}
	for _, timber := range revision.Frame.Timbers {
		w := want[timber.Mark]
		total.Overall, total.BoardFeet = total.Overall+w.Overall, total.BoardFeet+w.BoardFeet
		total.Volume, total.Mass = total.Volume+w.Volume, total.Mass+w.Mass
		label := timber.Assembly
		if label == "" {
			label = "loose"
		}
		byAssembly[label] += w.Mass
	}
	for _, got := range takeoff.Sticks {
		w := want[got.Mark]
		near(t, got.Mark+": length between shoulders", got.Shoulder, w.Shoulder)
		near(t, got.Mark+": overall length", got.Overall, w.Overall)
		near(t, got.Mark+": board feet", got.BoardFeet, w.BoardFeet)
		near(t, got.Mark+": volume", got.Volume, w.Volume)
		near(t, got.Mark+": removed", got.Removed, w.Removed)
		near(t, got.Mark+": density", got.Density, w.Density)
		near(t, got.Mark+": mass", got.Mass, w.Mass)
	}
	for _, groups := range [][]sum{{takeoff.Total}, {added(takeoff.BySection)}, {added(takeoff.BySpecies)}, {added(takeoff.ByAssembly)}} {
		near(t, "sum of lengths", groups[0].Overall, total.Overall)
		near(t, "sum of board feet", groups[0].BoardFeet, total.BoardFeet)
		near(t, "sum of volumes", groups[0].Volume, total.Volume)
		near(t, "sum of masses", groups[0].Mass, total.Mass)
	}
	for _, g := range takeoff.ByAssembly {
		near(t, "mass of "+g.Label, g.Mass, byAssembly[g.Label])
	}
	pegs(t, revision.Frame, takeoff.Pegs)
}

func added(groups []sum) sum {
	var all sum
	for _, g := range groups {
		all.Overall, all.BoardFeet, all.Volume, all.Mass = all.Overall+g.Overall, all.BoardFeet+g.BoardFeet, all.Volume+g.Volume, all.Mass+g.Mass
	}
	return all
}

// pegs compares counts and masses by diameter.
func pegs(t *testing.T, f jsonFrame, lines []sum) {
	t.Helper()
	type tally struct {
		count int
		mass  float64
	}
	want, got := map[float64]tally{}, map[float64]tally{}
	for _, j := range f.Joints {
		if p := j.Pegs; p != nil {
			each := math.Pi / 4 * p.Diameter * p.Diameter * p.Length * 1e-9 * 1000 * gravities[p.Wood].dry * 1.12
			sum := want[p.Diameter]
			want[p.Diameter] = tally{sum.count + p.Count, sum.mass + float64(p.Count)*each}
		}
	}
	for _, l := range lines {
		sum := got[l.DiameterMM]
		got[l.DiameterMM] = tally{sum.count + l.Count, sum.mass + l.Mass}
	}
	if len(want) == 0 || len(got) != len(want) {
		t.Errorf("pegs of %d diameters, not %d", len(got), len(want))
	}
	for diameter, w := range want {
		if got[diameter].count != w.count {
			t.Errorf("pegs of %v mm: %d, not %d", diameter, got[diameter].count, w.count)
		}
		near(t, "mass of pegs", got[diameter].mass, w.mass)
	}
}
