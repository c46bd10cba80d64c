package standing

import (
	"context"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
)

// A raising judged as a rigger would: the first bent goes over without braces and stands with them; plates that reach out to a bent
// that is not there yet hang on one unpegged tenon and come down; each bent that is drawn home stands with its braces; the
// finished frame needs none in a fresh breeze.
func TestRaisingLikeARigger(t *testing.T) {
	t.Parallel()
	f := parse(t, cottage())
	c := NewChecker(f, DefaultRules())
	at := func(s stateAfter) *Verdict {
		v, err := c.Check(context.Background(), s.Situation, Ask{})
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	bare, braced := statesOf(t, f, false, 12), statesOf(t, f, true, 12)
	if v := at(bare[0]); v.Stands || v.Governing.Kind != Overturning {
		t.Errorf("the first bent without braces: stands %v, %s", v.Stands, v.Governing.Words)
	}
	for i, s := range braced {
		v := at(s)
		posts, plate := 0, ""
		var before []int
		if i > 0 {
			before = braced[i-1].Standing
		}
		for _, p := range s.Standing[len(before):] {
			switch f.Timbers()[p].Role {
			case frame.RolePost:
				posts++
			case frame.RolePlate:
				plate = f.Timbers()[p].Mark
			}
		}
		switch {
		case plate != "" && (v.Stands || v.Governing.Kind != Mechanism || !strings.Contains(v.Governing.Words, plate)):
			t.Errorf("after move %d %s hangs in the air: stands %v, %s", s.move, plate, v.Stands, v.Governing.Words)
		case posts > 0 && !v.Stands:
			t.Errorf("after move %d a braced bent falls: %s", s.move, v.Governing.Words)
		}
	}
	last := bare[len(bare)-1]
	last.Pegged = pegged(f, true)
	if v := at(last); !v.Stands {
		t.Errorf("the finished frame falls: %s", v.Governing.Words)
	}
}
