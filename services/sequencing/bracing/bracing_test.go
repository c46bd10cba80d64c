package bracing_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/sequencing/bracing"
)

func print200(x, y float64) bracing.Footprint {
	return bracing.Footprint{At: geom.V(x, y, 0), HalfLength: geom.V(100, 0, 0), HalfWidth: geom.V(0, 100, 0)}
}

func post(mark string, x, y float64) bracing.Post {
	return bracing.Post{Mark: mark, Foot: print200(x, y), HeightMM: 3000}
}

// inward has the post's braces fixed to the face towards plus or minus Y.
func inward(p bracing.Post, y float64) bracing.Post {
	p.Inward = geom.V(0, y, 0)
	return p
}

// slope is the angle of a brace from the deck in degrees.
func slope(b bracing.Brace) float64 {
	return math.Atan2(b.Top.Z-b.Foot.Z, math.Hypot(b.Top.X-b.Foot.X, b.Top.Y-b.Foot.Y)) * 180 / math.Pi
}

func TestFirstBentIsBracedToBothSides(t *testing.T) {
	t.Parallel()
	d := &bracing.Deck{Prints: []bracing.Footprint{print200(0, 0), print200(0, 6000)}}
	got := d.Set(bracing.Unit{Posts: []bracing.Post{inward(post("P-1A", 0, 0), 1), inward(post("P-1B", 0, 6000), -1)}, Square: geom.V(1, 0, 0)})
	if len(got) != 4 {
		t.Fatalf("%d braces, want 4", len(got))
	}
	sides := map[string]float64{}
	for _, b := range got {
		if s := slope(b); s < bracing.LeastDeg-1e-9 || s > bracing.MostDeg+1e-9 {
			t.Errorf("%s: %.2f° from the deck", b.Mark, s)
		}
		if b.Foot.Z != 0 || math.Abs(b.Top.Z-2100) > 1e-9 {
			t.Errorf("%s: from %v to %v, want from 2100 mm to the deck", b.Mark, b.Top, b.Foot)
		}
		if !strings.Contains(b.Rule, "not checked for standing") {
			t.Errorf("rule %q does not say that it was not checked", b.Rule)
		}
		if y := map[string]float64{"P-1A": 100, "P-1B": 5900}[b.Mark]; b.Top.Y != y || b.Top.X != 0 {
			t.Errorf("%s is fixed at %v, want on the face towards the other post", b.Mark, b.Top)
		}
		sides[b.Mark] += math.Copysign(1, b.Foot.X)
	}
	if diff := cmp.Diff(map[string]float64{"P-1A": 0, "P-1B": 0}, sides); diff != "" {
		t.Errorf("braces lean to one side (-want +got):\n%s", diff)
	}
}

func TestLaterBentAndSinglePost(t *testing.T) {
	t.Parallel()
	d := &bracing.Deck{}
	later := d.Set(bracing.Unit{
		Posts: []bracing.Post{post("P-2A", 4000, 0), post("P-2B", 4000, 6000)}, Square: geom.V(1, 0, 0), Joined: true,
	})
	if len(later) != 2 || later[0].Mark == later[1].Mark {
		t.Errorf("later bent: %v, want one brace at each post", later)
	}
	single := d.Set(bracing.Unit{Posts: []bracing.Post{post("P-9", 20000, 0)}, Square: geom.V(1, 0, 0)})
	if len(single) != 2 {
		t.Fatalf("single post: %v, want two braces", single)
	}
	a, b := geom.Sub(single[0].Foot, single[0].Top), geom.Sub(single[1].Foot, single[1].Top)
	if dot := a.X*b.X + a.Y*b.Y; math.Abs(dot) > 1e-6 {
		t.Errorf("braces of a single post are not at right angles: %v, %v", a, b)
	}
}

// Around the post stand feet and the edge of the deck; the braces find the ways between them.
func TestBracesKeepClear(t *testing.T) {
	t.Parallel()
	deck := []geom.Vec{geom.V(-150, -150, 0), geom.V(9000, -150, 0), geom.V(9000, 6150, 0), geom.V(-150, 6150, 0)}
	d := &bracing.Deck{Outline: deck, Prints: []bracing.Footprint{print200(0, 0), print200(1800, 0)}}
	got := d.Set(bracing.Unit{Posts: []bracing.Post{post("P-1A", 0, 0)}, Square: geom.V(1, 0, 0)})
	for _, b := range got {
		if b.Foot.X < -150+bracing.ClearMM || b.Foot.Y < -150+bracing.ClearMM {
			t.Errorf("foot %v lies off the deck or at its edge", b.Foot)
		}
		for s := 0.0; s <= 1; s += 0.01 {
			x, y := b.Top.X+s*(b.Foot.X-b.Top.X), b.Top.Y+s*(b.Foot.Y-b.Top.Y)
			if math.Abs(x-1800) < 200 && math.Abs(y) < 200 {
				t.Fatalf("brace %v to %v runs over the foot at 1800, 0", b.Top, b.Foot)
			}
		}
		if strings.Contains(b.Rule, "no clear place") {
			t.Errorf("a clear place was there: %s", b.Rule)
		}
	}
	if math.Hypot(got[0].Foot.X-got[1].Foot.X, got[0].Foot.Y-got[1].Foot.Y) < bracing.FeetApartMM {
		t.Errorf("feet %v and %v stand on one another", got[0].Foot, got[1].Foot)
	}
}

// A brace leaves its post from the face that it is fixed to, wherever it is swung: it does not go through the post.
func TestBraceMissesItsOwnPost(t *testing.T) {
	t.Parallel()
	for _, edge := range []float64{-110, -150, -400} {
		corner := []geom.Vec{geom.V(edge, edge, 0), geom.V(9000, edge, 0), geom.V(9000, 6000, 0), geom.V(edge, 6000, 0)}
		d := &bracing.Deck{Outline: corner, Prints: []bracing.Footprint{print200(0, 0)}}
		for _, b := range d.Set(bracing.Unit{Posts: []bracing.Post{post("P-1A", 0, 0)}, Square: geom.V(1, 0, 0)}) {
			for s := 0.0; s < 0.2; s += 0.005 {
				x, y := b.Top.X+s*(b.Foot.X-b.Top.X), b.Top.Y+s*(b.Foot.Y-b.Top.Y)
				if math.Abs(x) < 99 && math.Abs(y) < 99 {
					t.Errorf("edge at %g: the brace from %v to %v goes through its own post", edge, b.Top, b.Foot)
					break
				}
			}
		}
	}
}

// Braces of neighbouring posts that lean towards one another lie in one upright plane; where the bay is narrow they
// must not go through each other.
func TestBracesOfNeighboursDoNotCross(t *testing.T) {
	t.Parallel()
	for bay := 1200.0; bay <= 4000; bay += 100 {
		d := &bracing.Deck{Prints: []bracing.Footprint{print200(0, 0), print200(bay, 0)}}
		set := func(mark string, x, towards float64) bracing.Brace {
			return d.Set(bracing.Unit{Posts: []bracing.Post{inward(post(mark, x, 0), 1), inward(post(mark+"'", x, 6000), -1)}, Square: geom.V(towards, 0, 0), Joined: true})[0]
		}
		a, b := set("P-1A", 0, 1), set("P-2A", bay, -1)
		if strings.Contains(b.Rule, "no clear place") {
			continue
		}
		for s := 0.0; s <= 1; s += 0.002 {
			p := geom.Along(a.Top, s, geom.Sub(a.Foot, a.Top))
			if gap := geom.DistanceToSegment(p, b.Top, b.Foot); gap < bracing.ClearMM-5 {
				t.Errorf("bay of %g mm: %v to %v and %v to %v come within %.0f mm", bay, a.Top, a.Foot, b.Top, b.Foot, gap)
				break
			}
		}
	}
}

// A brace that joints leave no room for at its height is fixed lower, and says so when there is none at all.
func TestBraceIsFixedClearOfJoints(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name   string
		joints []float64
		want   float64
		rule   string
	}{
		{"nothing there", nil, 2100, ""},
		{"a knee brace there", []float64{2140}, 1800, ""},
		{"no room", []float64{2100, 1600}, 2100, "joined to that face"},
	} {
		p := inward(post("P-1A", 0, 0), 1)
		for _, h := range tc.joints {
			p.Taken = append(p.Taken, bracing.Taken{Face: geom.V(0, 1, 0), HeightMM: h})
		}
		p.Taken = append(p.Taken, bracing.Taken{Face: geom.V(1, 0, 0), HeightMM: 2100})
		d := &bracing.Deck{}
		b := d.Set(bracing.Unit{Posts: []bracing.Post{p}, Square: geom.V(1, 0, 0)})[0]
		if math.Abs(b.Top.Z-tc.want) > 0.1 || !strings.Contains(b.Rule, tc.rule) {
			t.Errorf("%s: fixed at %g, want %g: %s", tc.name, b.Top.Z, tc.want, b.Rule)
		}
	}
}

// At the edge of the deck both braces of a post go to the one side that is there, apart from one another, and
// the rule says so.
func TestBothToOneSideAtTheEdge(t *testing.T) {
	t.Parallel()
	deck := []geom.Vec{geom.V(-110, -110, 0), geom.V(9000, -110, 0), geom.V(9000, 6110, 0), geom.V(-110, 6110, 0)}
	d := &bracing.Deck{Outline: deck, Prints: []bracing.Footprint{print200(0, 0), print200(0, 6000)}}
	got := d.Set(bracing.Unit{Posts: []bracing.Post{inward(post("P-1A", 0, 0), 1), inward(post("P-1B", 0, 6000), -1)}, Square: geom.V(1, 0, 0)})
	for i, b := range got {
		if b.Foot.X < 0 {
			t.Errorf("foot %v lies off the deck", b.Foot)
		}
		for _, o := range got[:i] {
			if math.Hypot(b.Foot.X-o.Foot.X, b.Foot.Y-o.Foot.Y) < bracing.FeetApartMM {
				t.Errorf("feet %v and %v stand on one another", b.Foot, o.Foot)
			}
		}
	}
	if !strings.Contains(got[1].Rule, "to the other side") || strings.Contains(got[0].Rule, "to the other side") {
		t.Errorf("rules %q and %q", got[0].Rule, got[1].Rule)
	}
}

func TestNoClearPlaceIsSaid(t *testing.T) {
	t.Parallel()
	tiny := []geom.Vec{geom.V(-300, -300, 0), geom.V(300, -300, 0), geom.V(300, 300, 0), geom.V(-300, 300, 0)}
	d := &bracing.Deck{Outline: tiny, Prints: []bracing.Footprint{print200(0, 0)}}
	for _, b := range d.Set(bracing.Unit{Posts: []bracing.Post{post("P-1A", 0, 0)}, Square: geom.V(1, 0, 0)}) {
		if !strings.Contains(b.Rule, "comes off the deck") {
			t.Errorf("rule %q does not say that the foot comes off the deck", b.Rule)
		}
	}
}
