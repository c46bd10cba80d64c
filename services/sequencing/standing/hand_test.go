package standing

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
	"github.com/pikepole/pikepole/services/internal/wood"
	"github.com/pikepole/pikepole/services/sequencing/brace"
)

// The tests of this file compare the check with what a hand calculation gives for a shed without knee braces: posts and beams
// 8 by 8 in, posts 9 ft high, bents 24 ft wide.

// standOf are timbers by mark.
func standOf(t testing.TB, f *frame.Frame, marks ...string) []int {
	t.Helper()
	list := make([]int, len(marks))
	for i, m := range marks {
		at, ok := f.Index(m)
		if !ok {
			t.Fatalf("there is no %s", m)
		}
		list[i] = at
	}
	return list
}

// leadTo is a brace from the middle of a post's face at a height to the deck or the ground, as far out as it is high.
func leadTo(t testing.TB, f *frame.Frame, id, post string, heightMM float64, way geom.Vec, g model.Ground) brace.Brace {
	t.Helper()
	stock := brace.DefaultStock()
	i := slices.IndexFunc(stock.Lumber, func(l brace.Lumber) bool { return l.ID == "4x4" })
	head, ok := stock.HeadFor(stock.Lumber[i])
	anchor, found := stock.AnchorFor(g)
	if !ok || !found {
		t.Fatal("the stock has nothing to fix a 4x4 with")
	}
	at := standOf(t, f, post)[0]
	p := f.Timbers()[at]
	top := geom.Along(geom.V(p.Start.X, p.Start.Y, heightMM), f.Stick(at).ExtentMM(way)/2, way)
	foot := geom.Along(geom.V(top.X, top.Y, 0), heightMM, way)
	return brace.Brace{ID: id, Timber: at, Mark: post, Top: top, Foot: foot, FootTimber: -1, Lumber: stock.Lumber[i], Head: head, Anchor: anchor}
}

// crossed are braces from every post along and across the frame, both ways.
func crossed(t testing.TB, f *frame.Frame, heightMM float64, posts ...string) []brace.Brace {
	t.Helper()
	var list []brace.Brace
	for _, p := range posts {
		for k, w := range waysOf(f) {
			list = append(list, leadTo(t, f, p+string("nsew"[k]), p, heightMM, w.dir, model.OnDeck))
		}
	}
	return list
}

// around are braces from both posts of the first bent along the frame, both ways, and outwards.
func around(t testing.TB, f *frame.Frame) []brace.Brace {
	t.Helper()
	var list []brace.Brace
	for _, p := range []string{"P1A", "P1B"} {
		out := geom.V(0, -1, 0)
		if p == "P1B" {
			out.Y = 1
		}
		for k, w := range []geom.Vec{{X: 1}, {X: -1}, out} {
			list = append(list, leadTo(t, f, p+string("nso"[k]), p, 1900, w, model.OnDeck))
		}
	}
	return list
}

// useOf is the usage of a kind and piece.
func useOf(v *Verdict, kind FailureKind, piece string) (Usage, bool) {
	i := slices.IndexFunc(v.Worst, func(u Usage) bool { return u.Kind == kind && u.Piece == piece })
	if i < 0 {
		return Usage{}, false
	}
	return v.Worst[i], true
}

// windAlone has own weight and wind, and lets everything sway.
func windAlone() Rules {
	r := DefaultRules()
	r.Combinations = []Combination{{Name: "own weight and wind", Weight: 1, Wind: 1}}
	r.SwayShare, r.LeastBuckling = 0.2, 1
	return r
}

// A lone post of width b and height h tips when w·h²/2 = W·b/2 with w = 0.613·2·b·V².
func TestLonePostTipsByHand(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	s := Situation{Standing: standOf(t, f, "P1A"), Pegged: pegged(f, true)}
	v := check(t, f, s, windAlone(), Ask{HighestGust: true})
	mass, _ := f.Weigh(s.Standing)
	b, h := 0.2032, 9*0.3048
	want := math.Sqrt(mass * statics.StandardGravity * b / 2 / (0.613 * 2 * b * h * h / 2))
	t.Logf("by hand %.2f m/s, by the check %.1f m/s", want, v.HighestGustMPS)
	if v.HighestGustMPS > want || v.HighestGustMPS < 0.9*want {
		t.Errorf("the post tips at %.1f m/s, by hand at %.2f m/s", v.HighestGustMPS, want)
	}
}

// A post held by four braces, wind along: moments about its foot, whose own resistance is at most W·b/2. The wind on the post
// and the upper halves of the braces is held by the two braces in line with it, at 45 degrees; what they bear together is
// H·√2.
func TestBracedPostByHand(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	const height, gust = 2.1, 14.0
	s := Situation{Standing: standOf(t, f, "P1A"), Pegged: pegged(f, true), GustMPS: gust}
	s.Braces = crossed(t, f, 1000*height, "P1A")
	v := check(t, f, s, windAlone(), Ask{Keep: true})
	tell(t, "a braced post", v)
	q := 0.613 * gust * gust
	b, h, long := 0.2032, 9*0.3048, math.Sqrt2*height
	post := q * 2 * b * h * h / 2
	// Half of the wind on a brace goes to its top: two lie square to the wind, two aslant.
	braces := q * 2 * 0.0889 * long / 2 * (2 + 2/math.Sqrt2) * height
	mass, _ := f.Weigh(s.Standing)
	foot := mass * statics.StandardGravity * b / 2
	most, least := (post+braces)/height*math.Sqrt2, (post+braces-foot)/height*math.Sqrt2
	for _, run := range v.Runs {
		// Both braces in line in the same run: a foot that sinks lets both push a little, which their difference does not show.
		axial := func(i int) float64 {
			e := &run.Result.Ends[v.Structures[run.Stiffness].BraceMembers[i]]
			return (e[1][0] - e[0][0]) / 2
		}
		got := math.Max(math.Abs(axial(0)-axial(1)), math.Abs(axial(2)-axial(3)))
		t.Logf("%s: by hand %.0f to %.0f N in two braces, by the check %.0f N", run.Name, least, most, got)
		if got < 0.95*least || got > 1.03*most {
			t.Errorf("%s: the braces along the wind bear %.0f N, by hand %.0f to %.0f N", run.Name, got, least, most)
		}
	}
}

// A brace pulled with T at 45 degrees draws its anchor up and across with T/√2 each, and half of the wind on it across besides; with
// wind a deck's fasteners hold 1.6 times as much, soil no more than ever, and what bears down on a deck across its grain no
// more either (NDS 2.3.2, 4.3.2).
func TestAnchorsByHand(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	const gust = 14.0
	for _, g := range []model.Ground{model.OnDeck, model.OnGround} {
		s := Situation{Standing: standOf(t, f, "P1A"), Pegged: pegged(f, true), GustMPS: gust}
		for k, w := range waysOf(f) {
			s.Braces = append(s.Braces, leadTo(t, f, "B"+string("1234"[k]), "P1A", 2100, w.dir, g))
		}
		v := check(t, f, s, windAlone(), Ask{})
		for i, b := range s.Braces {
			a, force := b.Anchor, v.BraceForces[i]
			cd := 1.6
			if g == model.OnGround {
				cd = 1
			}
			// In its own plane the wind is aslant to it.
			wind := 0.613 * gust * gust * 2 * 0.0889 / math.Sqrt2 * b.LengthMM() / 2000 / (a.AcrossN * cd)
			want := wind + math.Max(force.Pull/math.Sqrt2*(1/(a.UpN*cd)+1/(a.AcrossN*cd)), force.Push/math.Sqrt2*(1/a.DownN+1/(a.AcrossN*cd)))
			u, ok := useOf(v, AnchorOut, b.ID)
			if !ok || math.Abs(u.Share-want) > 0.002*want {
				t.Errorf("%s: pulled with %.0f N and pushed with %.0f N its anchor is used to %.4f, by hand %.4f", b.ID, force.Pull, force.Push, u.Share, want)
			}
		}
	}
}

// A brace near its limit as a column has next to nothing left for bending: its own weight and the wind on it count, NDS 3.9.2.
func TestBentBraceByHand(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	const gust = 60.0
	s := Situation{Standing: standOf(t, f, "P1A"), Pegged: pegged(f, true), GustMPS: gust}
	s.Braces = crossed(t, f, 2600, "P1A")
	v := check(t, f, s, windAlone(), Ask{})
	for i, b := range s.Braces {
		push := v.BraceForces[i].Push
		u, ok := useOf(v, BraceBuckled, b.ID)
		if !ok {
			t.Fatalf("%s is not pushed", b.ID)
		}
		// Spruce-Pine-Fir No. 2, 4x4: Fb 875·1.5, Fc 1150·1.15, Emin 510,000 psi.
		const psi = 6894.757
		a, side, l := 0.0889*0.0889, 0.0889, b.LengthMM()/1000
		fce := 0.822 * 510e3 * psi / (l / side * l / side)
		// Both in the plane of wind and weight: the wind on a slope of 45 degrees goes by sin φ, and its part across it again.
		weight := b.Lumber.KGPerM() * statics.StandardGravity / math.Sqrt2
		wind := 0.613 * gust * gust * 2 * side / 2
		bent := func(w float64) float64 {
			return w * l * l / 8 / (875 * 1.5 * psi * 1.6 * side * a / 6) / (1 - push/a/fce)
		}
		column := push / b.PushN(50)
		least := column*column + bent(math.Abs(weight-wind))
		most := column*column + bent(weight+wind)
		t.Logf("%s: pushed with %.0f N, column %.3f, by the check %.3f (%s), by hand %.3f to %.3f", b.ID, push, column, u.Share, u.Combination, least, most)
		if u.Share < math.Max(column, least)-1e-3 || u.Share > math.Max(column, most)+1e-3 {
			t.Errorf("%s: share %.3f, by hand %.3f to %.3f", b.ID, u.Share, least, most)
		}
	}
}

// A person of P on a simple beam bends it with P·a·b/L under the feet, wherever along a member that is.
func TestPersonBendsUnderTheFeet(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	c := NewChecker(f, DefaultRules())
	sit := Situation{Standing: standOf(t, f, "P1A", "P1B", "T1"), Pegged: pegged(f, true)}
	sit.Braces = around(t, f)
	s, err := c.prepare(sit)
	if err != nil {
		t.Fatal(err)
	}
	s.trials = []trial{{combo: &Combination{Weight: 1, Person: 1}, way: -1}}
	tie, e := sit.Standing[2], s.ends[0]
	long := e.long[e.st.Members[tie][0]]
	s.person = &grasp{timber: tie, fromMM: 250 * long}
	k := c.caseOf(s, e, &s.trials[0], 0)
	r, err := e.sv.Solve([]statics.Case{k}, statics.Options{})
	if err != nil || r[0].Outcome != statics.Solved {
		t.Fatal(err, r)
	}
	tl := c.tallyOf(s)
	c.judge(tl, s, e, &k, &r[0], place{})
	mass, _ := f.Weigh(sit.Standing[2:])
	p, w, d := 115*statics.StandardGravity, mass*statics.StandardGravity/long, c.strength.designs[tie]
	moment := p*0.25*0.75*long + w*long*long/2*0.25*0.75
	want := moment / (d.Fb * 1.25 * math.Pow(0.2032, 3) / 6)
	t.Logf("by hand %.4f, by the check %.4f", want, tl.over[tie].share)
	if tl.over[tie].share < 0.93*want || tl.over[tie].share > 1.03*want {
		t.Errorf("the tie is used to %.4f, by hand to %.4f, of which stiff tenons may take 7 percent", tl.over[tie].share, want)
	}
}

// The places of a person that are compared have the stick among them that a load bends most for what it bears, long or short.
func TestPersonOnTheWeakestStick(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(4)
	for i := range d.Timbers {
		if d.Timbers[i].Mark == "G3A" {
			d.Timbers[i].WidthMM, d.Timbers[i].DepthMM = 102, 102
		}
	}
	for i := range d.Joints {
		if d.Joints[i].Entering == "G3A" {
			d.Joints[i].Tenon = &joinery.Tenon{LengthMM: 75, ThicknessMM: 32, WidthMM: 75}
		}
	}
	f := frametest.Parse(t, d)
	c := NewChecker(f, DefaultRules())
	s, err := c.prepare(Situation{Standing: everyone(f), Pegged: pegged(f, true)})
	if err != nil {
		t.Fatal(err)
	}
	weak := standOf(t, f, "G3A")[0]
	if !slices.ContainsFunc(c.stands(s), func(g grasp) bool { return g.timber == weak }) {
		t.Error("nobody is tried on the slender girt")
	}
}

// What a bolted knife plate holds across is the reaction of the foot: it counts against the plate.
func TestKnifePlateSheared(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(1)
	for i := range d.Joints {
		if strings.HasPrefix(d.Joints[i].ID, "base-") {
			d.Joints[i].Kind = joinery.PostBaseKnifePlate
		}
	}
	f := frametest.Parse(t, d)
	const gust, height = 30.0, 2.1
	s := Situation{Standing: standOf(t, f, "P1A"), Pegged: pegged(f, true), GustMPS: gust}
	s.Braces = crossed(t, f, 1000*height, "P1A")
	v := check(t, f, s, windAlone(), Ask{Keep: true})
	u, ok := useOf(v, JointCrushed, "base-P1A")
	// The post as a beam from foot to brace: the foot takes q·cf·b·h·(1 − h/2a); at least half of that, since it is clamped a little.
	h := 9 * 0.3048
	want := 0.613 * gust * gust * 2 * 0.2032 * h * (1 - h/2/height)
	t.Logf("by hand %.0f N, the plate: %+v", want, u)
	most := 0.0
	for _, run := range v.Runs {
		for i, support := range v.Structures[run.Stiffness].Model.Supports {
			if support.Name == "foot of P1A" {
				r := run.Result.Reactions[i]
				most = math.Max(most, math.Hypot(r[0], r[1]))
			}
		}
	}
	hold := NewChecker(f, DefaultRules()).strength.bonds[0].hold
	if most < want/2 || !ok || u.Share < most/hold.ShearN*0.999 {
		t.Errorf("the plate is sheared with %.0f N of %.0f, by hand %.0f; its share is %.3f", most, hold.ShearN, want, u.Share)
	}
}

// A plain halved scarf has a quarter of the section modulus over its thinner side; a tail is bent in its own plane, b·h²/6.
func TestScarfAndTailBend(t *testing.T) {
	t.Parallel()
	d := wood.Design{Fb: 6e6, Fv: 0.9e6}
	stick := joinery.Stick{WidthMM: 150, DepthMM: 200, Start: geom.V(0, 0, 0), End: geom.V(3000, 0, 0), Axes: geom.Axes{Axis: geom.V(1, 0, 0), Width: geom.V(0, 1, 0), Depth: geom.V(0, 0, 1)}}
	var scarf, tail bond
	scarf.bends(joinery.Joint{Kind: joinery.Scarf, Entering: stick, Receiving: stick}, d)
	tail.bends(joinery.Joint{Kind: joinery.DovetailedHousing, Entering: stick, Receiving: stick, Tenon: &joinery.Tenon{LengthMM: 75, ThicknessMM: 60, WidthMM: 90}}, d)
	if want := 6e6 * 0.2 * 0.15 * 0.15 / 6 / 4; math.Abs(scarf.turn-want) > 1e-6 {
		t.Errorf("a scarf bears %v N·m, by hand %v", scarf.turn, want)
	}
	if want := 6e6 * 0.06 * 0.09 * 0.09 / 6; math.Abs(tail.turn-want) > 1e-6 {
		t.Errorf("a tail bears %v N·m, by hand %v", tail.turn, want)
	}
}

// Twisted in its middle with 2·T, a beam twists the tenon at either end with T: Fv·a·c²/(3 + 1.8·c/a) is what a rectangle bears (Timoshenko's
// approximation). The tenon is 6 by 2 in.
func TestTenonTwisted(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(1))
	c := NewChecker(f, DefaultRules())
	sit := Situation{Standing: standOf(t, f, "P1A", "P1B", "T1"), Pegged: pegged(f, true), Braces: around(t, f)}
	s, err := c.prepare(sit)
	if err != nil {
		t.Fatal(err)
	}
	e := s.ends[0]
	m := e.st.Members[sit.Standing[2]][0]
	k := statics.Case{
		Gravity: geom.V(0, 0, -statics.StandardGravity),
		Point:   []statics.PointLoad{{Member: m, At: e.long[m] / 2, M: geom.V(0, 200, 0)}},
	}
	r, err := e.sv.Solve([]statics.Case{k}, statics.Options{})
	if err != nil || r[0].Outcome != statics.Solved {
		t.Fatal(err, r)
	}
	tl := c.tallyOf(s)
	c.judge(tl, s, e, &k, &r[0], place{})
	const a, b = 0.1524, 0.0508
	want := 100 / (1.25 * c.strength.designs[sit.Standing[2]].Fv * a * b * b / (3 + 1.8*b/a))
	at := slices.IndexFunc(e.st.Joints, func(j model.JointAt) bool { return f.Joints()[j.Joint].ID == "T1-s" })
	if got := tl.crushed[at].share; math.Abs(got-want) > 0.01*want {
		t.Errorf("the tenon is used to %.3f, by hand to %.3f", got, want)
	}
}

// What deck and anchors bear is all that there is: sticks, braces and the person, level 2 percent of what stands, or the wind on sticks and
// braces over their whole length.
func TestAllLoadsArriveAtTheDeck(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	const gust = 10.0
	s := Situation{Standing: standingOf(f, bentOf(t, f, 0)), Pegged: pegged(f, true), GustMPS: gust}
	s.Braces = propUp(t, f, s.Standing, 0.7)
	r := DefaultRules()
	v := check(t, f, s, r, Ask{Keep: true})
	mass, _ := f.Weigh(s.Standing)
	for _, b := range s.Braces {
		mass += b.Lumber.KGPerM() * b.LengthMM() / 1000
	}
	ways := waysOf(f)
	var wind [4]float64
	for k, w := range ways {
		for _, i := range s.Standing {
			x := f.Timbers()[i]
			wind[k] += r.WindPerM(gust, f.Axes(i), x.WidthMM, x.DepthMM, w.dir) * f.Stick(i).ShoulderMM() / 1000
		}
		for _, b := range s.Braces {
			aslant := geom.Norm(geom.Cross(w.dir, geom.Unit(geom.Sub(b.Top, b.Foot))))
			wind[k] += r.PressurePa(gust) * 2 * math.Max(b.Lumber.WidthMM, b.Lumber.DepthMM) / 1000 * aslant * b.LengthMM() / 1000
		}
	}
	for n, run := range v.Runs {
		combo, k := r.Combinations[[...]int{2, 3, 0, 1, 4}[n/4%5]], n%4
		if !strings.HasPrefix(run.Name, combo.Name) {
			t.Fatalf("run %d is %q, not %q", n, run.Name, combo.Name)
		}
		var sum geom.Vec
		for _, b := range run.Result.Bearings {
			sum = geom.Add(sum, geom.Add(b.Across, geom.V(0, 0, b.Normal)))
		}
		for _, p := range run.Result.Reactions {
			sum = geom.Add(sum, geom.V(p[0], p[1], p[2]))
		}
		person := 115 * combo.Person
		up := (mass*combo.Weight + person) * statics.StandardGravity
		level := mass*0.02*statics.StandardGravity*combo.Notional + wind[k]*combo.Wind
		want := geom.Along(geom.V(0, 0, up), -level, ways[k].dir)
		if geom.Dist(sum, want) > 1e-4*up {
			t.Errorf("%s: the deck bears %v N, by hand %v N", run.Name, sum, want)
		}
	}
}
