package model_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/statics"
)

func index(t testing.TB, f *frame.Frame, mark string) int {
	t.Helper()
	i, ok := f.Index(mark)
	if !ok {
		t.Fatalf("the frame has no %s", mark)
	}
	return i
}

// raker is a brace from the west face of a post of the first bent down to the deck, 45 degrees steep: a pair of 2×6 on the
// post's centre line.
func raker(t testing.TB, f *frame.Frame, mark string) model.Brace {
	t.Helper()
	post := f.Stick(index(t, f, mark))
	top := geom.Add(post.Start, geom.V(-post.WidthMM/2, 0, 2000))
	return model.Brace{
		Name: "B1", Timber: index(t, f, mark), Top: top, Foot: geom.Add(top, geom.V(-2000, 0, -2000)), Ground: model.OnDeck,
		WidthMM: 76, DepthMM: 140, EPa: 9e9, DensityKgPerM3: 450, TopNPerM: 2e6, FootNPerM: 2e6,
	}
}

func TestBadStatesAreNamed(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	post, far := index(t, f, "P-1A"), index(t, f, "P-2A")
	with := func(change func(*model.Brace)) model.State {
		s := complete(f)
		b := raker(t, f, "P-1A")
		change(&b)
		s.Braces = []model.Brace{b}
		return s
	}
	for name, test := range map[string]struct {
		s     model.State
		piece string
		words []string
	}{
		"nothing":      {model.State{}, "state", []string{"nothing stands"}},
		"beyond":       {model.State{Standing: []int{0, len(f.Timbers())}}, "state", []string{"not in the frame"}},
		"negative":     {model.State{Standing: []int{-1}}, "state", []string{"not in the frame"}},
		"twice":        {model.State{Standing: []int{post, post}}, "P-1A", []string{"twice"}},
		"pegs":         {model.State{Standing: []int{post}, Pegged: make([]bool, 3)}, "state", []string{"joints"}},
		"one floats":   {model.State{Standing: []int{post, index(t, f, "K-1")}}, "K-1", []string{"not connected to the deck: K-1"}},
		"many float":   {model.State{Standing: slices.DeleteFunc(all(f), func(i int) bool { return f.Timbers()[i].Role == frame.RolePost })}, "B-1A", []string{"more"}},
		"off the tie":  {model.State{Standing: []int{post}, Points: []model.Point{{Timber: post, FromStartMM: 9999}}}, "P-1A", []string{"long"}},
		"nan point":    {model.State{Standing: []int{post}, Points: []model.Point{{Timber: post, FromStartMM: math.NaN()}}}, "P-1A", []string{"long"}},
		"absent point": {model.State{Standing: []int{post}, Points: []model.Point{{Timber: far}}}, "state", []string{"point"}},
		"nan brace":    {with(func(b *model.Brace) { b.Top.X = math.NaN() }), "B1", []string{"not a point"}},
		"no stick":     {with(func(b *model.Brace) { b.Timber = -1 }), "B1", []string{"no timber"}},
		"zero length":  {with(func(b *model.Brace) { b.Foot = b.Top }), "B1", []string{"length"}},
		"no width":     {with(func(b *model.Brace) { b.WidthMM = 0 }), "B1", []string{"width"}},
		"nan modulus":  {with(func(b *model.Brace) { b.EPa = math.NaN() }), "B1", []string{"modulus"}},
		"no spring":    {with(func(b *model.Brace) { b.TopNPerM = 0 }), "B1", []string{"stiffness", "top"}},
		"nan spring":   {with(func(b *model.Brace) { b.FootNPerM = math.NaN() }), "B1", []string{"stiffness", "foot"}},
		"slender":      {with(func(b *model.Brace) { b.WidthMM = 36 }), "B1", []string{"as long as it is thick"}},
		"off its post": {with(func(b *model.Brace) { b.Top.X -= 300 }), "B1", []string{"off P-1A"}},
		"in the air":   {with(func(b *model.Brace) { b.Foot.Z = 700 }), "B1", []string{"deck"}},
		"no ground":    {with(func(b *model.Brace) { b.Ground = 7 }), "B1", []string{"fixed to"}},
		"foot nowhere": {with(func(b *model.Brace) { b.Ground, b.FootTimber = model.OnTimber, 9999 }), "B1", []string{"no timber"}},
		"foot off":     {with(func(b *model.Brace) { b.Ground, b.FootTimber = model.OnTimber, far }), "B1", []string{"off P-2A"}},
		"both ends":    {with(func(b *model.Brace) { b.Ground, b.FootTimber = model.OnTimber, post }), "B1", []string{"both"}},
		"through a post": {with(func(b *model.Brace) {
			b.Top.X += 300 // on the east face, so that it runs west through its own post
		}), "B1", []string{"through P-1A"}},
		"through the next": {with(func(b *model.Brace) {
			p := f.Stick(far)
			b.Timber, b.Top = far, geom.Add(p.Start, geom.V(-p.WidthMM/2, 0, 2000))
			b.Foot, b.PullOnly = geom.Add(b.Top, geom.V(-4200, 0, -2000)), true
			b.Foot.Z, b.Top.Z = 0, 1200
		}), "B1", []string{"through P-1A"}},
	} {
		_, err := model.Build(f, test.s, model.Defaults())
		var fault *statics.InputError
		if !errors.As(err, &fault) {
			t.Errorf("%s: %v is not a fault of the input", name, err)
			continue
		}
		if fault.Piece != test.piece {
			t.Errorf("%s: it names %q, want %q (%v)", name, fault.Piece, test.piece, err)
		}
		for _, w := range test.words {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", name, err, w)
			}
		}
	}
}

func TestBadSettingsAreNamed(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	for name, change := range map[string]func(*model.Settings){
		"stiffness": func(o *model.Settings) { o.Stiffness = 5 },
		"friction":  func(o *model.Settings) { o.Friction = math.NaN() },
		"pegs":      func(o *model.Settings) { o.PegSoftNPerM = 0 },
		"swapped":   func(o *model.Settings) { o.ShoulderSoftNPerM = 2 * o.ShoulderStiffNPerM },
		"bedding":   func(o *model.Settings) { o.BeddingStiffNPerM3 = math.Inf(1) },
	} {
		o := model.Defaults()
		change(&o)
		if _, err := model.NewBuilder(f, o); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	if _, err := model.NewBuilder(nil, model.Defaults()); err == nil {
		t.Error("no frame is taken")
	}
}

// Slings carry what the deck does not.
func TestCarriedPiecesMayFloat(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	tie := index(t, f, "T-1")
	s := model.State{Standing: []int{tie, index(t, f, "K-1")}, Carried: true, Points: []model.Point{{Timber: tie, FromStartMM: 1500}}}
	st := build(t, f, s, model.Soft)
	if at, want := st.Model.Nodes[st.PointNodes[0]].At, geom.Along(f.Stick(tie).Start, 1500, f.Axes(tie).Axis); geom.Dist(at, geom.Scale(1e-3, want)) > 1e-9 {
		t.Errorf("the node is at %v, want %v", at, want)
	}
}

func TestThroughKnowsWhatTouches(t *testing.T) {
	t.Parallel()
	f := made(t, king(2))
	b := raker(t, f, "P-1A")
	if i, through := model.Through(f, &b, all(f)); through {
		t.Errorf("a raker outside passes through %s", f.Timbers()[i].Mark)
	}
	// A board flat on the side of the post, flush with the girt's outer face, runs past it.
	post := f.Stick(index(t, f, "P-1A"))
	b.WidthMM, b.PullOnly = 38, true
	b.Top = geom.Add(post.Start, geom.V(0, -post.DepthMM/2-19, 2300))
	b.Foot = geom.Add(b.Top, geom.V(2300, 0, -2300))
	if i, through := model.Through(f, &b, all(f)); through {
		t.Errorf("a board on the faces passes through %s", f.Timbers()[i].Mark)
	}
	b.Top.Y += post.DepthMM / 2
	b.Foot.Y, b.Top.Z, b.Foot.Z = b.Top.Y, 2900, 600
	if i, through := model.Through(f, &b, all(f)); !through {
		t.Error("a board inside the wall passes nothing")
	} else if m := f.Timbers()[i].Mark; m != "G-A12" && m != "WB-A1E" {
		t.Errorf("a board inside the wall passes through %s", m)
	}
}

// Every place of a timber that stands is found, on a member whose ends are where they should be.
func TestLocate(t *testing.T) {
	t.Parallel()
	f := made(t, king(3))
	st := build(t, f, complete(f), model.Soft)
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(f.Timbers())-1).Draw(t, "timber")
		s := f.Stick(i)
		mm := rapid.Float64Range(0, 1).Draw(t, "share") * s.ShoulderMM()
		p, ok := st.Locate(i, mm)
		if !ok {
			t.Fatal("it is not found")
		}
		m := &st.Model.Members[p.Member]
		from, to := geom.Add(st.Model.Nodes[m.I].At, m.ArmI), geom.Add(st.Model.Nodes[m.J].At, m.ArmJ)
		at := geom.Along(from, p.AtM, geom.Unit(geom.Sub(to, from)))
		want := geom.Scale(1e-3, geom.Along(s.Start, mm, s.Axes.Axis))
		if geom.Dist(at, want) > 1e-9 || st.Parts[p.Member].Timber != i {
			t.Fatalf("it is at %v, want %v", at, want)
		}
		if _, ok := st.Locate(i, s.ShoulderMM()+5); ok {
			t.Fatal("a place off the timber is found")
		}
	})
	if _, ok := st.Locate(-1, 0); ok {
		t.Error("no timber is found")
	}
	one := build(t, f, model.State{Standing: []int{index(t, f, "P-1A")}}, model.Soft)
	if _, ok := one.Locate(index(t, f, "T-1"), 10); ok {
		t.Error("a timber that does not stand is found")
	}
}
