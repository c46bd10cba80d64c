package standing

import (
	"fmt"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/geom"
)

// way is a level direction in which loads are tried.
type way struct {
	dir   geom.Vec
	words string
}

// waysOf are the four directions along and across the frame's own lines: its first wall line, else square to its first
// bent line, else along X. They turn with the frame.
func waysOf(f *frame.Frame) [4]way {
	g := f.Grid()
	along := geom.V(1, 0, 0)
	switch {
	case len(g.WallLines) > 0:
		along = g.WallLines[0].Along()
	case len(g.BentLines) > 0:
		along = g.BentLines[0].Across()
	}
	across := geom.Cross(geom.Up(), along)
	var ways [4]way
	for i, d := range [4]geom.Vec{along, geom.Scale(-1, along), across, geom.Scale(-1, across)} {
		ways[i] = way{dir: d, words: wayWords(g, d, i)}
	}
	return ways
}

// wayWords names a direction by the line that it leads to, so that the crew need no compass.
func wayWords(g frame.Grid, d geom.Vec, i int) string {
	lines, kind := g.BentLines, "bent line"
	if i >= 2 {
		lines, kind = g.WallLines, "wall line"
	}
	if label, ok := last(lines, d); ok {
		return "towards " + kind + " " + label
	}
	named := len(g.WallLines) > 0
	switch {
	case named && i < 2:
		return fmt.Sprintf("along wall line %s, %s", g.WallLines[0].Label, [...]string{"the way it is laid out", "against the way it is laid out"}[i])
	case named:
		return fmt.Sprintf("across wall line %s, to its %s", g.WallLines[0].Label, [...]string{"left", "right"}[i-2])
	case len(g.BentLines) > 0 && i < 2:
		return fmt.Sprintf("across bent line %s, to its %s", g.BentLines[0].Label, [...]string{"left", "right"}[i])
	case len(g.BentLines) > 0:
		return fmt.Sprintf("along bent line %s, %s", g.BentLines[0].Label, [...]string{"against the way it is laid out", "the way it is laid out"}[i-2])
	}
	return [...]string{"towards +X", "towards −X", "towards +Y", "towards −Y"}[i]
}

// apartMM is how far two lines must be apart along a direction for one to be farther.
const apartMM = 300

// last is the line that lies farthest along a direction; false when no two lie apart along it.
func last(lines []frame.GridLine, d geom.Vec) (string, bool) {
	if len(lines) < 2 {
		return "", false
	}
	far, near := 0, 0
	for i, l := range lines {
		at := geom.Dot(l.Point, d)
		if at > geom.Dot(lines[far].Point, d) {
			far = i
		}
		if at < geom.Dot(lines[near].Point, d) {
			near = i
		}
	}
	if geom.Dot(geom.Sub(lines[far].Point, lines[near].Point), d) < apartMM {
		return "", false
	}
	return lines[far].Label, true
}
