package framedraw_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// state is the first bents of a frame standing with braces at their posts, the last of them just set, swayed along X by
// 10 mm for each metre of height, bent by a moment that grows towards the middle of each stick.
func state(t testing.TB, f *frame.Frame, standing int, show framedraw.StandShow) framedraw.StandView {
	t.Helper()
	v := framedraw.StandView{
		Show: show, Name: "state after move 2 of 9", Case: "0.6 weight + wind along +X, soft joints",
		Verdict: "It stands in a gust of 40 mph; P1A comes nearest to what it bears, with 79 %.", Uses: make([]float64, len(f.Timbers())),
		Cautions: []string{"A check for planning. Temporary works need a qualified person and local rules."},
		Block:    framedraw.Block{Job: "Example job", Revision: 2, Latest: 2, Engine: "1"},
	}
	moved := func(at geom.Vec) geom.Vec { return geom.V(at.Z/100, 0, 0) }
	for i, s := range f.Timbers() {
		switch number(s.Assembly) {
		case standing:
			v.Fresh = append(v.Fresh, i)
		case 0:
			v.Coming = append(v.Coming, i)
			continue
		default:
			if number(s.Assembly) > standing {
				v.Coming = append(v.Coming, i)
				continue
			}
			v.Standing = append(v.Standing, i)
		}
		sway, force := framedraw.StickSway{Stick: i}, framedraw.StickForce{Stick: i}
		for k := range 9 {
			part := float64(k) / 8
			at := geom.Add(geom.Scale(1-part, s.Start), geom.Scale(part, s.End))
			sway.At, sway.Move = append(sway.At, at), append(sway.Move, moved(at))
			force.At, force.Values = append(force.At, at), append(force.Values, float64(40*i-500)*4*part*(1-part))
		}
		v.Sways, v.Forces = append(v.Sways, sway), append(v.Forces, force)
		v.Uses[i] = float64(i) * 0.06
		if s.Role == frame.RolePost {
			for side, way := range []geom.Vec{geom.V(-1800, 0, -1800), geom.V(0, math.Copysign(1800, s.Start.Y-1), -1800)} {
				top := geom.V(s.Start.X, s.Start.Y, 2000)
				v.Braces = append(v.Braces, framedraw.StandBrace{
					ID: fmt.Sprintf("B%d", len(v.Braces)+1), Top: top, Foot: geom.Along(geom.Add(top, way), 200, geom.V(0, 0, -1)),
					New: number(s.Assembly) == standing, TopMove: moved(top), AxialN: float64(side*3000 - 1000), Use: 0.4 * float64(side),
				})
			}
		}
	}
	return v
}

// number is that of a bent's assembly; 0 for none.
func number(assembly string) int {
	var n int
	if at := strings.LastIndexAny(assembly, "-B"); at >= 0 {
		_, _ = fmt.Sscanf(assembly[at+1:], "%d", &n)
	}
	return n
}

// What each view draws of a shed of which the first bent stands and the second was just set: three sticks each, and
// four braces for each bent.
func TestStandViews(t *testing.T) {
	t.Parallel()
	f := box(t, 3)
	for show, want := range map[framedraw.StandShow]struct {
		classes map[drawing.Class]int
		says    []string
	}{
		framedraw.ShowBraces: {
			map[drawing.Class]int{drawing.Brace: 4, drawing.NewBrace: 4, drawing.Coming: 7},
			[]string{"B1", "B8", "P2A", "T2", "stands", "came with this move", "is to come", "temporary brace, tick at its foot", "brace to set with this move"},
		},
		// The three sticks of each of two bents.
		framedraw.ShowSway:    {map[drawing.Class]int{drawing.Swayed: 6, drawing.Brace: 8}, []string{"where it sways to, exaggerated"}},
		framedraw.ShowBending: {map[drawing.Class]int{drawing.Diagram: 6, drawing.Brace: 8}, []string{"370", "the value along it"}},
		// 500 N are 112 lb; −1000 N in a brace are −220 lb and 2000 N +450 lb, to two digits.
		framedraw.ShowAxial: {map[drawing.Class]int{drawing.Diagram: 6}, []string{"−110", "B1 −220", "B2 +450"}},
		framedraw.ShowUse: {
			map[drawing.Class]int{drawing.Slight: 1},
			[]string{"6 %", "B1 0 %", "B2 40 %", "uses under 50 %", "50 to 80 %", "80 to 100 %", "! over what it bears"},
		},
	} {
		s := framedraw.NewPicture(f).Stand(state(t, f, 2, show))
		count, said := map[drawing.Class]int{}, map[string]bool{}
		for _, i := range s.Items {
			if i.Link != "" || i.Class == drawing.Brace || i.Class == drawing.NewBrace {
				count[i.Class]++
			}
			said[i.Text] = true
		}
		// A legend has one sample of each class.
		for class, n := range want.classes {
			if got := count[class]; got < n || show != framedraw.ShowUse && got > n+1 {
				t.Errorf("view %d has %d items of class %d, want %d", show, got, class, n)
			}
		}
		for _, text := range want.says {
			if !said[text] {
				t.Errorf("view %d does not say %q; it says %q", show, text, texts(s))
			}
		}
		if !slices.ContainsFunc(texts(s), func(text string) bool { return strings.HasPrefix(text, "! A check for planning.") }) {
			t.Errorf("view %d has no caution", show)
		}
	}
}

// Every stick that stands is a link to its mark in every view.
func TestStandingSticksAreLinks(t *testing.T) {
	t.Parallel()
	f := box(t, 3)
	for show := framedraw.ShowBraces; show <= framedraw.ShowUse; show++ {
		links := map[string]bool{}
		for _, i := range framedraw.NewPicture(f).Stand(state(t, f, 3, show)).Items {
			links[i.Link] = true
		}
		for _, s := range f.Timbers() {
			if !links[s.Mark] {
				t.Errorf("view %d has no link for %s", show, s.Mark)
			}
		}
	}
}

// The weight of a line is that of the class of the share: under 50, to 80, to 100 per cent, and over.
func TestUseByLineWeight(t *testing.T) {
	t.Parallel()
	f := box(t, 1)
	for share, want := range map[float64]drawing.Class{
		0: drawing.Slight, 0.499: drawing.Slight, 0.5: drawing.Half, 0.799: drawing.Half, 0.8: drawing.Near, 1: drawing.Near,
		1.001: drawing.Over, math.Inf(1): drawing.Over,
	} {
		v := framedraw.StandView{Show: framedraw.ShowUse, Standing: []int{0}, Uses: []float64{share}}
		for _, i := range framedraw.NewPicture(f).Stand(v).Items {
			if i.Shape == drawing.Polygon && i.Link != "" && i.Class != want {
				t.Errorf("a share of %g is drawn as class %d, want %d", share, i.Class, want)
			}
		}
	}
	v := framedraw.StandView{Show: framedraw.ShowUse, Standing: []int{0, 1}, Uses: []float64{math.Inf(1), 1.0001}}
	if said := texts(framedraw.NewPicture(f).Stand(v)); !slices.Contains(said, "! free") || !slices.Contains(said, "! 101 %") {
		t.Errorf("what is over is not marked: %q", said)
	}
}

// A point displaced by so much stands off its stick on paper by the printed factor times as much as a point so far away.
func TestSwayHasItsFactor(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	for _, move := range []float64{0.02, 1, 22, 900, 1e5} {
		post := f.Timbers()[0]
		v := framedraw.StandView{Show: framedraw.ShowSway, Standing: []int{0}, Sways: []framedraw.StickSway{
			{Stick: 0, At: []geom.Vec{post.Start, post.End}, Move: []geom.Vec{{}, geom.V(move, 0, 0)}},
			{Stick: 0, At: []geom.Vec{post.Start, post.End}, Move: []geom.Vec{{}, {}}},
		}}
		s := framedraw.NewPicture(f).Stand(v)
		var factor float64
		for _, text := range texts(s) {
			if _, err := fmt.Sscanf(text, "Sway drawn %g times", &factor); err == nil {
				break
			}
		}
		var lines [][]drawing.Point
		for _, i := range s.Items {
			if i.Class == drawing.Swayed && i.Link != "" {
				lines = append(lines, i.Points)
			}
		}
		if factor <= 0 || len(lines) != 2 {
			t.Fatalf("%g mm: factor %g, %d lines", move, factor, len(lines))
		}
		off := math.Hypot(lines[0][1].X-lines[1][1].X, lines[0][1].Y-lines[1][1].Y)
		// The eye looks along (−0.52, −0.74, 0.46). Seen so, a length along an axis is drawn by the root of one less the square of
		// that part of the unit vector.
		sight := geom.Unit(geom.V(-0.52, -0.74, 0.46))
		level, upright := math.Sqrt(1-sight.X*sight.X), math.Sqrt(1-sight.Z*sight.Z)
		high := math.Hypot(lines[1][1].X-lines[1][0].X, lines[1][1].Y-lines[1][0].Y) / (post.End.Z - post.Start.Z) / upright
		if got := off / (factor * move) / level; math.Abs(got/high-1) > 1e-6 {
			t.Errorf("%g mm: drawn %g times as large, said %g", move, off/move/level/high, factor)
		}
		if high*factor*move > 0.12*s.WidthMM {
			t.Errorf("%g mm: drawn %.0f mm long on paper", move, high*factor*move)
		}
	}
}

// A free motion has no size, so no factor is printed.
func TestAFreeMotionHasNoFactor(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	v := state(t, f, 1, framedraw.ShowSway)
	v.Free = true
	for _, text := range texts(framedraw.NewPicture(f).Stand(v)) {
		if strings.Contains(text, "times") || strings.Contains(text, "largest") || strings.Contains(text, "exaggerated") {
			t.Errorf("the sheet says %q", text)
		}
	}
}

// A brace whose ends or a view whose forces are nought, no sticks, shares that are no numbers: still a sheet.
func TestStandOfNothing(t *testing.T) {
	t.Parallel()
	f := box(t, 1)
	nan := math.NaN()
	for show := framedraw.ShowBraces; show <= framedraw.ShowUse; show++ {
		for _, v := range []framedraw.StandView{
			{Show: show},
			{Show: show, Standing: []int{0, 1, 2}, Braces: []framedraw.StandBrace{{ID: "B1"}}},
			{
				Show: show, Standing: []int{0}, Uses: []float64{nan}, Braces: []framedraw.StandBrace{{ID: "B1", Use: nan, AxialN: nan}},
				Forces: []framedraw.StickForce{{Stick: 0, At: []geom.Vec{{}, {}}, Values: []float64{0, 0}}, {Stick: 0}},
			},
		} {
			s := framedraw.NewPicture(f).Stand(v)
			if len(s.Items) == 0 || math.IsNaN(s.WidthMM+s.HeightMM) {
				t.Errorf("view %d of nothing is no sheet", show)
			}
		}
	}
}

// What falls says so at the top with a sign, below the line that says that the frame is old.
func TestVerdictStandsAtTheTop(t *testing.T) {
	t.Parallel()
	f := box(t, 2)
	v := state(t, f, 1, framedraw.ShowBraces)
	v.Falls, v.Verdict, v.Block.Latest = true, "It does not stand: it goes over about the line through the outer edges of the feet of P1A and P1B.", 3
	var tops []drawing.Item
	for _, i := range framedraw.NewPicture(f).Stand(v).Items {
		if i.Class == drawing.Warning {
			tops = append(tops, i)
		}
	}
	if len(tops) != 2 || tops[0].Text != "! "+v.Verdict || tops[0].Points[0].Y <= tops[1].Points[0].Y {
		t.Errorf("the warnings are %+v", tops)
	}
}

// No text of a view stands on another, and all lie on the paper.
func TestStandTextsDoNotOverlap(t *testing.T) {
	t.Parallel()
	for _, bents := range []int{3, 8} {
		f := long(t, bents)
		for show := framedraw.ShowBraces; show <= framedraw.ShowUse; show++ {
			s := framedraw.NewPicture(f).Stand(state(t, f, bents-1, show))
			var all []drawing.Item
			for _, i := range s.Items {
				if i.Shape == drawing.Label {
					all = append(all, i)
				}
			}
			for k, a := range all {
				room := corners(a)
				for _, p := range room {
					if p.X < 0 || p.Y < 0 || p.X > s.WidthMM || p.Y > s.HeightMM {
						t.Errorf("%d bents, view %d: %q runs off the paper", bents, show, a.Text)
						break
					}
				}
				for _, b := range all[k+1:] {
					if meet(room, corners(b)) {
						t.Errorf("%d bents, view %d: %q stands on %q", bents, show, a.Text, b.Text)
					}
				}
			}
		}
	}
}

func BenchmarkStand(b *testing.B) {
	f := long(b, 8)
	p := framedraw.NewPicture(f)
	v := state(b, f, 7, framedraw.ShowBending)
	b.ReportAllocs()
	for b.Loop() {
		drawing.SVG(p.Stand(v))
	}
}
