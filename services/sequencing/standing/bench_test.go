package standing

import (
	"context"
	"fmt"
	"syscall"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/work"
)

// barn is a rough frame of eight bents, the size of a large job: 84 ft by 36 ft.
func barn() rough.King {
	s := func(role string, w, d float64) rough.Section {
		return rough.Section{Role: role, NominalWidthIn: w, NominalDepthIn: d}
	}
	return rough.King{
		Title: "barn", BentCount: 8, BaySpacingsMM: []float64{3657.6}, SpanMM: 10972.8, PostHeightMM: 3657.6, RoofPitchDeg: 35,
		PurlinsPerSlope: 4, BraceLegMM: 1067, Struts: true, WallBraces: true, Species: "eastern-hemlock", Grade: "No.2", MoisturePercent: 70,
		Sections: []rough.Section{
			s("ROLE_POST", 10, 10), s("ROLE_TIE_BEAM", 10, 12), s("ROLE_PRINCIPAL_RAFTER", 8, 10), s("ROLE_KING_POST", 10, 10), s("ROLE_STRUT", 8, 8),
			s("ROLE_KNEE_BRACE", 6, 8), s("ROLE_PLATE", 10, 10), s("ROLE_GIRT", 10, 10), s("ROLE_PURLIN", 8, 8), s("ROLE_RIDGE_BEAM", 8, 12),
		},
	}
}

// cottage is a rough frame of three bents.
func cottage() rough.King {
	return rough.King{
		Title: "cottage", BentCount: 3, BaySpacingsMM: []float64{3657.6}, SpanMM: 6096, PostHeightMM: 2743.2, RoofPitchDeg: 40, PurlinsPerSlope: 2,
		BraceLegMM: 762, Struts: true, WallBraces: true, Species: "eastern-hemlock", Grade: "No.1", MoisturePercent: 60,
	}
}

// stateAfter is one state of a raising: everything that stands after a move, the joints of that move not pegged yet.
type stateAfter struct {
	move int
	Situation
}

// statesOf are all states of a frame's raising, with braces on all posts or none.
func statesOf(tb testing.TB, f *frame.Frame, braced bool, gust float64) []stateAfter {
	tb.Helper()
	r, err := plan.Make(context.Background(), f, plan.Site{}, work.Default())
	if err != nil {
		tb.Fatal(err)
	}
	var standing []int
	var list []stateAfter
	for i := range r.Moves {
		m := &r.Moves[i]
		standing = append(standing, m.Pieces...)
		in := pegged(f, true) // assemblies are pegged flat, earlier moves once they stood
		for _, id := range m.Joints {
			if j, ok := f.JointIndex(id); ok {
				in[j] = false
			}
		}
		s := stateAfter{move: m.Number, Situation: Situation{Standing: append([]int(nil), standing...), Pegged: in, GustMPS: gust}}
		if braced {
			s.Braces = propUp(tb, f, standing, 0.6)
		}
		list = append(list, s)
	}
	return list
}

// eight are rules of eight load cases: the lateral load in four directions on the whole weight, and the wind from four directions
// on six tenths of it.
func eight() Rules {
	r := DefaultRules()
	r.Combinations = []Combination{
		{Name: "own weight and lateral load", Weight: 1, Notional: 1},
		{Name: "0.6 own weight and wind", Weight: 0.6, Wind: 1},
	}
	return r
}

// busy is the processor time of this process in seconds: on a shared machine it tells more than the clock.
func busy() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return float64(u.Utime.Sec) + float64(u.Utime.Usec)/1e6
}

func benchmarkRaising(b *testing.B, k rough.King, r Rules, braced bool, o Ask) {
	f := parse(b, k)
	states := statesOf(b, f, braced, 12)
	b.ReportAllocs()
	b.ResetTimer()
	stand, began := 0, busy()
	for range b.N {
		c := NewChecker(f, r)
		stand = 0
		for _, s := range states {
			v, err := c.Check(context.Background(), s.Situation, o)
			if err != nil {
				b.Fatal(err)
			}
			if v.Stands {
				stand++
			}
		}
	}
	b.ReportMetric((busy()-began)/float64(b.N), "cpu-s/op")
	b.ReportMetric(float64(len(states)), "states")
	b.ReportMetric(float64(stand), "standing")
}

// All states of the eight-bent barn. The aim is under a second on one core for eight load cases.
func BenchmarkBarn(b *testing.B) {
	for _, braced := range []bool{false, true} {
		for _, x := range []struct {
			name string
			r    Rules
			o    Ask
		}{
			{"eight cases", eight(), Ask{}},
			{"eight cases light", eight(), Ask{Light: true}},
			{"all cases", DefaultRules(), Ask{}},
			{"all cases light", DefaultRules(), Ask{Light: true}},
			{"highest gust", DefaultRules(), Ask{HighestGust: true}},
		} {
			b.Run(fmt.Sprintf("%s braced=%v", x.name, braced), func(b *testing.B) { benchmarkRaising(b, barn(), x.r, braced, x.o) })
		}
	}
}

// One check of a small frame, as a search for braces makes thousands of.
func BenchmarkCheckCottage(b *testing.B) {
	f := parse(b, cottage())
	s := Situation{Standing: standingOf(f, bentOf(b, f, 0)), Pegged: pegged(f, true), GustMPS: 12}
	s.Braces = propUp(b, f, s.Standing, 0.7)
	c := NewChecker(f, DefaultRules())
	for _, light := range []bool{false, true} {
		b.Run(fmt.Sprintf("light=%v", light), func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				if _, err := c.Check(context.Background(), s, Ask{Light: light}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
