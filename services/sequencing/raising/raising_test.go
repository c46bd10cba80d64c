package raising_test

import (
	"errors"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

func TestRowOfBents(t *testing.T) {
	t.Parallel()
	m := row(3, true)
	moves := order(t, m.p)
	want := [][]string{
		{"bent-1"}, {"g1w", "g1", "g1e"}, {"bent-2"}, {"g2w", "g2", "g2e"}, {"bent-3"}, {"r1"}, {"r2"},
	}
	if diff := cmp.Diff(want, m.names(moves)); diff != "" {
		t.Fatalf("moves (-want +got):\n%s", diff)
	}
	closings := []raising.Closing{
		raising.Stand, raising.StartAllAndDrawUp, raising.StartAllAndDrawUp, raising.StartAllAndDrawUp,
		raising.StartAllAndDrawUp, raising.DropIn, raising.DropIn,
	}
	for i, mv := range moves {
		if mv.Closing != closings[i] {
			t.Errorf("move %d %v: closing %v, want %v (%s)", i+1, m.names(moves)[i], mv.Closing, closings[i], mv.Why)
		}
	}
	if got := moves[1].Home; geom.Dist(got, geom.V(-1, 0, 0)) > 1e-9 {
		t.Errorf("the girt comes home along %v, want −X", got)
	}
	check(t, m.p, moves)
}

func TestBefore(t *testing.T) {
	t.Parallel()
	m := row(3, true)
	moves := order(t, m.p)
	type before struct {
		move   int
		cause  raising.Cause
		joints []string
	}
	got := make([][]before, len(moves))
	for i, mv := range moves {
		for _, b := range mv.After {
			var ids []string
			for _, l := range b.Links {
				ids = append(ids, m.p.Links[l].ID)
			}
			got[i] = append(got[i], before{b.Move, b.Cause, sorted(ids)})
		}
	}
	want := [][]before{
		nil,
		{{0, raising.Carried, []string{"g1-s", "g1w-p"}}},
		{{1, raising.ClosedIn, []string{"g1-t", "g1e-p"}}},
		{{2, raising.Carried, []string{"g2-s", "g2w-p"}}},
		{{3, raising.ClosedIn, []string{"g2-t", "g2e-p"}}},
		{{0, raising.ClosedIn, []string{"r1-s"}}, {2, raising.ClosedIn, []string{"r1-t"}}},
		{{2, raising.ClosedIn, []string{"r2-s"}}, {4, raising.ClosedIn, []string{"r2-t"}}},
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(before{})); diff != "" {
		t.Errorf("after (-want +got):\n%s", diff)
	}
}

// A tall post without wall braces has its tenon high enough above the foot line to turn home.
func TestLeanAndComeUpright(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name   string
		height float64
		want   raising.Closing
	}{
		// The edge of the foot lies 200 mm from the mortised face: atan(200/4200) = 2.73°, atan(200/3000) = 3.81°.
		{"high", 4200, raising.LeanAndComeUpright},
		{"low", 3000, raising.Slide},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			m := newMaker()
			for i, n := range []string{"bent-1", "bent-2"} {
				x := float64(i) * 4000
				m.unit(n, raising.Standing, int64(x), 0, true)
				m.stand(n, true, geom.V(x, 0, 0), geom.V(x, 6000, 0))
			}
			m.unit("girt", raising.InWall, 2000, 0, false)
			m.tenon("s", "girt", "bent-1", geom.V(1, 0, 0), geom.V(100, 0, tc.height))
			m.tenon("t", "girt", "bent-2", geom.V(-1, 0, 0), geom.V(3900, 0, tc.height))
			moves := order(t, m.p)
			last := moves[2]
			if last.Closing != tc.want {
				t.Fatalf("closing %v, want %v: %s", last.Closing, tc.want, last.Why)
			}
			if last.Closing == raising.LeanAndComeUpright && (last.LeanDeg < 1.3 || last.LeanDeg > 1.5) {
				// A tenon of 100 mm at a radius of 4205 mm starts at 1.36°.
				t.Errorf("leans %.2f°, want 1.36°", last.LeanDeg)
			}
			check(t, m.p, moves)
		})
	}
}

func TestDowelledBentsLockGirts(t *testing.T) {
	t.Parallel()
	m := row(4, false)
	_, err := raising.Order(t.Context(), m.p)
	var lock *raising.Locked
	if !errors.As(err, &lock) {
		t.Fatalf("error %v, want a lock", err)
	}
	if !lock.Deck || len(lock.Pieces) != 3 {
		t.Errorf("pieces %v, deck %v; want two bents and what is between them", lock.Pieces, lock.Deck)
	}
	if len(lock.Joints) != 4 {
		t.Errorf("joints %v; want two tenons and two bases", lock.Joints)
	}
}

// trap adds three pieces of which each keeps the next from leaving: a enters b along X, b enters c along Y, c
// enters a along Z.
func trap(m *maker) {
	for _, n := range []string{"ta", "tb", "tc"} {
		m.unit(n, raising.Above, 300, 300, false)
	}
	m.tenon("t1", "ta", "tb", geom.V(1, 0, 0), geom.V(0, 0, 3000))
	m.tenon("t2", "tb", "tc", geom.V(0, 1, 0), geom.V(0, 0, 3000))
	m.tenon("t3", "tc", "ta", geom.V(0, 0, 1), geom.V(0, 0, 3000))
}

func TestThreePiecesLockEachOther(t *testing.T) {
	t.Parallel()
	for _, bents := range []int{1, 3, 40} {
		m := row(bents, true)
		trap(m)
		m.tenon("seat", "ta", "bent-1", geom.Up(), geom.V(0, 3000, 3000))
		_, err := raising.Order(t.Context(), m.p)
		var lock *raising.Locked
		if !errors.As(err, &lock) {
			t.Fatalf("%d bents: error %v, want a lock", bents, err)
		}
		if diff := cmp.Diff([]string{"ta", "tb", "tc"}, lock.Pieces); diff != "" {
			t.Errorf("%d bents: pieces (-want +got):\n%s", bents, diff)
		}
		if diff := cmp.Diff([]string{"t1", "t2", "t3"}, lock.Joints); diff != "" {
			t.Errorf("%d bents: joints (-want +got):\n%s", bents, diff)
		}
		if lock.Deck || lock.Hanging {
			t.Errorf("%d bents: lock %+v blames the deck", bents, lock)
		}
	}
}

func TestTakesApart(t *testing.T) {
	t.Parallel()
	m := newMaker()
	trap(m)
	m.unit("free", raising.Above, 0, 0, false)
	m.tenon("t4", "free", "ta", geom.V(0, -1, 0), geom.Vec{})
	var lock *raising.Locked
	if err := raising.TakesApart(m.p); !errors.As(err, &lock) {
		t.Fatalf("error %v, want a lock", err)
	}
	if diff := cmp.Diff([]string{"t1", "t2", "t3"}, lock.Joints); diff != "" {
		t.Errorf("joints (-want +got):\n%s", diff)
	}
	two := row(2, true)
	if err := raising.TakesApart(two.p); err != nil {
		t.Errorf("two bents and a girt do not come apart: %v", err)
	}
}

// The order in which pieces and joints are listed must not matter.
func TestOrderDoesNotDependOnListing(t *testing.T) {
	t.Parallel()
	m := row(5, true)
	want := m.names(order(t, m.p))
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 1))
		p := shuffled(m.p, r.Perm)
		s := &maker{p: p}
		if diff := cmp.Diff(want, s.names(order(t, p))); diff != "" {
			t.Fatalf("seed %d (-want +got):\n%s", seed, diff)
		}
	}
}

func TestEmptyPuzzle(t *testing.T) {
	t.Parallel()
	if moves := order(t, raising.Puzzle{}); len(moves) != 0 {
		t.Errorf("moves of nothing: %v", moves)
	}
}
