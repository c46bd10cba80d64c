package standing_test

import (
	"math"
	"slices"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/statics/z88"
	"github.com/pikepole/pikepole/services/sequencing/brace"
	"github.com/pikepole/pikepole/services/sequencing/makesafe"
	"github.com/pikepole/pikepole/services/sequencing/standing"
)

// The tests of this file give the first bent of a raising to the finite element program z88, which has nothing in common with
// this module: bare, and with the braces that are proposed for it. z88 counts forces in the undisplaced shape and leaves
// shear strain out.

// wishedGustMPS is the gust that the braces are for.
const wishedGustMPS = 15

func cottage(t *testing.T) *frame.Frame {
	t.Helper()
	return frametest.Rough(t, rough.King{
		Title: "cottage", BentCount: 3, BaySpacingsMM: []float64{3658}, SpanMM: 6096, PostHeightMM: 2743, RoofPitchDeg: 40,
		PurlinsPerSlope: 2, BraceLegMM: 762, Struts: true, WallBraces: true,
		Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 25,
	})
}

// firstBent is the first bent alone on the deck, its pegs in.
func firstBent(f *frame.Frame) standing.Situation {
	return standing.Situation{
		Standing: f.Members("bent-1"), Pegged: slices.Repeat([]bool{true}, len(f.Joints())), GustMPS: wishedGustMPS,
	}
}

// wideDeck reaches three metres beyond the posts.
func wideDeck(f *frame.Frame) []geom.Vec {
	b := geom.EmptyBox()
	for _, i := range f.Posts() {
		for _, c := range f.Solid(i).Corners {
			b = b.With(c)
		}
	}
	b = b.Grow(3000)
	return []geom.Vec{geom.V(b.Min.X, b.Min.Y, 0), geom.V(b.Max.X, b.Min.Y, 0), geom.V(b.Max.X, b.Max.Y, 0), geom.V(b.Min.X, b.Max.Y, 0)}
}

func checked(t *testing.T, f *frame.Frame, s standing.Situation) *standing.Verdict {
	t.Helper()
	v, err := standing.Check(t.Context(), f, s, standing.DefaultRules(), standing.Ask{Keep: true})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// unsheared is a copy without shear areas.
func unsheared(m *statics.Model) *statics.Model {
	c := *m
	c.Members = slices.Clone(m.Members)
	for i := range c.Members {
		c.Members[i].Section.Asy, c.Members[i].Section.Asz = 0, 0
	}
	return &c
}

// bearing is what the deck pushes each contact up with, in N, by z88's displacements; negative is a pull.
func bearing(m *statics.Model, a *z88.Answer) []float64 {
	n := make([]float64, len(m.Contacts))
	for i, c := range m.Contacts {
		u := a.Displacements[c.Node]
		moved := geom.Add(geom.V(u[0], u[1], u[2]), geom.Cross(geom.V(u[3], u[4], u[5]), c.Arm))
		n[i] = -c.K * geom.Dot(c.Normal, moved)
	}
	return n
}

// Alone, it goes over about the outer edges of its feet. With its feet glued to the deck in z88, what the glue would have to hold
// about that line is what the check says that the weight falls short of.
func TestOverturningAgreesWithZ88(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	f := cottage(t)
	v := checked(t, f, firstBent(f))
	g := v.Governing
	if v.Stands || g.Kind != standing.Overturning || g.Unit != "N·m" {
		t.Fatalf("the bare bent: stands %v, %v, %s", v.Stands, g.Kind, g.Words)
	}
	at := slices.IndexFunc(v.Runs, func(r standing.Run) bool { return r.Name == g.Combination })
	if at < 0 {
		t.Fatalf("no run %q", g.Combination)
	}
	run := v.Runs[at]
	m := unsheared(v.Structures[run.Stiffness].Model)
	n := bearing(m, z88.Solve(t, m, run.Case, nil))
	var up float64
	west, east := math.Inf(1), math.Inf(-1)
	x := func(c statics.Contact) float64 { return m.Nodes[c.Node].At.X + c.Arm.X }
	for i, c := range m.Contacts {
		up += n[i]
		west, east = min(west, x(c)), max(east, x(c))
	}
	// The line is the one that the resultant has passed.
	short := math.Inf(1)
	for _, line := range [2]float64{west, east} {
		right := 0.0
		for i, c := range m.Contacts {
			right += n[i] * math.Abs(x(c)-line)
		}
		short = min(short, right)
	}
	t.Logf("%s: the deck bears %.0f N; about the line %.1f N·m, by the check %.1f − %.1f", g.Combination, up, short, g.Capacity, g.Demand)
	if want := g.Capacity - g.Demand; want >= 0 || math.Abs(short-want) > 0.01*g.Demand {
		t.Errorf("the moment that holds it down is %.1f N·m in z88 and %.1f N·m in the check", short, want)
	}
}

// With the braces that are proposed for it, it stands at the wished gust; z88 finds the same forces in the braces, feet that
// push, and the same displacements and forces in all members, in every run of the check.
func TestProposedBracesAgreeWithZ88(t *testing.T) {
	t.Parallel()
	z88.Need(t)
	f := cottage(t)
	s := firstBent(f)
	plan, err := makesafe.Solve(t.Context(), makesafe.Problem{
		Frame: f, State: s, Rules: standing.DefaultRules(), Stock: brace.DefaultStock(), Site: makesafe.Site{Deck: wideDeck(f), DeckMM: 600},
	}, makesafe.Budget{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !plan.Safe || len(plan.Add) == 0 {
		t.Fatalf("no braces: %s %s", plan.Refusal, plan.Ended)
	}
	s.Braces = plan.Add
	v := checked(t, f, s)
	if !v.Stands {
		t.Fatalf("with its braces: %s", v.Governing.Words)
	}
	most := make([]standing.Forces, len(s.Braces))
	for i := range v.Runs {
		braced(t, &v.Runs[i], v.Structures[v.Runs[i].Stiffness], most)
	}
	largest := 0.0
	for _, force := range v.BraceForces {
		largest = max(largest, force.Pull, force.Push)
	}
	for i, b := range s.Braces {
		// The check counts the forces in the displaced shape, and shear strain: a few percent.
		want := v.BraceForces[i]
		t.Logf("brace %s on %s: %.0f; z88, first order: %.0f", b.ID, b.Mark, want, most[i])
		for _, pair := range [2][2]float64{{want.Pull, most[i].Pull}, {want.Push, most[i].Push}} {
			if math.Abs(pair[0]-pair[1]) > 0.03*largest {
				t.Errorf("brace %s: %.0f N by the check, %.0f N by z88", b.ID, pair[0], pair[1])
			}
		}
	}
}

// braced holds one run against z88, in first order, and takes the largest forces of the braces.
func braced(t *testing.T, run *standing.Run, st *model.Structure, most []standing.Forces) {
	t.Helper()
	m := unsheared(st.Model)
	solver, err := statics.Prepare(m)
	if err != nil {
		t.Fatal(err)
	}
	r, err := solver.Solve([]statics.Case{run.Case}, statics.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a := z88.Solve(t, m, run.Case, &r[0])
	z88.Compare(t, m, &r[0], a, 0.01)
	for i, n := range bearing(m, a) {
		if r[0].Bearings[i].State != statics.Open && n < 0 {
			t.Errorf("%s: the deck holds %s down with %.0f N", run.Name, m.Contacts[i].Name, -n)
		}
	}
	for i, k := range st.BraceMembers {
		if k >= 0 {
			n := (a.Ends[k][1][0] - a.Ends[k][0][0]) / 2 // without its own weight, half of which hangs on either end
			most[i].Pull, most[i].Push = max(most[i].Pull, n), max(most[i].Push, -n)
		}
	}
}
