package statics_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// The check values are those of testdata/statics, each COMPUTED there by two formulations and compared with closed forms,
// published values or an independent program; the files name them.

type (
	fileNode struct {
		ID      int
		X, Y, Z float64
	}
	fileMember struct {
		ID, Mat, Sec, Type string
		I, J               int
		YRef               [3]float64
		Releases           map[string][]string
		EndSprings         map[string]map[string]float64 `json:"end_springs"`
	}
	fileSupport struct {
		Node         int
		Fix, Contact []string
		Springs      map[string]float64
		Axis         *[3]float64
	}
	fileModel struct {
		Theory    string
		Nodes     []fileNode
		Materials []struct {
			ID        string
			E, G, Rho float64
		}
		Sections []struct {
			ID                     string
			A, Iz, Iy, J, Asy, Asz float64
		}
		Members  []fileMember
		Supports json.RawMessage
	}
	fileCase struct {
		ID      string
		Gravity *[3]float64
		UDL     []struct {
			Member  string
			WGlobal [3]float64 `json:"w_global"`
		}
		Nodal      json.RawMessage
		Point      []map[string]any
		Prescribed []struct {
			Node  int
			DOF   string
			Value float64
		}
	}
	fileExpected struct {
		Displacements   map[string][6]float64
		Reactions       map[string]map[string]float64
		MemberEndForces map[string]struct{ I, J [6]float64 } `json:"member_end_forces"`
	}
)

// vector is a model of a file, with the names of its parts.
type vector struct {
	model   statics.Model
	nodes   map[int]int
	members map[string]int
}

func freedom(name string) int {
	return sort.SearchStrings([]string{"rx", "ry", "rz", "ux", "uy", "uz"}, name[:2])
}

// freedomOf gives UX..RZ for a name.
func freedomOf(name string) int { return (freedom(name) + 3) % 6 }

func vec(v [3]float64) geom.Vec { return geom.V(v[0], v[1], v[2]) }

func read(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "statics", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func build(t testing.TB, f fileModel, supports []fileSupport, shear bool) vector {
	t.Helper()
	v := vector{nodes: map[int]int{}, members: map[string]int{}}
	for i, n := range f.Nodes {
		v.nodes[n.ID] = i
		v.model.Nodes = append(v.model.Nodes, statics.Node{Name: strconv.Itoa(n.ID), At: geom.V(n.X, n.Y, n.Z)})
	}
	for i, m := range f.Members {
		v.members[m.ID] = i
		b := statics.Member{Name: m.ID, I: v.nodes[m.I], J: v.nodes[m.J], YRef: vec(m.YRef)}
		switch m.Type {
		case "truss":
			b.Kind = statics.Bar
		case "tension_only":
			b.Kind = statics.Tie
		}
		for _, mat := range f.Materials {
			if mat.ID == m.Mat {
				b.Material = statics.Material{E: mat.E, G: mat.G, Rho: mat.Rho}
			}
		}
		for _, s := range f.Sections {
			if s.ID == m.Sec {
				b.Section = statics.Section{A: s.A, Iy: s.Iy, Iz: s.Iz, J: s.J}
				if shear {
					b.Section.Asy, b.Section.Asz = s.Asy, s.Asz
				}
			}
		}
		for end, g := range map[string]*statics.Grip{"i": &b.GripI, "j": &b.GripJ} {
			for _, d := range m.Releases[end] {
				g.Hold[freedomOf(d)].Free = true
			}
			for d, k := range m.EndSprings[end] {
				g.Hold[freedomOf(d)].K = k
			}
		}
		v.model.Members = append(v.model.Members, b)
	}
	if supports == nil {
		if err := json.Unmarshal(f.Supports, &supports); err != nil {
			t.Fatal(err)
		}
	}
	for _, p := range supports {
		s := statics.Support{Node: v.nodes[p.Node]}
		for _, d := range p.Fix {
			s.Fixed[freedomOf(d)] = true
		}
		for _, d := range p.Contact {
			s.OneSided[freedomOf(d)] = true
		}
		for d, k := range p.Springs {
			s.Spring[freedomOf(d)] = k
		}
		if p.Axis != nil {
			s.Axis = vec(*p.Axis)
		}
		v.model.Supports = append(v.model.Supports, s)
	}
	return v
}

func (v vector) load(t testing.TB, f fileCase) statics.Case {
	t.Helper()
	c := statics.Case{Name: f.ID}
	if f.Gravity != nil {
		c.Gravity = vec(*f.Gravity)
	}
	for _, u := range f.UDL {
		c.Line = append(c.Line, statics.LineLoad{Member: v.members[u.Member], W: vec(u.WGlobal)})
	}
	var nodal []map[string]float64
	if f.Nodal != nil {
		if err := json.Unmarshal(f.Nodal, &nodal); err != nil {
			t.Fatal(err)
		}
	}
	for _, n := range nodal {
		l := statics.NodalLoad{Node: v.nodes[int(n["node"])]}
		for k, name := range []string{"Fx", "Fy", "Fz", "Mx", "My", "Mz"} {
			l.F[k] = n[name]
		}
		c.Nodal = append(c.Nodal, l)
	}
	for _, p := range f.Point {
		w := p["F_global"].([]any)
		c.Point = append(c.Point, statics.PointLoad{
			Member: v.members[p["member"].(string)], At: p["a"].(float64), F: geom.V(w[0].(float64), w[1].(float64), w[2].(float64)),
		})
	}
	for _, p := range f.Prescribed {
		c.Prescribed = append(c.Prescribed, statics.Prescribed{Node: v.nodes[p.Node], Freedom: statics.Freedom(freedomOf(p.DOF)), Value: p.Value})
	}
	return c
}

// worst keeps the largest value and the largest difference of a kind.
type worst struct{ most, off float64 }

func (w *worst) see(got, want float64) {
	w.most = max(w.most, math.Abs(want))
	w.off = max(w.off, math.Abs(got-want))
}

// compare checks a result against a file's to tol of the largest of the same kind.
func (v vector) compare(t *testing.T, r *statics.Result, want fileExpected, tol float64) {
	t.Helper()
	if r.Outcome != statics.Solved {
		t.Fatalf("%s: %v %v", r.Case, r.Outcome, r.Motions)
	}
	kinds := map[string]*worst{"displacement": {}, "rotation": {}, "reaction": {}, "reaction moment": {}, "end force": {}, "end moment": {}}
	pick := func(a, b string, turn bool) *worst {
		if turn {
			return kinds[b]
		}
		return kinds[a]
	}
	for id, d := range want.Displacements {
		n, _ := strconv.Atoi(id)
		for f, x := range d {
			pick("displacement", "rotation", f > 2).see(r.Displacements[v.nodes[n]][f], x)
		}
	}
	for id, e := range want.MemberEndForces {
		for end, fs := range [...][6]float64{e.I, e.J} {
			for f, x := range fs {
				pick("end force", "end moment", f > 2).see(r.Ends[v.members[id]][end][f], x)
			}
		}
	}
	for id, rs := range want.Reactions {
		n, _ := strconv.Atoi(id)
		for name, x := range rs {
			got := 0.0
			for i, s := range v.model.Supports {
				switch {
				case s.Node != v.nodes[n]:
				case name == "axis":
					got += r.Axial[i]
				case len(name) > 2 || s.Fixed[freedomOf(name)]:
					got += r.Reactions[i][freedomOf(name)]
				}
			}
			pick("reaction", "reaction moment", name[0] == 'r').see(got, x)
		}
	}
	for kind, w := range kinds {
		if w.off > tol*w.most+1e-9*kinds["end force"].most && w.off > tol*w.most+1e-12 {
			t.Errorf("%s: %s off by %.3g of %.3g", r.Case, kind, w.off, w.most)
		}
	}
	if r.Residual > 1e-9 || r.EnergyError > 1e-6 {
		t.Errorf("%s: residual %.3g, energy %.3g", r.Case, r.Residual, r.EnergyError)
	}
}

func prepare(t testing.TB, m *statics.Model) *statics.Solver {
	t.Helper()
	s, err := statics.Prepare(m)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func solve(t testing.TB, s *statics.Solver, o statics.Options, cases ...statics.Case) []statics.Result {
	t.Helper()
	rs, err := s.Solve(cases, o)
	if err != nil {
		t.Fatal(err)
	}
	return rs
}

func TestLinearVectors(t *testing.T) {
	t.Parallel()
	for name, tol := range map[string]float64{
		"b02_fixed_beam": 1e-6, "b03_three_span": 1e-6, "b04_portal": 1e-6, "b05a_space_frame_weaver": 1e-6,
		"b05b_space_frame_mcguire": 1e-6, "b05c_space_frame_cube": 1e-6, "b06a_truss_2d": 1e-6, "b06b_tripod": 1e-6, "b07_end_release": 1e-6,
		"b08_semi_rigid": 1e-6, "b09_inclined_and_spring_support": 1e-6, "b10_self_weight_inclined": 1e-6, "b11_prescribed_settlement": 1e-6,
		"b13_tension_only": 1e-6, "b14_contact_only": 1e-6, "b18_king_post_bent": 1e-5, "b19_two_bent_frame": 1e-5,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var f struct {
				Model       fileModel
				LoadCases   []fileCase `json:"load_cases"`
				SecondModel *fileModel `json:"second_model"`
				SecondCases []fileCase `json:"second_model_load_cases"`
				Expected    map[string]json.RawMessage
			}
			read(t, name, &f)
			run := func(m fileModel, cases []fileCase) {
				v := build(t, m, nil, m.Theory == "TIMOSHENKO")
				s := prepare(t, &v.model)
				var loads []statics.Case
				for _, c := range cases {
					loads = append(loads, v.load(t, c))
				}
				for i, r := range solve(t, s, statics.Options{}, loads...) {
					var want fileExpected
					if err := json.Unmarshal(f.Expected[cases[i].ID], &want); err != nil {
						t.Fatal(err)
					}
					v.compare(t, &r, want, tol)
				}
			}
			run(f.Model, f.LoadCases)
			if f.SecondModel != nil {
				run(*f.SecondModel, f.SecondCases)
			}
		})
	}
}
