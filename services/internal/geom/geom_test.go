package geom_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
)

func near(a, b geom.Vec, tol float64) bool { return geom.Dist(a, b) <= tol }

func genVec(label string) *rapid.Generator[geom.Vec] {
	return rapid.Custom(func(t *rapid.T) geom.Vec {
		f := rapid.Float64Range(-1e4, 1e4)
		return geom.V(f.Draw(t, label+".x"), f.Draw(t, label+".y"), f.Draw(t, label+".z"))
	})
}

// The directions that the frame model fixes: depth up at roll 0, along +Y for a plumb stick, width = depth × axis.
func TestAxesOf(t *testing.T) {
	t.Parallel()
	o := geom.Vec{}
	half := math.Sqrt2 / 2
	for name, test := range map[string]struct {
		end                geom.Vec
		roll               float64
		axis, width, depth geom.Vec
	}{
		"level along X":          {geom.V(5, 0, 0), 0, geom.V(1, 0, 0), geom.V(0, 1, 0), geom.V(0, 0, 1)},
		"level along Y":          {geom.V(0, 5, 0), 0, geom.V(0, 1, 0), geom.V(-1, 0, 0), geom.V(0, 0, 1)},
		"plumb, up":              {geom.V(0, 0, 5), 0, geom.V(0, 0, 1), geom.V(1, 0, 0), geom.V(0, 1, 0)},
		"plumb, down":            {geom.V(0, 0, -5), 0, geom.V(0, 0, -1), geom.V(-1, 0, 0), geom.V(0, 1, 0)},
		"rafter":                 {geom.V(0, 5, 5), 0, geom.V(0, half, half), geom.V(-1, 0, 0), geom.V(0, -half, half)},
		"rolled quarter":         {geom.V(5, 0, 0), 90, geom.V(1, 0, 0), geom.V(0, 0, 1), geom.V(0, -1, 0)},
		"rolled backwards":       {geom.V(5, 0, 0), -45, geom.V(1, 0, 0), geom.V(0, half, -half), geom.V(0, half, half)},
		"plumb but for rounding": {geom.V(1e-9, 0, 5000), 0, geom.V(0, 0, 1), geom.V(1, 0, 0), geom.V(0, 1, 0)},
	} {
		x := geom.AxesOf(o, test.end, test.roll)
		if !near(x.Axis, test.axis, 1e-9) || !near(x.Width, test.width, 1e-9) || !near(x.Depth, test.depth, 1e-9) {
			t.Errorf("%s: %+v", name, x)
		}
	}
	if x := geom.AxesOf(o, o, 0); x != (geom.Axes{}) {
		t.Errorf("no length: %+v", x)
	}
}

func TestAxesAreOrthonormalAndRightHanded(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, b := genVec("a").Draw(t, "a"), genVec("b").Draw(t, "b")
		if geom.Dist(a, b) < 1 {
			t.Skip()
		}
		x := geom.AxesOf(a, b, rapid.Float64Range(-360, 360).Draw(t, "roll"))
		if !near(geom.Cross(x.Axis, x.Width), x.Depth, 1e-9) || math.Abs(geom.Norm(x.Width)-1) > 1e-9 || math.Abs(geom.Dot(x.Axis, x.Width)) > 1e-9 {
			t.Fatalf("%+v", x)
		}
		v := genVec("v").Draw(t, "v")
		along, w, d := x.Local(v)
		back := geom.Add(geom.Add(geom.Scale(along, x.Axis), geom.Scale(w, x.Width)), geom.Scale(d, x.Depth))
		if !near(back, v, 1e-8) {
			t.Fatalf("%v comes back as %v", v, back)
		}
	})
}

func TestMotionsAreRigidAndUndoneByTheirInverse(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		axis := genVec("axis").Draw(t, "axis")
		if geom.Norm(axis) < 1 {
			t.Skip()
		}
		turn := geom.Turn(genVec("point").Draw(t, "point"), axis, rapid.Float64Range(-720, 720).Draw(t, "deg"))
		m := turn.Then(geom.Shift(genVec("shift").Draw(t, "shift")))
		p, q := genVec("p").Draw(t, "p"), genVec("q").Draw(t, "q")
		if math.Abs(geom.Dist(m.Point(p), m.Point(q))-geom.Dist(p, q)) > 1e-7 {
			t.Fatal("distances change")
		}
		if !near(m.Inverse().Point(m.Point(p)), p, 1e-7) || !near(m.Then(m.Inverse()).Point(q), q, 1e-7) {
			t.Fatal("the inverse does not undo the motion")
		}
		if !near(m.Direction(geom.Cross(p, q)), geom.Cross(m.Direction(p), m.Direction(q)), 1e-3) {
			t.Fatal("handedness changes")
		}
	})
}

// A quarter turn about Z by the right-hand rule takes X to Y.
func TestTurn(t *testing.T) {
	t.Parallel()
	m := geom.Turn(geom.V(1, 1, 0), geom.Up(), 90)
	if got := m.Point(geom.V(2, 1, 7)); !near(got, geom.V(1, 2, 7), 1e-12) {
		t.Error(got)
	}
	if got := geom.Turn(geom.V(1, 1, 0), geom.Vec{}, 90).Point(geom.V(2, 1, 7)); got != geom.V(2, 1, 7) {
		t.Error("no axis turns nothing", got)
	}
	x := m.Axes(geom.AxesOf(geom.Vec{}, geom.V(1, 0, 0), 0))
	if !near(x.Axis, geom.V(0, 1, 0), 1e-12) || !near(x.Depth, geom.Up(), 1e-12) {
		t.Errorf("%+v", x)
	}
	if geom.Still().Point(geom.V(1, 2, 3)) != geom.V(1, 2, 3) {
		t.Error("still moves")
	}
}

func TestBox(t *testing.T) {
	t.Parallel()
	b := geom.BoxOf(geom.V(1, 2, 3), geom.V(-1, 5, 0))
	if b.Min != geom.V(-1, 2, 0) || b.Max != geom.V(1, 5, 3) || b.Center() != geom.V(0, 3.5, 1.5) || b.Size() != geom.V(2, 3, 3) {
		t.Errorf("%+v", b)
	}
	if !b.Contains(geom.V(0, 2, 3)) || b.Contains(geom.V(0, 1.9, 3)) {
		t.Error("contains")
	}
	if !geom.EmptyBox().Empty() || b.Empty() || b.Union(geom.EmptyBox()) != b || geom.EmptyBox().Union(b) != b {
		t.Error("empty")
	}
	other := geom.BoxOf(geom.V(1.5, 2, 3))
	if b.Overlaps(other) || !b.Grow(0.5).Overlaps(other) || b.Overlaps(geom.EmptyBox()) {
		t.Error("overlaps")
	}
}

func TestPolygons(t *testing.T) {
	t.Parallel()
	ell := []geom.Vec{geom.V(0, 0, 0), geom.V(4, 0, 0), geom.V(4, 1, 0), geom.V(1, 1, 0), geom.V(1, 3, 0), geom.V(0, 3, 0)}
	if got := geom.AreaXY(ell); got != 6 {
		t.Errorf("area %v", got)
	}
	slices.Reverse(ell)
	if got := geom.AreaXY(ell); got != -6 {
		t.Errorf("area the other way round %v", got)
	}
	for p, want := range map[geom.Vec]bool{
		geom.V(0.5, 2, 9): true, geom.V(3, 0.5, 0): true, geom.V(2, 2, 0): false, geom.V(4, 0.5, 0): true, geom.V(1, 1, 0): true, geom.V(-1, 0, 0): false,
	} {
		if geom.InsideXY(p, ell) != want {
			t.Errorf("%v inside: %v", p, !want)
		}
	}
	if got := geom.AreaXY(geom.HullXY(ell)); math.Abs(got-9) > 1e-12 { // 12 less the corner's triangle of 3 × 2 / 2
		t.Errorf("area of the hull %v", got)
	}
	if got := geom.HullXY([]geom.Vec{geom.V(1, 1, 5), geom.V(1, 1, 3)}); len(got) != 1 {
		t.Errorf("hull of a point %v", got)
	}
}

func TestHullHoldsItsPoints(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 30)
		points := make([]geom.Vec, n.Draw(t, "n"))
		for i := range points {
			points[i] = geom.V(float64(rapid.IntRange(-9, 9).Draw(t, "x")), float64(rapid.IntRange(-9, 9).Draw(t, "y")), 0)
		}
		hull := geom.HullXY(points)
		if len(hull) < 3 {
			t.Skip()
		}
		for _, p := range points {
			if !geom.InsideXY(p, hull) {
				t.Fatalf("%v lies outside %v", p, hull)
			}
		}
	})
}

func TestSegmentsAndAngles(t *testing.T) {
	t.Parallel()
	a, b := geom.V(0, 0, 0), geom.V(10, 0, 0)
	for p, want := range map[geom.Vec]float64{geom.V(5, 3, 4): 5, geom.V(-3, 4, 0): 5, geom.V(13, 0, 4): 5} {
		if got := geom.DistanceToSegment(p, a, b); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v: %v", p, got)
		}
	}
	if geom.NearestOnSegment(b, a, a) != a {
		t.Error("a point is its own nearest")
	}
	if got := geom.AngleDeg(geom.V(1, 0, 0), geom.V(-1, 1e-9, 0)); math.Abs(got-180) > 1e-6 {
		t.Errorf("angle %v", got)
	}
	if geom.Unit(geom.Vec{}) != (geom.Vec{}) || geom.Finite(geom.V(0, math.NaN(), 0)) || !geom.Finite(b) {
		t.Error("unit or finite")
	}
	if geom.Mid(a, b) != geom.V(5, 0, 0) || math.Abs(geom.Radians(geom.Degrees(1))-1) > 1e-15 {
		t.Error("mid or radians")
	}
}
