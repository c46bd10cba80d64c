package standing

import (
	"fmt"
	"strings"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// sidewaysShare is from what part of a motion on it is worth naming.
const sidewaysShare = 0.3

// motionWords say what moves and whereto, by marks and lines of the frame: whoever stands beside it has no axes.
func (c *Checker) motionWords(m *statics.Motion, moving []int) string {
	who := c.marks(moving)
	verb := func(one, some string) string {
		if len(moving) < 2 {
			return one
		}
		return some
	}
	far := m.Nodes[m.Moving[0]]
	d := geom.V(far[0], far[1], far[2])
	if geom.Norm(d) < nearM {
		return fmt.Sprintf("%s %s in place", who, verb("turns", "turn"))
	}
	whereto := c.whereto(d)
	if !m.Turns {
		return fmt.Sprintf("%s %s %s", who, verb("moves", "move"), whereto)
	}
	about := "freely"
	if _, line, found := strings.Cut(m.Words, " about "); found && strings.Contains(line, " and ") && !strings.Contains(line, "(") {
		about = "about " + strings.TrimSuffix(line, ".")
	}
	return fmt.Sprintf("%s %s %s; what goes farthest moves %s", who, verb("turns", "turn"), about, whereto)
}

// whereto names the direction of a free motion. A motion is free both ways; of the two the way down is named.
func (c *Checker) whereto(d geom.Vec) string {
	u := geom.Unit(d)
	if u.Z > sidewaysShare/2 {
		u = geom.Scale(-1, u)
	}
	var ways []string
	if u.Z < -sidewaysShare {
		ways = append(ways, "down")
	}
	for _, w := range c.ways {
		if geom.Dot(w.dir, u) > sidewaysShare {
			ways = append(ways, w.words)
		}
	}
	words := and(ways)
	if u.Z >= -sidewaysShare {
		words += ", or back"
	}
	return words
}
