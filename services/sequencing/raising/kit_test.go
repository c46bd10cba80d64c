package raising_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// maker builds puzzles by hand.
type maker struct {
	p  raising.Puzzle
	at map[string]int
}

func newMaker() *maker { return &maker{at: map[string]int{}} }

// unit adds a loose unit or, with assembly, an assembly.
func (m *maker) unit(name string, class raising.Class, x, z int64, assembly bool) {
	m.at[name] = len(m.p.Units)
	m.p.Units = append(m.p.Units, raising.Unit{
		Name: name, Assembly: assembly,
		Rank: raising.Rank{Class: class, X: x, Z: z, Name: name},
	})
}

// stand gives a unit feet on the deck, bearing or dowelled.
func (m *maker) stand(name string, bearing bool, at ...geom.Vec) {
	u := m.at[name]
	for i, a := range at {
		m.p.Units[u].Feet = append(m.p.Units[u].Feet, raising.Foot{
			At: a, HalfWidth: geom.V(100, 0, 0), HalfDepth: geom.V(0, 100, 0),
		})
		l := raising.Link{
			ID: fmt.Sprintf("base-%s-%d", name, i), Entering: u, Receiving: raising.Deck, At: a,
			Ways: []geom.Vec{geom.Up()}, Opens: cone(geom.Up()),
		}
		if bearing {
			l.Ways = append(l.Ways, geom.V(1, 0, 0), geom.V(-1, 0, 0), geom.V(0, 1, 0), geom.V(0, -1, 0))
			l.Opens = func(d geom.Vec) bool { return d.Z >= -1e-9 }
		}
		m.p.Links = append(m.p.Links, l)
	}
}

// tenon joins two units by a tenon that leaves along way.
func (m *maker) tenon(id, entering, receiving string, way, at geom.Vec) {
	m.p.Links = append(m.p.Links, raising.Link{
		ID: id, Entering: m.at[entering], Receiving: m.at[receiving], Opens: cone(way),
		Ways: []geom.Vec{geom.Unit(way)}, At: at, TenonMM: 100,
	})
}

// cone opens within the play of a tenon about one direction.
func cone(way geom.Vec) func(geom.Vec) bool {
	way = geom.Unit(way)
	least := math.Cos(geom.Radians(raising.PlayDeg))
	return func(d geom.Vec) bool { return geom.Dot(geom.Unit(d), way) >= least }
}

// names lists the units of each move.
func (m *maker) names(moves []raising.Move) [][]string {
	var out [][]string
	for _, mv := range moves {
		var one []string
		for _, u := range mv.Units {
			one = append(one, m.p.Units[u].Name)
		}
		out = append(out, one)
	}
	return out
}

// bay adds a girt with two braces between two bents whose post faces lie at x0 and x1; the tenons of the girt
// lie level, those of its braces go up into it.
func (m *maker) bay(girt, from, to string, x0, x1, h float64) {
	mid := int64((x0 + x1) / 20)
	m.unit(girt, raising.InWall, mid, int64(h/10), false)
	m.unit(girt+"w", raising.InWall, mid-50, int64(h/10)-30, false)
	m.unit(girt+"e", raising.InWall, mid+50, int64(h/10)-30, false)
	east, west, down := geom.V(1, 0, 0), geom.V(-1, 0, 0), geom.V(0, 0, -1)
	m.tenon(girt+"-s", girt, from, east, geom.V(x0, 0, h))
	m.tenon(girt+"-t", girt, to, west, geom.V(x1, 0, h))
	m.tenon(girt+"w-p", girt+"w", from, east, geom.V(x0, 0, h-600))
	m.tenon(girt+"w-g", girt+"w", girt, down, geom.V(x0+600, 0, h))
	m.tenon(girt+"e-p", girt+"e", to, west, geom.V(x1, 0, h-600))
	m.tenon(girt+"e-g", girt+"e", girt, down, geom.V(x1-600, 0, h))
}

// row is a number of bents in a row with one girt and two braces in each bay, and a ridge piece in each
// bay that drops into both bents.
func row(bents int, bearing bool) *maker {
	m := newMaker()
	for i := range bents {
		x := float64(i) * 4000
		name := fmt.Sprintf("bent-%d", i+1)
		m.unit(name, raising.Standing, int64(x/10), 200, true)
		m.stand(name, bearing, geom.V(x, 0, 0), geom.V(x, 6000, 0))
	}
	for i := range bents - 1 {
		x := float64(i) * 4000
		from, to := fmt.Sprintf("bent-%d", i+1), fmt.Sprintf("bent-%d", i+2)
		m.bay(fmt.Sprintf("g%d", i+1), from, to, x+100, x+3900, 2600)
		ridge := fmt.Sprintf("r%d", i+1)
		m.unit(ridge, raising.Above, int64(x/10)+200, 500, false)
		m.tenon(ridge+"-s", ridge, from, geom.Up(), geom.V(x, 3000, 5000))
		m.tenon(ridge+"-t", ridge, to, geom.Up(), geom.V(x+4000, 3000, 5000))
	}
	return m
}

func order(t testing.TB, p raising.Puzzle) []raising.Move {
	t.Helper()
	moves, err := raising.Order(t.Context(), p)
	if err != nil {
		t.Fatalf("no order: %v", err)
	}
	return moves
}

// shuffled is the puzzle with its units and links in another order.
func shuffled(p raising.Puzzle, perm func(n int) []int) raising.Puzzle {
	units, links := perm(len(p.Units)), perm(len(p.Links))
	at := make([]int, len(units))
	var q raising.Puzzle
	for to, from := range units {
		at[from] = to
		q.Units = append(q.Units, p.Units[from])
	}
	for _, from := range links {
		l := p.Links[from]
		l.Entering = at[l.Entering]
		if l.Receiving != raising.Deck {
			l.Receiving = at[l.Receiving]
		}
		q.Links = append(q.Links, l)
	}
	return q
}

func sorted(s []string) []string { s = slices.Clone(s); slices.Sort(s); return s }
