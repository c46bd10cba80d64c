package framepb_test

import (
	"encoding/json"
	"math"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frame/framepb"
	"github.com/pikepole/pikepole/services/internal/rough"
)

// The measures of package frame's comment, computed a second time from the JSON of a frame alone.

type point struct{ XMm, YMm, ZMm float64 }

type vector [3]float64

func (p point) vector() vector { return vector{p.XMm, p.YMm, p.ZMm} }

func (a vector) minus(b vector) vector { return vector{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a vector) times(f float64) vector { return vector{a[0] * f, a[1] * f, a[2] * f} }

func (a vector) dot(b vector) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func (a vector) unit() vector { return a.times(1 / math.Sqrt(a.dot(a))) }

func (a vector) cross(b vector) vector {
	return vector{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

type jsonTimber struct {
	Mark                      string
	WidthMm, DepthMm, RollDeg float64
	Start, End                point
}

type jsonJoint struct {
	Kind, Entering, EnteringEnd, Receiving string
	Tenon                                  struct {
		LengthMm, ThicknessMm, WidthMm, HousingDepthMm, ClearanceMm float64
	}
}

type jsonFrame struct {
	Timbers []jsonTimber
	Joints  []jsonJoint
}

func (t jsonTimber) axes() (a, w, d vector) {
	a = t.End.vector().minus(t.Start.vector()).unit()
	up := vector{0, 0, 1}
	if math.Hypot(a[0], a[1]) < 1e-6 {
		up = vector{0, 1, 0}
	}
	d = up.minus(a.times(up.dot(a))).unit()
	w = d.cross(a)
	s, c := math.Sincos(t.RollDeg * math.Pi / 180)
	return a, w.times(c).minus(d.times(-s)), d.times(c).minus(w.times(s))
}

func (t jsonTimber) extent(u vector) float64 {
	_, w, d := t.axes()
	return t.WidthMm*math.Abs(u.dot(w)) + t.DepthMm*math.Abs(u.dot(d))
}

// entered is the outward normal of the receiving face that opposes out best.
func (t jsonTimber) entered(out vector) vector {
	_, w, d := t.axes()
	best, least := vector{}, math.Inf(1)
	for _, n := range []vector{d, d.times(-1), w, w.times(-1)} {
		if n.dot(out) < least-1e-9 {
			best, least = n, n.dot(out)
		}
	}
	return best
}

type measured struct{ start, end, volume, removed float64 }

func (f jsonFrame) measure() map[string]*measured {
	timbers := make(map[string]jsonTimber)
	out := make(map[string]*measured)
	for _, t := range f.Timbers {
		l := t.End.vector().minus(t.Start.vector())
		timbers[t.Mark] = t
		out[t.Mark] = &measured{volume: t.WidthMm * t.DepthMm * math.Sqrt(l.dot(l))}
	}
	for _, j := range f.Joints {
		if j.Receiving == "" {
			continue
		}
		e, r, tn := timbers[j.Entering], timbers[j.Receiving], j.Tenon
		a, _, _ := e.axes()
		grain, _, _ := r.axes()
		reach, outward := &out[j.Entering].end, a
		if j.EnteringEnd == "TIMBER_END_START" {
			reach, outward = &out[j.Entering].start, a.times(-1)
		}
		n := r.entered(outward)
		c := math.Abs(n.dot(a))
		letIn := e.WidthMm * e.DepthMm * tn.HousingDepthMm / c
		size := tn.ThicknessMm * tn.WidthMm
		*reach = max(*reach, (e.extent(n)/2+tn.HousingDepthMm)/c, tn.LengthMm*c+tn.WidthMm/2*math.Abs(grain.dot(a)))
		out[j.Entering].volume += letIn + size*(tn.LengthMm-tn.HousingDepthMm)
		bottom := tn.LengthMm + tn.ClearanceMm
		if j.Kind == "JOINT_KIND_THROUGH_MORTISE_AND_TENON" {
			bottom = r.extent(n)
		}
		out[j.Receiving].removed += letIn + size*(bottom-tn.HousingDepthMm)
	}
	return out
}

func TestMeasureFromTheJSONAlone(t *testing.T) {
	t.Parallel()
	d, err := rough.Make(rough.King{
		BentCount: 5, BaySpacingsMM: []float64{3600, 4200, 3000, 3600}, SpanMM: 8100, PostHeightMM: 3000, RoofPitchDeg: 41,
		PurlinsPerSlope: 3, GirtDropMM: 240, BraceLegMM: 840, Struts: true, WallBraces: true, Species: "white-oak", MoisturePercent: 45,
	})
	if err != nil {
		t.Fatal(err)
	}
	for i := range d.Joints { // let some ends in
		if tn := d.Joints[i].Tenon; tn != nil && i%3 == 0 {
			tn.HousingDepthMM = 6
		}
	}
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatal(err)
	}
	text, err := protojson.Marshal(framepb.FromDraft(d))
	if err != nil {
		t.Fatal(err)
	}
	var parsed jsonFrame
	if err := json.Unmarshal(text, &parsed); err != nil {
		t.Fatal(err)
	}
	same := func(mark, what string, got, want float64) {
		if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
			t.Errorf("%s: %s %v, from the JSON %v", mark, what, got, want)
		}
	}
	for mark, want := range parsed.measure() {
		i, _ := f.Index(mark)
		s := f.Solid(i)
		same(mark, "overall length", s.OverallMM, s.ShoulderMM+want.start+want.end)
		same(mark, "removed volume", s.RemovedMM3, want.removed)
		same(mark, "volume", s.VolumeMM3, want.volume-want.removed)
		// White oak, Gb 0.60, above fibre saturation: 600·1.45 kg/m³.
		same(mark, "mass", f.MassKG(i), (want.volume-want.removed)*870e-9)
	}
}
