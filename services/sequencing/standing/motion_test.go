package standing

import (
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/statics"
)

// A motion is named by lines of the frame and by up and down, never by axes that nobody on the deck has.
func TestMotionInWordsOfTheDeck(t *testing.T) {
	t.Parallel()
	c := &Checker{ways: [4]way{
		{geom.V(1, 0, 0), "towards bent line 2"},
		{geom.V(-1, 0, 0), "towards bent line 1"},
		{geom.V(0, 1, 0), "towards wall line B"},
		{geom.V(0, -1, 0), "towards wall line A"},
	}}
	for want, d := range map[string]geom.Vec{
		"down":                         geom.V(0, 0, 1),
		"down and towards bent line 2": geom.V(0.33, 0, -0.94),
		"down and towards bent line 1": geom.V(0.33, 0, 0.94),
		"towards bent line 2, or back": geom.V(1, 0.1, 0),
		"towards bent line 2 and towards wall line A, or back": geom.V(0.7, -0.7, 0),
	} {
		if got := c.whereto(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// The line about which it turns is kept only when pieces name it.
func TestMotionAboutALineThatIsNamed(t *testing.T) {
	t.Parallel()
	c := &Checker{frame: parse(t, hut()), ways: [4]way{{geom.V(1, 0, 0), "towards bent line 2"}}}
	m := &statics.Motion{Turns: true, Moving: []int{0}, Nodes: []statics.Vec6{{0.3, 0, -0.9}}}
	for line, want := range map[string]string{
		"about the line through P-1A and P-1B":                "about the line through P-1A and P-1B;",
		"about the line through (0.00, 1.00, 2.00) m along x": "turns freely;",
	} {
		m.Words = "P-1A turns " + line
		if got := c.motionWords(m, []int{0}); !strings.Contains(got, want) || strings.Contains(got, "(") {
			t.Errorf("%q, want %q in it", got, want)
		}
	}
}
