package plan_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

const (
	blind   = joinery.BlindMortiseAndTenon
	bearing = joinery.PostBaseBearing
)

// moveOf is the move that brings a stick home.
func moveOf(t testing.TB, r *plan.Raising, mark string) plan.Move {
	t.Helper()
	for _, m := range r.Moves {
		for _, k := range m.Marks {
			if k == mark {
				return m
			}
		}
	}
	t.Fatalf("%s is never raised", mark)
	return plan.Move{}
}

func says(t testing.TB, m plan.Move, want string) {
	t.Helper()
	if !strings.Contains(m.Instruction, want) {
		t.Errorf("move %d says %q, want %q in it", m.Number, m.Instruction, want)
	}
}

func silent(t testing.TB, m plan.Move, not string) {
	t.Helper()
	if strings.Contains(m.Instruction, not) {
		t.Errorf("move %d says %q, want no %q in it", m.Number, m.Instruction, not)
	}
}

// A post on a sill stands as free as one on the deck: one tenon holds it, and no hands hold five metres of it.
func TestPostsOnASillAreBraced(t *testing.T) {
	t.Parallel()
	h := newHand()
	h.stick("S", frame.RoleSill, geom.V(0, 0, 100), geom.V(6000, 0, 100), "")
	h.join(bearing, "S", frame.Along, "", geom.V(3000, 0, 0))
	h.stick("PL", frame.RolePlate, geom.V(0, 0, 5100), geom.V(6000, 0, 5100), "")
	for p, x := range map[string]float64{"P1": 200, "P2": 5800} {
		h.sized(p, frame.RolePost, geom.V(x, 0, 200), geom.V(x, 0, 5000), "", 120)
		h.join(blind, p, frame.AtStart, "S", geom.V(x, 0, 200))
		h.join(blind, p, frame.AtEnd, "PL", geom.V(x, 0, 5000))
	}
	r := raise(t, frametest.Parse(t, h.d))
	says(t, moveOf(t, r, "S"), "Lay sill S on the deck")
	for _, mark := range []string{"P1", "P2"} {
		m := moveOf(t, r, mark)
		if len(m.Braces) != 2 || m.Machine == work.Hands {
			t.Errorf("%s: %d braces, by %v; want 2, by a machine", mark, len(m.Braces), m.Machine)
		}
		silent(t, m, "Prop its free end")
		for _, b := range m.Braces {
			if b.Foot.Z != 0 || math.Abs(b.Foot.Y) < 200 && b.Foot.X > 0 && b.Foot.X < 6000 {
				t.Errorf("%s: foot of the brace at %v, want on the deck beside the sill", mark, b.Foot)
			}
		}
	}
	silent(t, moveOf(t, r, "PL"), "Prop")
}

// A wall panel with its own sill stands no better than one without, and a joint from sill to sill does not hold it up.
func TestPanelsOnTheirOwnSillAreBraced(t *testing.T) {
	t.Parallel()
	h := newHand()
	for i, panel := range []string{"panel-a", "panel-b"} {
		sill, x := fmt.Sprintf("S%d", i+1), 6000*float64(i)
		h.assembly(panel, frame.AssemblyWallPanel)
		h.stick(sill, frame.RoleSill, geom.V(x, 0, 100), geom.V(x+6000, 0, 100), panel)
		h.join(bearing, sill, frame.Along, "", geom.V(x+3000, 0, 0))
		for k, at := range []float64{x + 200, x + 5800} {
			p := fmt.Sprintf("P%d%d", i+1, k+1)
			h.stick(p, frame.RolePost, geom.V(at, 0, 200), geom.V(at, 0, 3000), panel)
			h.join(blind, p, frame.AtStart, sill, geom.V(at, 0, 200))
		}
		h.beam(blind, fmt.Sprintf("G%d", i+1), frame.RoleGirt, fmt.Sprintf("P%d1", i+1), fmt.Sprintf("P%d2", i+1),
			geom.V(x+300, 0, 2500), geom.V(x+5700, 0, 2500), panel)
	}
	h.join(joinery.Scarf, "S2", frame.AtStart, "S1", geom.V(6000, 0, 100))
	r := raise(t, frametest.Parse(t, h.d))
	says(t, r.Moves[0], "Stand wall panel panel-a on the deck")
	for _, m := range r.Moves {
		if len(m.Braces) != 4 {
			t.Errorf("%s: %d braces, want two at each of its two posts", m.Assembly, len(m.Braces))
		}
	}
}

// A bent that comes down over a middle post is held by it in its own plane alone: it needs braces to both sides.
func TestBentOverAMiddlePostIsBracedToBothSides(t *testing.T) {
	t.Parallel()
	h := newHand()
	h.assembly("bent-1", frame.AssemblyBent)
	h.post("P1A", 0, 0, 3000, "bent-1", bearing)
	h.post("P1B", 0, 6000, 3000, "bent-1", bearing)
	h.beam(blind, "T1", frame.RoleTieBeam, "P1A", "P1B", geom.V(0, 100, 2700), geom.V(0, 5900, 2700), "bent-1")
	h.post("M1", 0, 3000, 2600, "", bearing)
	h.join(blind, "M1", frame.AtEnd, "T1", geom.V(0, 3000, 2600))
	r := raise(t, frametest.Parse(t, h.d))
	if m := moveOf(t, r, "P1A"); m.Number != 2 || len(m.Braces) != 4 {
		t.Errorf("move %d stands the bent with %d braces, want move 2 with 4", m.Number, len(m.Braces))
	}
	for _, m := range r.Moves {
		for _, b := range m.Braces {
			if strings.Contains(b.Rule, "no clear place") {
				t.Errorf("%s: %s", b.Mark, b.Rule)
			}
		}
	}
}

// A plate on a wall panel lies on two posts that move as one; it has no free end.
func TestPlateOnAWallPanelIsNotPropped(t *testing.T) {
	t.Parallel()
	h := newHand()
	h.assembly("panel", frame.AssemblyWallPanel)
	h.stick("PL", frame.RolePlate, geom.V(-100, 0, 3100), geom.V(4100, 0, 3100), "")
	for p, x := range map[string]float64{"P1": 0, "P2": 4000} {
		h.post(p, x, 0, 3000, "panel", bearing)
		h.join(blind, p, frame.AtEnd, "PL", geom.V(x, 0, 3000))
	}
	h.beam(blind, "G", frame.RoleGirt, "P1", "P2", geom.V(100, 0, 2000), geom.V(3900, 0, 2000), "panel")
	h.sized("R", frame.RoleCommonRafter, geom.V(2000, -300, 2900), geom.V(2000, 2700, 5900), "", 150)
	h.join(joinery.Birdsmouth, "R", frame.Along, "PL", geom.V(2000, 0, 3200))
	r := raise(t, frametest.Parse(t, h.d))
	silent(t, moveOf(t, r, "PL"), "Prop")
	says(t, moveOf(t, r, "R"), "no later move takes the other side: keep it propped")
}

// bracket is a post with a beam out of its side, which a strut carries near the post.
func bracket() *hand {
	h := newHand()
	h.post("P1", 0, 0, 4000, "", bearing)
	h.stick("B", frame.RoleTieBeam, geom.V(100, 0, 3000), geom.V(4000, 0, 3000), "")
	h.join(blind, "B", frame.AtStart, "P1", geom.V(100, 0, 3000))
	h.sized("X", frame.RoleStrut, geom.V(100, 0, 2000), geom.V(1000, 0, 2900), "", 100)
	h.join(joinery.SteelConnection, "X", frame.AtStart, "P1", geom.V(100, 0, 2000))
	h.join(joinery.SteelConnection, "X", frame.AtEnd, "B", geom.V(1000, 0, 2900))
	return h
}

// Two moves carry the beam, both to one side of its weight.
func TestWhatIsCarriedToOneSideIsPropped(t *testing.T) {
	t.Parallel()
	h := bracket()
	r := raise(t, frametest.Parse(t, h.d))
	m := moveOf(t, r, "B")
	if m.Number != 3 {
		t.Fatalf("the beam is move %d, want it after the post and the strut", m.Number)
	}
	says(t, m, "no later move takes the other side")
	// The strut joins the beam to what stands as well, so 'only the post' would not be true.
	if got, want := m.After[0].Reason, "Without post P1, joined to it by joint B.start-P1, nothing that stands by then would join tie beam B to the deck."; got != want {
		t.Errorf("reason %q, want %q", got, want)
	}
	h.post("P2", 4100, 0, 4000, "", bearing)
	h.join(blind, "B", frame.AtEnd, "P2", geom.V(4000, 0, 3000))
	r = raise(t, frametest.Parse(t, h.d))
	says(t, moveOf(t, r, "B"), fmt.Sprintf("Prop its free end until move %d takes it.", moveOf(t, r, "P2").Number))
}

// A king post truss put together of loose sticks stands on its tie beam: it has no free end to prop, and nothing
// but a hand or a hook keeps it from falling over.
func TestWhatStandsOnItsJointsIsHeld(t *testing.T) {
	t.Parallel()
	d := roughFrame(t, numbers(2)).Draft()
	d.Assemblies = nil
	for i := range d.Timbers {
		d.Timbers[i].Assembly = ""
	}
	m := moveOf(t, raise(t, frametest.Parse(t, d)), "K-1")
	says(t, m, "keep hold of it until it is pegged and tied back")
	says(t, m, "peg them before lifting")
	silent(t, m, "Prop")
}

// The lowest tenon starts at the most lean; those above it have not reached their mortises then.
func TestLeaningBentStartsTenonsInTurn(t *testing.T) {
	t.Parallel()
	k := numbers(2)
	k.PostHeightMM, k.WallBraces, k.GirtDropMM = 5000, false, 300
	m := moveOf(t, raise(t, roughFrame(t, k)), "P-2A")
	says(t, m, "starting each tenon as it comes to its mortise")
}

// What is joined to what stands is braced towards it: the girts of the next bay come in on the other side, and
// the next bent is drawn up there.
func TestLaterBentsAreBracedTowardsWhatStands(t *testing.T) {
	t.Parallel()
	r := raise(t, roughFrame(t, numbers(3)))
	for _, mark := range []string{"P-2A", "P-3A"} {
		for _, b := range moveOf(t, r, mark).Braces {
			if b.Foot.X > b.Top.X {
				t.Errorf("brace of %s from %v to %v, want towards −X", b.Mark, b.Top, b.Foot)
			}
		}
	}
}

// The braces of the first bent stop short of where the second is drawn up, or say that they do not.
func TestBracesKeepOutOfTheWayOfTheNextBent(t *testing.T) {
	t.Parallel()
	k := numbers(3)
	k.WallBraces, k.PostHeightMM = false, 3400
	for _, bay := range []float64{1400, 1700, 2000, 3000} {
		k.BaySpacingsMM = []float64{bay}
		f := roughFrame(t, k)
		r := raise(t, f)
		post, _ := f.Index("P-2A")
		line, half := f.Timbers()[post].Start.X, f.Timbers()[post].WidthMM/2
		for _, b := range r.Moves[0].Braces {
			if b.Foot.X > line-half-100 && !strings.Contains(b.Rule, "raised later") {
				t.Errorf("bay of %g mm: the brace of %s ends at X %g, and bent 2 comes home at %g: %s", bay, b.Mark, b.Foot.X, line-half, b.Rule)
			}
		}
	}
}

// No brace is fixed where a knee brace or a tie beam is joined to the same face of the post.
func TestBracesAreFixedClearOfJoints(t *testing.T) {
	t.Parallel()
	f := roughFrame(t, numbers(3))
	for _, m := range raise(t, f).Moves {
		for _, b := range m.Braces {
			post, _ := f.Index(b.Mark)
			for _, j := range f.JointsOf(post) {
				at := f.Joints()[j].At
				if _, receiving := f.Ends(j); receiving != post || geom.Dist(at, b.Top) > 400 {
					continue
				}
				if math.Abs(at.Z-b.Top.Z) < 250 && math.Abs(at.Y-b.Top.Y) < 1 {
					t.Errorf("the brace of %s is fixed at %v, where joint %s is at %v", b.Mark, b.Top, f.Joints()[j].ID, at)
				}
			}
		}
	}
}

// A single post that a girt holds along the wall still falls across it.
func TestSinglePostsAreBracedBothWays(t *testing.T) {
	t.Parallel()
	h := newHand()
	h.post("P1", 0, 0, 3000, "", bearing)
	h.post("P2", 4000, 0, 3000, "", bearing)
	h.beam(blind, "G", frame.RoleGirt, "P1", "P2", geom.V(100, 0, 2600), geom.V(3900, 0, 2600), "")
	m := moveOf(t, raise(t, frametest.Parse(t, h.d)), "P2")
	says(t, m, "Stand post P2 plumb, the length of a tenon short of its place; start its tenon onto girt G; then draw it up along −X")
	if len(m.Braces) != 2 {
		t.Fatalf("%d braces, want 2", len(m.Braces))
	}
	a, b := geom.Sub(m.Braces[0].Foot, m.Braces[0].Top), geom.Sub(m.Braces[1].Foot, m.Braces[1].Top)
	if math.Abs(a.X*b.X+a.Y*b.Y) > 1e-6 {
		t.Errorf("braces %v and %v are not at right angles", a, b)
	}
}
