package raising_test

import (
	"errors"
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// star is one standing beam with many pieces let into its top, hung from its side and tenoned up into it.
func star(pieces int) *maker {
	m := newMaker()
	m.unit("beam", raising.Standing, 0, 0, false)
	m.stand("beam", true, geom.Vec{})
	ways := []geom.Vec{geom.Up(), geom.V(1, 0, 0), geom.V(0, 0, -1)}
	for i := range pieces {
		name := fmt.Sprintf("p%d", i)
		m.unit(name, raising.Above, int64(i*7919%pieces), 0, false)
		m.tenon("j"+name, name, "beam", ways[i%3], geom.V(0, 0, 1000))
	}
	return m
}

// chain stands one piece on the other.
func chain(pieces int) *maker {
	m := newMaker()
	m.unit("p0", raising.Standing, 0, 0, false)
	m.stand("p0", true, geom.Vec{})
	for i := 1; i < pieces; i++ {
		name := fmt.Sprintf("p%d", i)
		m.unit(name, raising.Above, int64(i*7919%pieces), 0, false)
		m.tenon("j"+name, name, fmt.Sprintf("p%d", i-1), geom.Up(), geom.V(0, 0, 1000))
	}
	return m
}

// ring is a ring of pieces of which each is trapped by the next, along three ways in turn.
func ring(pieces int) *maker {
	m := newMaker()
	for i := range pieces {
		m.unit(fmt.Sprintf("p%d", i), raising.Above, int64(i), 0, false)
	}
	m.stand("p0", true, geom.Vec{})
	for i := range pieces {
		m.tenon(fmt.Sprintf("j%d", i), fmt.Sprintf("p%d", i), fmt.Sprintf("p%d", (i+1)%pieces), sixWays[i%3*2], geom.V(0, 0, 1000))
	}
	return m
}

// Shapes in which every piece hangs on one, or on all those before it, must not take quadratic time: these
// would take minutes.
func TestUnkindShapes(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name   string
		p      raising.Puzzle
		locked int
	}{
		{"star", star(20_000).p, 0},
		{"chain", chain(3_000).p, 0},
		{"ring", ring(150).p, 150},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, err := raising.Order(t.Context(), tc.p)
			var lock *raising.Locked
			if errors.As(err, &lock) != (tc.locked > 0) {
				t.Fatalf("error %v", err)
			}
			if lock != nil && (len(lock.Pieces) != tc.locked || len(lock.Joints) != tc.locked) {
				t.Errorf("%d pieces and %d joints, want all %d", len(lock.Pieces), len(lock.Joints), tc.locked)
			}
		})
	}
}
