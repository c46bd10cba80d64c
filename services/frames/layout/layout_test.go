package layout_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/pikepole/pikepole/services/frames/layout"
	"github.com/pikepole/pikepole/services/internal/drawing"
	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/framedraw"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/report"
)

const (
	inch = frametest.Inch
	foot = frametest.Foot
)

var rounding = cmpopts.EquateApprox(0, 1e-9)

// Bents at 0, 12, 24 and 36 ft, walls at 0 and 24 ft over all, posts 8 by 8 in, worked out by hand.
func TestPosts(t *testing.T) {
	t.Parallel()
	l := layout.Of(frametest.Parse(t, frametest.Shed(4)))
	if len(l.Posts) != 8 {
		t.Fatalf("%d posts, want 8", len(l.Posts))
	}
	x, y := 24*foot, 24*foot
	want := layout.Post{
		Mark: "P3B", Bent: "3", Wall: "B", Point: geom.V(x, y, 0), RunningXMM: x, RunningYMM: y - 8*inch,
		Corners: []geom.Vec{{X: x, Y: y - 8*inch}, {X: x + 8*inch, Y: y - 8*inch}, {X: x + 8*inch, Y: y}, {X: x, Y: y}},
	}
	if diff := cmp.Diff(want, l.Posts[5], rounding, cmpopts.IgnoreUnexported(geom.Vec{})); diff != "" {
		t.Errorf("sixth post (-want +got):\n%s", diff)
	}
	for _, p := range l.Posts {
		if got := geom.AreaXY(p.Corners); math.Abs(got-64*inch*inch) > 1e-6 {
			t.Errorf("foot of %s has %g mm² counter-clockwise, want 64 in²", p.Mark, got)
		}
	}
}

// A rectangle of 36 by 24 ft has diagonals of √(36² + 24²) = 43.2666 ft, one of 12 by 24 ft
// √(12² + 24²) = 26.8328 ft.
func TestDiagonals(t *testing.T) {
	t.Parallel()
	l := layout.Of(frametest.Parse(t, frametest.Shed(4)))
	if len(l.Diagonals) != 3*2+2 {
		t.Fatalf("%d diagonals, want two for each of three bays and two over all", len(l.Diagonals))
	}
	for i, d := range l.Diagonals {
		want := 26.8328
		if i >= 6 {
			want = 43.2666
		}
		if got := d.LengthMM / foot; math.Abs(got-want) > 5e-5 {
			t.Errorf("diagonal %s is %.4f ft, want %.4f", l.Name(i), got, want)
		}
		if p := l.Diagonals[d.Partner]; p.Partner != i || d.Partner == i {
			t.Errorf("diagonal %d has partner %d, which has partner %d", i, d.Partner, p.Partner)
		}
	}
	if got, want := l.Name(6)+", "+l.Name(7), "P1A P4B, P1B P4A"; got != want {
		t.Errorf("over all: %s, want %s", got, want)
	}
}

// Sheared by 6 in along the walls, the pair of a bay differs: √((12+½)²+24²) and √((12−½)²+24²) ft.
func TestSkewedBay(t *testing.T) {
	t.Parallel()
	d := frametest.Shed(2)
	for i := range d.Timbers {
		shear(&d.Timbers[i].Start)
		shear(&d.Timbers[i].End)
	}
	for i := range d.Joints {
		shear(&d.Joints[i].At)
	}
	for i := range d.Grid.BentLines {
		d.Grid.BentLines[i].HeadingDeg -= math.Atan2(0.5, 24) * 180 / math.Pi
	}
	l := layout.Of(frametest.Parse(t, d))
	long, short := math.Hypot(12.5, 24), math.Hypot(11.5, 24)
	if got := l.Diagonals[0].LengthMM / foot; math.Abs(got-long) > 1e-6 {
		t.Errorf("long diagonal is %.4f ft, want %.4f", got, long)
	}
	if got := l.Diagonals[1].LengthMM / foot; math.Abs(got-short) > 1e-6 {
		t.Errorf("short diagonal is %.4f ft, want %.4f", got, short)
	}
}

func shear(p *geom.Vec) { p.X += p.Y / 48 }

func TestTable(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(2))
	l := layout.Of(f)
	table := l.Table("layout")
	if len(table.Rows) != 4+2 {
		t.Fatalf("%d rows, want 4 posts and 2 diagonals", len(table.Rows))
	}
	want := "What,Mark,Bent,Wall,Running X (mm),Running Y (mm),Corner 1 X (mm),Corner 1 Y (mm),Corner 2 X (mm),Corner 2 Y (mm)," +
		"Corner 3 X (mm),Corner 3 Y (mm),Corner 4 X (mm),Corner 4 Y (mm),To,Diagonal (mm),Other diagonal\r\n" +
		"post,P1A,1,A,0.00,0.00,0.00,0.00,203.20,0.00,203.20,203.20,0.00,203.20,,,\r\n" +
		"post,P1B,1,B,0.00,7112.00,0.00,7112.00,203.20,7112.00,203.20,7315.20,0.00,7315.20,,,\r\n" +
		"post,P2A,2,A,3657.60,0.00,3657.60,0.00,3860.80,0.00,3860.80,203.20,3657.60,203.20,,,\r\n" +
		"post,P2B,2,B,3657.60,7112.00,3657.60,7112.00,3860.80,7112.00,3860.80,7315.20,3657.60,7315.20,,,\r\n" +
		"diagonal,P1A,,,,,,,,,,,,,P2B,8178.64,P1B P2A\r\n" +
		"diagonal,P1B,,,,,,,,,,,,,P2A,8178.64,P1A P2B\r\n"
	if diff := cmp.Diff(want, string(report.CSV(table))); diff != "" {
		t.Errorf("CSV (-want +got):\n%s", diff)
	}
}

func TestSheet(t *testing.T) {
	t.Parallel()
	f := frametest.Parse(t, frametest.Shed(4))
	s := layout.Of(f).Sheet(f, framedraw.Block{Revision: 1, Latest: 1})
	count := map[string]int{}
	diagonals := 0
	for _, i := range s.Items {
		if i.Shape == drawing.Label {
			count[i.Text]++
		}
		if i.Class == drawing.Diagonal {
			diagonals++
		}
	}
	// 43.2666 ft is 43 ft 3.1992 in, to the sixteenth 43'-3 3/16"; 26.8328 ft is 26'-10".
	for text, want := range map[string]int{`43'-3 3/16"`: 2, `26'-10"`: 6, "P1A": 1, "x 24'-0\"  y 23'-4\"": 1} {
		if count[text] != want {
			t.Errorf("%q is written %d times, want %d", text, count[text], want)
		}
	}
	if diagonals != 8 {
		t.Errorf("%d diagonals are drawn, want 8", diagonals)
	}
}

// A long building stays within two diagonals for each bay, and two over all.
func TestManyBents(t *testing.T) {
	t.Parallel()
	l := layout.Of(frametest.Parse(t, frametest.Shed(270)))
	if len(l.Posts) != 540 || len(l.Diagonals) != 269*2+2 {
		t.Errorf("%d posts and %d diagonals, want 540 and 540", len(l.Posts), len(l.Diagonals))
	}
}

// stand adds a post on the deck to a draft.
func stand(d *frame.Draft, mark string, x, y float64) {
	d.Timbers = append(d.Timbers, frame.Timber{
		Mark: mark, Role: frame.RolePost, WidthMM: 6 * inch, DepthMM: 6 * inch,
		Start: geom.V(x, y, 0), End: geom.V(x, y, 5*foot), Species: "eastern-white-pine", Grade: "No.1", MoisturePercent: 19,
	})
	d.Joints = append(d.Joints, frame.Joint{
		ID: "base-" + mark, Kind: joinery.PostBaseBearing, Entering: mark,
		EnteringEnd: joinery.AtStart, At: geom.V(x, y, 0),
	})
}

// Posts on a middle wall that only some bents have, and one that stands on no line at all.
func TestInnerPosts(t *testing.T) {
	t.Parallel()
	middle := func(bents int, with ...int) layout.Layout {
		d := frametest.Shed(bents)
		d.Grid.WallLines = append(d.Grid.WallLines[:1:1], frame.GridLine{Label: "M", Point: geom.V(0, 12*foot, 0)}, d.Grid.WallLines[1])
		for _, b := range with {
			stand(&d, fmt.Sprintf("P%dM", b), float64(b-1)*12*foot+3*inch, 12*foot+3*inch)
		}
		stand(&d, "LONE", 5*foot, 5*foot)
		return layout.Of(frametest.Parse(t, d))
	}
	for name, test := range map[string]struct {
		layout layout.Layout
		want   []string
	}{
		"in both bents": {middle(2, 1, 2), []string{"P1A P2M", "P1M P2A", "P1M P2B", "P1B P2M", "P1A P2B", "P1B P2A"}},
		"in the gables": {middle(3, 1, 3), []string{"P1A P2B", "P1B P2A", "P2A P3B", "P2B P3A", "P1A P3B", "P1B P3A"}},
	} {
		var got []string
		for i := range test.layout.Diagonals {
			got = append(got, test.layout.Name(i))
		}
		if diff := cmp.Diff(test.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
		last := test.layout.Posts[len(test.layout.Posts)-1]
		if last.Mark != "LONE" || last.Bent != "" || last.Wall != "" || math.Abs(last.Point.X-5*foot) > 1e-9 {
			t.Errorf("%s: the last post is %v, want the lone one, at its middle", name, last)
		}
	}
}
