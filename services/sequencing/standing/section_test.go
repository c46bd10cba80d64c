package standing

import (
	"math"
	"testing"

	"github.com/pikepole/pikepole/services/internal/statics"
)

// Forces in the middle of members by equilibrium of one half agree with those of the analysis as far as the displaced shape
// between their ends lets them.
func TestSectionsAgree(t *testing.T) {
	t.Parallel()
	f := parse(t, hut())
	c := NewChecker(f, DefaultRules())
	s := Situation{Standing: everyone(f), Pegged: pegged(f, true), GustMPS: 6}
	st, err := c.prepare(s)
	if err != nil {
		t.Fatal(err)
	}
	st.trials = c.trials(st)
	v := check(t, f, s, DefaultRules(), Ask{Keep: true})
	run := v.Runs[2]
	e := st.ends[run.Stiffness]
	e.st = v.Structures[run.Stiffness]
	results, err := e.sv.Solve([]statics.Case{run.Case}, statics.Options{})
	if err != nil {
		t.Fatal(err)
	}
	e.spread(&run.Case)
	for m := range e.st.Model.Members {
		for _, share := range [3]float64{0, 0.5, 1} {
			a, b := e.section(&results[0], m, share), e.sv.Forces(&results[0], m, share*e.long[m])
			for k := range a {
				if math.Abs(a[k]-b[k]) > 1e-3+1e-6*math.Abs(b[k]) {
					t.Fatalf("member %d at %g, force %d: %g and %g", m, share, k, a[k], b[k])
				}
			}
		}
	}
}
