package statics_test

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// b01: Euler–Bernoulli and Timoshenko.
func TestCantilever(t *testing.T) {
	t.Parallel()
	var f struct {
		Model     fileModel
		LoadCases []fileCase `json:"load_cases"`
		Expected  map[string]fileExpected
	}
	read(t, "b01_cantilever", &f)
	for name, want := range f.Expected {
		v := build(t, f.Model, nil, name == "TIMOSHENKO")
		r := solve(t, prepare(t, &v.model), statics.Options{}, v.load(t, f.LoadCases[0]))
		v.compare(t, &r[0], want, 1e-6)
	}
}

// b18: with shear, and without knee braces: one mechanism, the roof sways along x.
func TestKingPostBentVariants(t *testing.T) {
	t.Parallel()
	var f struct {
		Model     fileModel
		LoadCases []fileCase `json:"load_cases"`
		Expected  map[string]json.RawMessage
	}
	read(t, "b18_king_post_bent", &f)
	var want float64
	if err := json.Unmarshal(f.Expected["lateral_1kN_ux_node5_timoshenko"], &want); err != nil {
		t.Fatal(err)
	}
	v := build(t, f.Model, nil, true)
	s := prepare(t, &v.model)
	r := solve(t, s, statics.Options{}, v.load(t, f.LoadCases[1]))[0]
	if got := r.Displacements[v.nodes[5]][0]; math.Abs(got-want) > 1e-5*want {
		t.Errorf("sway with shear %v, want %v", got, want)
	}
	r = solve(t, s, statics.Options{Without: []int{v.members["braceL"], v.members["braceR"]}}, v.load(t, f.LoadCases[1]))[0]
	if r.Outcome != statics.Moves || len(r.Motions) != 1 {
		t.Fatalf("without knee braces: %v, %d motions", r.Outcome, len(r.Motions))
	}
	m := r.Motions[0]
	for _, n := range []int{5, 6, 9, 10, 11, 12, 13} {
		d := m.Nodes[v.nodes[n]]
		if math.Abs(math.Abs(d[0])-1) > 1e-3 || math.Abs(d[2]) > 1e-3 {
			t.Errorf("node %d: %v", n, d)
		}
	}
	if !strings.Contains(m.Words, "along x") {
		t.Error(m.Words)
	}
}

// b19: which pieces hold the half-built frame up.
func TestErectionStates(t *testing.T) {
	t.Parallel()
	var f struct {
		Model     fileModel
		LoadCases []fileCase `json:"load_cases"`
		States    map[string]struct {
			Mechanisms int     `json:"number_of_mechanisms"`
			Peak       float64 `json:"uy_node_10_wind"`
			Top        float64 `json:"uy_node_5_wind"`
		} `json:"erection_states_wind_y"`
	}
	read(t, "b19_two_bent_frame", &f)
	v := build(t, f.Model, nil, false)
	s := prepare(t, &v.model)
	temp := []string{"temp1", "temp2", "temp3", "temp4"}
	knee := []string{"lbraceLA", "lbraceLB", "lbraceRA", "lbraceRB"}
	for name, without := range map[string][]string{
		"all": nil, "no_temp": temp, "no_long_knee_braces": knee, "no_temp_no_long_knee": append(append([]string{}, temp...), knee...),
		"only_temp_A_left": temp[1:], "only_temp_A_left_no_long_knee": append(append([]string{}, temp[1:]...), knee...),
	} {
		o := statics.Options{}
		for _, m := range without {
			o.Without = append(o.Without, v.members[m])
		}
		r := solve(t, s, o, v.load(t, f.LoadCases[1]))[0]
		want := f.States[name]
		if len(r.Motions) != want.Mechanisms || (r.Outcome == statics.Solved) != (want.Mechanisms == 0) {
			t.Errorf("%s: %v, %d motions, want %d", name, r.Outcome, len(r.Motions), want.Mechanisms)
			continue
		}
		if want.Mechanisms > 0 {
			if d := r.Motions[0].Nodes[v.nodes[10]]; math.Abs(d[1]-1) > 1e-6 {
				t.Errorf("%s: the peak moves %v", name, d)
			}
			t.Log(r.Motions[0].Words)
			continue
		}
		for n, w := range map[int]float64{10: want.Peak, 5: want.Top} {
			if got := r.Displacements[v.nodes[n]][1]; math.Abs(got-w) > 1e-6*math.Abs(w)+1e-9 {
				t.Errorf("%s: node %d moves %v, want %v", name, n, got, w)
			}
		}
	}
}

// b20: the bent on slings, tilted and hanging, with inclined supports.
func TestLift(t *testing.T) {
	t.Parallel()
	var f struct {
		Model     fileModel
		LoadCases []fileCase               `json:"load_cases"`
		Supports  map[string][]fileSupport `json:"supports_by_case"`
		Expected  map[string]fileExpected
	}
	read(t, "b20_lift_king_post_bent", &f)
	for _, c := range f.LoadCases {
		v := build(t, f.Model, f.Supports[c.ID], false)
		r := solve(t, prepare(t, &v.model), statics.Options{}, v.load(t, c))
		if want := f.Expected[c.ID]; want.Displacements != nil {
			v.compare(t, &r[0], want, 1e-5)
		}
	}
}

// b15, b15b: exactly P/L for the leaning post; a beam-column of eight members.
func TestSecondOrder(t *testing.T) {
	t.Parallel()
	var f struct {
		Model     fileModel
		LoadCases []fileCase `json:"load_cases"`
		Expected  struct {
			FirstOrder fileExpected `json:"first_order"`
			UX         float64      `json:"second_order_ux_node2"`
			Critical   float64      `json:"critical_P"`
		}
	}
	read(t, "b15_pdelta_leaning", &f)
	v := build(t, f.Model, nil, false)
	s := prepare(t, &v.model)
	c := v.load(t, f.LoadCases[0])
	r := solve(t, s, statics.Options{Buckling: true}, c)[0]
	v.compare(t, &r, f.Expected.FirstOrder, 1e-6)
	if want := f.Expected.Critical / 40000; math.Abs(r.Buckling-want) > 1e-3*want {
		t.Errorf("buckling factor %v, want %v", r.Buckling, want)
	}
	r = solve(t, s, statics.Options{SecondOrder: true}, c)[0]
	if got := r.Displacements[v.nodes[2]][0]; math.Abs(got-f.Expected.UX) > 1e-6*got || r.Residual > 1e-9 {
		t.Errorf("second order %v, want %v; residual %v", got, f.Expected.UX, r.Residual)
	}
	c.Nodal[1].F[2] = -1.1 * f.Expected.Critical
	if r = solve(t, s, statics.Options{SecondOrder: true}, c)[0]; r.Outcome != statics.Unstable || len(r.Motions) != 1 {
		t.Errorf("beyond the critical load: %v %v", r.Outcome, r.Motions)
	} else {
		t.Log(r.Motions[0].Words)
	}

	var g struct {
		Model     fileModel
		LoadCases []fileCase `json:"load_cases"`
		Expected  struct {
			Second float64 `json:"tip_ux_second_order"`
			First  float64 `json:"tip_ux_first_order"`
			Base   float64 `json:"base_moment_second_order"`
		}
	}
	read(t, "b15b_beam_column", &g)
	v = build(t, g.Model, nil, false)
	s = prepare(t, &v.model)
	c = v.load(t, g.LoadCases[0])
	first, second := solve(t, s, statics.Options{}, c)[0], solve(t, s, statics.Options{SecondOrder: true}, c)[0]
	for name, p := range map[string][2]float64{
		"first": {first.Displacements[8][0], g.Expected.First}, "second": {second.Displacements[8][0], g.Expected.Second},
		"base moment": {math.Abs(second.Ends[0][0][5]), g.Expected.Base},
	} {
		if math.Abs(p[0]-p[1]) > 1e-6*p[1] {
			t.Errorf("%s: %v, want %v", name, p[0], p[1])
		}
	}
}

// b16: multiples of EI/L².
func TestBuckling(t *testing.T) {
	t.Parallel()
	var f struct {
		Models   map[string]fileModel
		Expected struct {
			Pcr map[string]float64 `json:"Pcr_N"`
		}
	}
	read(t, "b16_buckling", &f)
	for name, m := range f.Models {
		v := build(t, m, nil, false)
		c := statics.Case{Name: name, Nodal: []statics.NodalLoad{{Node: v.nodes[9], F: statics.Vec6{0, 0, -1}}}}
		if strings.HasPrefix(name, "portal") {
			c.Nodal = []statics.NodalLoad{{Node: v.nodes[7], F: statics.Vec6{0, 0, -1}}, {Node: v.nodes[13], F: statics.Vec6{0, 0, -1}}}
		}
		r := solve(t, prepare(t, &v.model), statics.Options{Buckling: true}, c)[0]
		if want := f.Expected.Pcr[name]; math.Abs(r.Buckling-want) > 1e-3*want {
			t.Errorf("%s: %v, want %v", name, r.Buckling, want)
		}
	}
}

// b17: Euler–Bernoulli without rotary inertia.
func TestFrequencies(t *testing.T) {
	t.Parallel()
	var f struct {
		Model    fileModel
		Expected struct {
			Hz []float64 `json:"frequencies_hz"`
		}
	}
	read(t, "b17_frequency", &f)
	v := build(t, f.Model, nil, false)
	got, err := prepare(t, &v.model).Frequencies(2)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range f.Expected.Hz {
		if math.Abs(got[i]-want) > 1e-6*want {
			t.Errorf("%v, want %v", got[i], want)
		}
	}
}

// b12: the free motions, compared as subspaces, and their words.
func TestMechanisms(t *testing.T) {
	t.Parallel()
	var f struct {
		Expected map[string]struct {
			Model   fileModel
			Count   int                     `json:"number_of_mechanisms"`
			Vectors []map[string][6]float64 `json:"null_vectors_scaled_to_max_1"`
		}
	}
	read(t, "b12_mechanisms", &f)
	words := map[string][]string{
		"sway_portal":        {"2 and 3 all shift together along x"},
		"lone_post":          {"the whole structure turns about the line through 1 along x", "the whole structure turns about the line through 1 along y", "c1 spins about its own axis"},
		"bent_out_of_plane":  {"the whole structure turns about the line through the feet 1 and 4"},
		"two_hinges_in_span": {"2 drops: 3 moves with it, less"},
	}
	for name, want := range f.Expected {
		v := build(t, want.Model, nil, false)
		r := solve(t, prepare(t, &v.model), statics.Options{}, statics.Case{Name: name, Gravity: geom.V(0, 0, -9.80665)})[0]
		if r.Outcome != statics.Moves || len(r.Motions) != want.Count {
			t.Errorf("%s: %v, %d motions, want %d", name, r.Outcome, len(r.Motions), want.Count)
			continue
		}
		// Every given vector must lie in the space of those found, and there are as many of them.
		for _, given := range want.Vectors {
			if off := distance(v, given, r.Motions); off > 1e-5 {
				t.Errorf("%s: a free motion is off by %.3g", name, off)
			}
		}
		for i, m := range r.Motions {
			if m.Words != words[name][i] {
				t.Errorf("%s: %q, want %q", name, m.Words, words[name][i])
			}
		}
	}
}

// distance of a vector from the space of motions, relative.
func distance(v vector, given map[string][6]float64, motions []statics.Motion) float64 {
	n := 6 * len(v.nodes)
	flat := make([]float64, n)
	for id, d := range given {
		k, _ := strconv.Atoi(id)
		copy(flat[6*v.nodes[k]:], d[:])
	}
	norm := func(x []float64) (s float64) {
		for _, c := range x {
			s += c * c
		}
		return math.Sqrt(s)
	}
	whole := norm(flat)
	var basis [][]float64
	for _, m := range motions {
		b := make([]float64, n)
		for k, d := range m.Nodes {
			copy(b[6*k:], d[:])
		}
		basis = append(basis, b)
	}
	project := func(x []float64, onto [][]float64) {
		for range 2 {
			for _, b := range onto {
				s := 0.0
				for i := range x {
					s += x[i] * b[i]
				}
				for i := range x {
					x[i] -= s * b[i]
				}
			}
		}
	}
	for i, b := range basis {
		project(b, basis[:i])
		s := norm(b)
		for k := range b {
			b[k] /= s
		}
	}
	project(flat, basis)
	return norm(flat) / whole
}
