package statics_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// golden gives the golden rows of a file of check values by name: computed there by hand formulas and confirmed by a second
// method. Rows of arithmetic alone, such as a factored hook load, are nothing that a structure could answer.
func golden(t *testing.T, file string) map[string][]float64 {
	t.Helper()
	text, err := os.ReadFile("../../../testdata/statics/" + file + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Rows []struct {
			Name     string
			Expected json.RawMessage
			Golden   bool
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	rows := map[string][]float64{}
	for _, r := range doc.Rows {
		var one float64
		var many []float64
		switch {
		case !r.Golden:
		case json.Unmarshal(r.Expected, &one) == nil:
			rows[r.Name] = []float64{one}
		case json.Unmarshal(r.Expected, &many) == nil:
			rows[r.Name] = many
		}
	}
	return rows
}

func wantRow(t *testing.T, rows map[string][]float64, name string, got ...float64) {
	t.Helper()
	want := rows[name]
	if len(want) != len(got) {
		t.Fatalf("%s: %d values for %d", name, len(got), len(want))
	}
	for i := range want {
		if math.Abs(got[i]-want[i]) > 2e-6*math.Abs(want[i]) {
			t.Errorf("%s: value %d is %.7g, want %.7g", name, i+1, got[i], want[i])
		}
	}
}

// stick is a stiff member between two nodes.
func stick(i, j int, kind statics.Kind) statics.Member {
	return statics.Member{
		Name: "stick", I: i, J: j, Kind: kind, Material: statics.Material{E: 1e11, G: 4e10, Rho: 1}, Section: statics.Rectangle(0.3, 0.3),
	}
}

// span is a beam along X over points that hold it up, its first end held along.
func span(at ...float64) statics.Model {
	var m statics.Model
	for i, x := range at {
		m.Nodes = append(m.Nodes, statics.Node{Name: "point", At: geom.V(x, 0, 0)})
		if i > 0 {
			m.Members = append(m.Members, stick(i-1, i, statics.Beam))
		}
	}
	return m
}

func rests(node int) statics.Support {
	s := statics.Support{Name: "rest", Node: node}
	s.Fixed[statics.UY], s.Fixed[statics.UZ], s.Fixed[statics.RX] = true, true, true
	return s
}

func down(node int, n float64) statics.NodalLoad {
	return statics.NodalLoad{Node: node, F: statics.Vec6{statics.UZ: -n}}
}

func solved(t *testing.T, m statics.Model, c statics.Case) (*statics.Solver, *statics.Result) {
	t.Helper()
	s := prepare(t, &m)
	r := solve(t, s, statics.Options{}, c)
	return s, &r[0]
}

// Legs of a two-leg sling carry V/sin b, whatever their length.
func TestSlingLegs(t *testing.T) {
	t.Parallel()
	rows := golden(t, "v23_lifting")
	for name, deg := range map[string]float64{
		"two_leg_sling_30": 30, "two_leg_sling_45": 45, "two_leg_sling_60": 60, "two_leg_sling_75": 75, "two_leg_sling_90": 90,
	} {
		sin, cos := math.Sincos(geom.Radians(deg))
		m := statics.Model{
			Nodes:   []statics.Node{{Name: "hook", At: geom.V(0, 0, 3*sin)}, {Name: "load", At: geom.V(3*cos, 0, 0)}},
			Members: []statics.Member{stick(0, 1, statics.Tie)},
		}
		m.Members[0].Material.Rho = 0
		for n, free := range []bool{false, true} {
			s := statics.Support{Name: "held", Node: n, Fixed: [6]bool{true, true, true, true, true, true}}
			s.Fixed[statics.UZ] = !free
			m.Supports = append(m.Supports, s)
		}
		_, r := solved(t, m, statics.Case{Name: "lift", Nodal: []statics.NodalLoad{down(1, 5000)}})
		wantRow(t, rows, name, r.Ends[0][1][0])
	}
}

// What two picks carry when the load lies off their middle, and one pick of a bent that turns about its feet.
func TestPicks(t *testing.T) {
	t.Parallel()
	rows := golden(t, "v23_lifting")
	m := span(0, 1.5, 3.6)
	m.Supports = []statics.Support{rests(0), rests(2)}
	m.Supports[0].Fixed[statics.UX] = true
	_, r := solved(t, m, statics.Case{Name: "hang", Nodal: []statics.NodalLoad{down(1, 5475)}})
	wantRow(t, rows, "pick_split_cg_offset", r.Reactions[0][statics.UZ])

	m = span(0, 3.192978, 4.35)
	m.Supports = []statics.Support{rests(0), rests(2)}
	m.Supports[0].Fixed[statics.UX] = true
	_, r = solved(t, m, statics.Case{Name: "tilt", Nodal: []statics.NodalLoad{down(1, 5475.275)}})
	wantRow(t, rows, "tilt_pick_force_constant", r.Reactions[1][statics.UZ])
}

// Four outriggers on equal ground under a stiff carrier, counter-clockwise from the corner that the boom is nearest to.
func TestOutriggers(t *testing.T) {
	t.Parallel()
	const halfX, halfY, vertical, moment = 2.7, 2.5, 250e3, 300e3
	m := statics.Model{Nodes: []statics.Node{{Name: "turntable"}}}
	sin, cos := math.Sincos(geom.Radians(30))
	for i, at := range []geom.Vec{geom.V(halfX, halfY, 0), geom.V(-halfX, halfY, 0), geom.V(-halfX, -halfY, 0), geom.V(halfX, -halfY, 0)} {
		m.Nodes = append(m.Nodes, statics.Node{Name: "outrigger", At: at})
		beam := stick(0, i+1, statics.Beam)
		beam.Section = statics.Rectangle(2, 2)
		m.Members = append(m.Members, beam)
		m.Supports = append(m.Supports, statics.Support{Name: "ground", Node: i + 1, Spring: [6]float64{statics.UZ: 1e5}})
	}
	held := statics.Support{Name: "turntable", Node: 0}
	held.Fixed[statics.UX], held.Fixed[statics.UY], held.Fixed[statics.RZ] = true, true, true
	m.Supports = append(m.Supports, held)
	load := statics.NodalLoad{Node: 0, F: statics.Vec6{statics.UZ: -vertical, statics.RX: -moment * sin, statics.RY: moment * cos}}
	_, r := solved(t, m, statics.Case{Name: "slewed", Nodal: []statics.NodalLoad{load}})
	got := make([]float64, 4)
	for i := range got {
		got[i] = -1e5 * r.Displacements[i+1][statics.UZ] / 1e3
	}
	wantRow(t, golden(t, "v24_ground_cribbing_deck"), "outrigger_loads_kN", got...)
}

// A bearer over five joists, a joist under two bearers, and a mat beyond its float.
func TestBearers(t *testing.T) {
	t.Parallel()
	rows := golden(t, "v24_ground_cribbing_deck")
	m := span(0, 0.4, 0.8, 1.2, 1.6)
	even := statics.Case{Name: "bearer"}
	for i := range m.Nodes {
		m.Supports = append(m.Supports, rests(i))
	}
	m.Supports[0].Fixed[statics.UX] = true
	for i := range m.Members {
		even.Line = append(even.Line, statics.LineLoad{Member: i, W: geom.V(0, 0, -3750)})
	}
	_, r := solved(t, m, even)
	got := make([]float64, len(m.Nodes))
	for i := range got {
		got[i] = r.Reactions[i][statics.UZ] / 1e3
	}
	wantRow(t, rows, "joist_loads_stiff_joists_kN", got...)

	for name, a := range map[string]float64{"joist_moment_two_bearers_kNm": 0.5, "joist_moment_if_bearers_at_thirds": 1.333333} {
		m := span(0, a, 4-a, 4)
		m.Supports = []statics.Support{rests(0), rests(3)}
		m.Supports[0].Fixed[statics.UX] = true
		s, r := solved(t, m, statics.Case{Name: "joist", Nodal: []statics.NodalLoad{down(1, 1714.286), down(2, 1714.286)}})
		f := s.Forces(r, 1, (4-2*a)/2)
		wantRow(t, rows, name, math.Hypot(f[4], f[5])/1e3)
	}

	m = span(0, 0.4)
	m.Supports = []statics.Support{{Name: "float", Node: 0, Fixed: [6]bool{true, true, true, true, true, true}}}
	_, r = solved(t, m, statics.Case{Name: "mat", Line: []statics.LineLoad{{Member: 0, W: geom.V(0, 0, 101.5563e3/1.44)}}})
	wantRow(t, rows, "mat_cantilever_moment_kNm_per_m", math.Hypot(r.Ends[0][0][4], r.Ends[0][0][5])/1e3)
}
