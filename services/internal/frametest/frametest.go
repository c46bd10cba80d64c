// Package frametest holds a small frame for tests, all of whose measures can be worked out by hand, and makes others from a few
// numbers.
package frametest

import (
	"strconv"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/joinery"
	"github.com/pikepole/pikepole/services/internal/rough"
)

// Millimetres in an inch and in a foot.
const (
	Inch = 25.4
	Foot = 12 * Inch
)

// The measures of a shed.
const (
	bayMM  = 12 * Foot
	spanMM = 24 * Foot
	sizeMM = 8 * Inch
)

// shed is a shed in the making.
type shed struct{ draft frame.Draft }

// Shed is a frame of bents 12 ft apart, face to face on the side of the first, each of two 8x8 posts 9 ft
// high with a tie beam between them, 24 ft over all, and a girt between neighbouring posts of each
// wall. Bents are numbered from 1, walls lettered A and B; the post of bent 2 on wall A is P2A, the tie
// beam of bent 2 T2, and the girt that runs from bent 1 to bent 2 on wall A G2A.
func Shed(bents int) frame.Draft {
	s := &shed{}
	s.draft.Title = "Shed & <store>"
	s.draft.Grid.WallLines = []frame.GridLine{{Label: "A"}, {Label: "B", Point: geom.V(0, spanMM, 0)}}
	s.draft.Grid.Levels = []frame.Level{{Label: "girt top", ZMM: 8 * Foot}}
	for b := range bents {
		s.bent(b)
	}
	return s.draft
}

// bent adds a bent and the girts that come to it from the one before.
func (s *shed) bent(b int) {
	n, x := strconv.Itoa(b+1), float64(b)*bayMM
	s.draft.Grid.BentLines = append(s.draft.Grid.BentLines, frame.GridLine{Label: n, Point: geom.V(x, 0, 0), HeadingDeg: 90})
	s.draft.Assemblies = append(s.draft.Assemblies, frame.Assembly{ID: "bent-" + n, Kind: frame.AssemblyBent, Line: n})
	x += sizeMM / 2
	for _, w := range [...]struct {
		label string
		y     float64
	}{{"A", sizeMM / 2}, {"B", spanMM - sizeMM/2}} {
		post := "P" + n + w.label
		s.stick(post, frame.RolePost, geom.V(x, w.y, 0), geom.V(x, w.y, 9*Foot), "bent-"+n)
		s.draft.Joints = append(s.draft.Joints, frame.Joint{
			ID: "base-" + post, Kind: joinery.PostBaseBearing, Entering: post,
			EnteringEnd: joinery.AtStart, At: geom.V(x, w.y, 0),
		})
		if b > 0 {
			z := 8*Foot - sizeMM/2
			s.beam("G"+n+w.label, frame.RoleGirt, "P"+strconv.Itoa(b)+w.label, post,
				geom.V(x-bayMM+sizeMM/2, w.y, z), geom.V(x-sizeMM/2, w.y, z), "")
		}
	}
	s.beam("T"+n, frame.RoleTieBeam, "P"+n+"A", "P"+n+"B",
		geom.V(x, sizeMM, 6.5*Foot), geom.V(x, spanMM-sizeMM, 6.5*Foot), "bent-"+n)
}

func (s *shed) stick(mark string, role frame.Role, start, end geom.Vec, assembly string) {
	s.draft.Timbers = append(s.draft.Timbers, frame.Timber{
		Mark: mark, Role: role, WidthMM: sizeMM, DepthMM: sizeMM,
		Start: start, End: end, Species: "eastern-white-pine", Grade: "No.1", Finish: frame.FinishRoughSawn,
		MoisturePercent: 19, Assembly: assembly,
	})
}

// beam adds a stick between two others with a tenon at each end.
func (s *shed) beam(mark string, role frame.Role, from, to string, start, end geom.Vec, assembly string) {
	s.stick(mark, role, start, end, assembly)
	tenon := func(id string, at frame.End, into string, p geom.Vec) {
		s.draft.Joints = append(s.draft.Joints, frame.Joint{
			ID: id, Kind: joinery.BlindMortiseAndTenon, Entering: mark, EnteringEnd: at,
			Receiving: into, At: p, Tenon: &joinery.Tenon{LengthMM: 4 * Inch, ThicknessMM: 2 * Inch, WidthMM: 6 * Inch},
		})
	}
	tenon(mark+"-s", joinery.AtStart, from, start)
	tenon(mark+"-e", joinery.AtEnd, to, end)
}

// Parse parses a draft that a test means to be valid.
func Parse(t testing.TB, d frame.Draft) *frame.Frame {
	t.Helper()
	f, err := frame.Parse(d)
	if err != nil {
		t.Fatalf("the frame is not valid: %v", err)
	}
	return f
}

// Rough makes a whole frame from a few numbers.
func Rough(t testing.TB, k rough.King) *frame.Frame {
	t.Helper()
	d, err := rough.Make(k)
	if err != nil {
		t.Fatalf("rough frame: %v", err)
	}
	return Parse(t, d)
}
