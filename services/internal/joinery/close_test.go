package joinery_test

import (
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
)

// twoWay are the kinds that may leave along a direction and along its opposite: a scarf that slides sideways.
func twoWay(j joinery.Joint) bool {
	return j.Kind == joinery.Scarf && j.Scarf == joinery.ScarfSideways
}

// genJoint makes a joint of any kind between two sticks in any directions.
func genJoint(t *rapid.T) joinery.Joint {
	coord := rapid.Float64Range(-5000, 5000)
	point := func(name string) geom.Vec {
		return geom.V(coord.Draw(t, name+".x"), coord.Draw(t, name+".y"), coord.Draw(t, name+".z"))
	}
	stick := func(name string) joinery.Stick {
		start, end := point(name+".start"), point(name+".end")
		if geom.Dist(start, end) < 100 {
			t.Skip()
		}
		return joinery.NewStick(start, end, rapid.Float64Range(-180, 180).Draw(t, name+".roll"), 150, 200)
	}
	j := joinery.Joint{
		Kind:      joinery.Kind(rapid.IntRange(1, 16).Draw(t, "kind")),
		Entering:  stick("entering"),
		End:       joinery.End(rapid.IntRange(1, 2).Draw(t, "end")),
		Receiving: stick("receiving"),
		Scarf:     joinery.ScarfTable(rapid.IntRange(1, 3).Draw(t, "table")),
	}
	if j.Kind.TakesAlong() && rapid.Bool().Draw(t, "along") {
		j.End = joinery.Along
	}
	j.At = j.Place()
	if j.End == joinery.Along {
		j.At = geom.Mid(j.Entering.Start, j.Entering.End)
	}
	return j
}

func TestOpensAlongItsDirectionsAndNotAgainstThem(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := genJoint(t)
		ways := joinery.OpeningDirections(j)
		if len(ways) == 0 {
			t.Fatalf("%s opens nowhere", j.Kind)
		}
		for _, way := range ways {
			if !joinery.Opens(j, way) || !joinery.Opens(j, geom.Scale(250, way)) {
				t.Fatalf("%s does not open along %v", j.Kind, way)
			}
		}
		if !twoWay(j) && joinery.Opens(j, geom.Scale(-1, ways[0])) {
			t.Fatalf("%s opens against %v", j.Kind, ways[0])
		}
		if joinery.Opens(j, geom.Vec{}) {
			t.Fatal("standing still opens nothing")
		}
	})
}

// Turning the whole joint about the plumb line, as one may set out a wing at any heading, turns the answers with it.
func TestOpensTurnsWithTheJoint(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := genJoint(t)
		m := geom.Turn(geom.V(10, 20, 0), geom.Up(), rapid.Float64Range(-180, 180).Draw(t, "heading")).
			Then(geom.Shift(geom.V(1000, -300, 50)))
		turned := j
		turned.At = m.Point(j.At)
		for _, s := range []*joinery.Stick{&turned.Entering, &turned.Receiving} {
			s.Start, s.End, s.Axes = m.Point(s.Start), m.Point(s.End), m.Axes(s.Axes)
		}
		if !nearly(m.Direction(joinery.EnteredFace(j)), joinery.EnteredFace(turned)) {
			t.Skip() // two faces oppose the stick alike
		}
		if j.Kind == joinery.PostBaseBearing {
			return // its rim is given along X and Y
		}
		for _, way := range joinery.OpeningDirections(j) {
			d := geom.Unit(geom.Add(way, geom.Scale(1e-6, joinery.EnteredFace(j)))) // off the very rim
			if joinery.Opens(j, d) != joinery.Opens(turned, m.Direction(d)) {
				t.Fatalf("%s: the answer for %v changes", j.Kind, way)
			}
		}
	})
}

func nearly(a, b geom.Vec) bool { return geom.Dist(a, b) < 1e-6 }

func TestOpensOfWorkedJoints(t *testing.T) {
	t.Parallel()
	up, down, east, north := geom.V(0, 0, 1), geom.V(0, 0, -1), geom.V(1, 0, 0), geom.V(0, 1, 0)
	of := func(kind joinery.Kind) joinery.Joint { return girtAndPost(kind, nil) }
	// A purlin along X whose start drops into the top of a level beam along Y.
	drop := of(joinery.DovetailedHousing)
	drop.Receiving = joinery.NewStick(geom.V(0, -1000, 2000), geom.V(0, 1000, 2000), 0, 200, 250)
	fork := of(joinery.ForkAndTongue)
	fork.Entering.Start.Z, fork.Entering.End.Z = 2950, 2950
	fork.At.Z = 2950
	foot := of(joinery.SteppedFoot) // a rafter that rises to the east, stepped into the top of a beam along X
	foot.Entering = joinery.NewStick(geom.V(0, 0, 2000), geom.V(3000, 0, 4000), 0, 150, 200)
	foot.Receiving = joinery.NewStick(geom.V(-500, 0, 1900), geom.V(5000, 0, 1900), 0, 200, 200)
	bird := foot
	bird.Kind, bird.End = joinery.Birdsmouth, joinery.Along
	scarf := of(joinery.Scarf)
	scarf.Receiving = joinery.NewStick(geom.V(-3000, 0, 2000), geom.V(100, 0, 2000), 180, 150, 200)
	scarf.Scarf = joinery.ScarfHalved
	side, endwise := scarf, scarf
	side.Scarf, endwise.Scarf = joinery.ScarfSideways, joinery.ScarfEndwise
	base := joinery.Joint{Kind: joinery.PostBaseBearing, Entering: joinery.NewStick(geom.Vec{}, geom.V(0, 0, 3000), 0, 200, 200), End: joinery.AtStart}
	dowelled := base
	dowelled.Kind = joinery.PostBaseDowelled

	for name, test := range map[string]struct {
		j            joinery.Joint
		open, closed []geom.Vec
	}{
		"tenon":         {of(joinery.BlindMortiseAndTenon), []geom.Vec{east, geom.V(1, 0.05, 0)}, []geom.Vec{up, north, geom.V(1, 0.06, 0), geom.V(-1, 0, 0)}},
		"wedged tenon":  {of(joinery.WedgedMortiseAndTenon), []geom.Vec{east}, []geom.Vec{up}},
		"dovetail":      {drop, []geom.Vec{up}, []geom.Vec{down, east, north}},
		"fork":          {fork, []geom.Vec{up}, []geom.Vec{down, east, north}},
		"stepped foot":  {foot, []geom.Vec{up, geom.V(3, 0, 2), geom.V(0.1, 0, 1)}, []geom.Vec{down, geom.V(-1, 0, 0), geom.V(-3, 0, -2)}},
		"birdsmouth":    {bird, []geom.Vec{up, geom.V(-1, 0, 0), north, geom.V(-1, 0, 1)}, []geom.Vec{down, east, geom.V(1, 0, 1)}},
		"knife plate":   {of(joinery.KnifePlate), []geom.Vec{east, up, down}, []geom.Vec{north, geom.V(-1, 0, 0)}},
		"steel":         {of(joinery.SteelConnection), []geom.Vec{east, up, north}, []geom.Vec{geom.V(-1, 0, 0)}},
		"slip tenon":    {of(joinery.SlipTenon), []geom.Vec{east, up, north}, []geom.Vec{geom.V(-1, 0, 0)}},
		"halved scarf":  {scarf, []geom.Vec{up}, []geom.Vec{down, east, north}},
		"sideways":      {side, []geom.Vec{north, geom.V(0, -1, 0)}, []geom.Vec{up, east}},
		"endwise":       {endwise, []geom.Vec{east}, []geom.Vec{up, north, geom.V(-1, 0, 0)}},
		"bearing base":  {base, []geom.Vec{up, east, north}, []geom.Vec{down, geom.V(1, 0, -1)}},
		"dowelled base": {dowelled, []geom.Vec{up}, []geom.Vec{east, down}},
	} {
		for _, d := range test.open {
			if !joinery.Opens(test.j, d) {
				t.Errorf("%s does not open along %v", name, d)
			}
		}
		for _, d := range test.closed {
			if joinery.Opens(test.j, d) {
				t.Errorf("%s opens along %v", name, d)
			}
		}
	}
}
