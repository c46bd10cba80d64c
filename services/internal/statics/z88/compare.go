package z88

import (
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/statics"
)

// Compare fails the test where a result of package statics and an answer differ by more than tolerance times the largest
// value of the same kind: displacements, rotations, axial forces, shears, torsion and bending moments apart. It gives the
// largest difference found. Nodes at which nothing but bars ends have no rotation that means anything.
func Compare(t testing.TB, m *statics.Model, r *statics.Result, a *Answer, tolerance float64) float64 {
	t.Helper()
	if r.Outcome != statics.Solved {
		t.Fatalf("%s: %v", r.Case, r.Outcome)
	}
	list := values(m, r, a)
	most := make(map[string]float64)
	for _, v := range list {
		most[v.kind] = max(most[v.kind], math.Abs(v.got), math.Abs(v.want))
	}
	scale, worst := scales(most), 0.0
	for _, v := range list {
		if scale[v.kind] == 0 {
			continue
		}
		off := math.Abs(v.got-v.want) / scale[v.kind]
		worst = max(worst, off)
		if !(off <= tolerance) {
			t.Errorf("%s: %s of %s: %g, z88 %g (%.2g of %g)", r.Case, v.kind, v.piece, v.got, v.want, off, scale[v.kind])
		}
	}
	return worst
}

// The kinds of value.
const (
	displacement = "displacement"
	rotation     = "rotation"
	axial        = "axial force"
	shear        = "shear"
	torsion      = "torsion"
	bending      = "bending moment"
)

// value is one number of both.
type value struct {
	kind, piece string
	got, want   float64
}

func values(m *statics.Model, r *statics.Result, a *Answer) []value {
	turns := make([]bool, len(m.Nodes))
	for i := range m.Members {
		if p := &m.Members[i]; p.Kind == statics.Beam {
			turns[p.I], turns[p.J] = true, true
		}
	}
	for i := range m.Links {
		turns[m.Links[i].I], turns[m.Links[i].J] = true, true
	}
	var list []value
	for i, u := range a.Displacements {
		for f, want := range u {
			switch {
			case f < 3:
				list = append(list, value{displacement, m.Nodes[i].Name, r.Displacements[i][f], want})
			case turns[i]:
				list = append(list, value{rotation, m.Nodes[i].Name, r.Displacements[i][f], want})
			}
		}
	}
	kinds := [6]string{axial, shear, shear, torsion, bending, bending}
	for i, ends := range a.Ends {
		for end := range ends {
			for f, want := range ends[end] {
				list = append(list, value{kinds[f], m.Members[i].Name, r.Ends[i][end][f], want})
			}
		}
	}
	return list
}

// scales are what differences are measured by: the largest value of the kind, but a kind that hardly occurs is measured by
// what it comes with. Torsion comes with bending, moments with forces at a lever of a centimetre, rotations with displacements over a
// hundred metres.
func scales(most map[string]float64) map[string]float64 {
	force := max(most[axial], most[shear])
	moment := max(most[bending], force/100)
	return map[string]float64{
		displacement: most[displacement],
		rotation:     max(most[rotation], most[displacement]/100),
		axial:        max(most[axial], force/100),
		shear:        max(most[shear], force/100),
		torsion:      max(most[torsion], moment),
		bending:      moment,
	}
}
