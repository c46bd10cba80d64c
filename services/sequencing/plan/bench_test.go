package plan_test

import (
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/internal/frametest"
	"github.com/pikepole/pikepole/services/internal/rough"
	"github.com/pikepole/pikepole/services/sequencing/plan"
	"github.com/pikepole/pikepole/services/sequencing/raising"
)

// sized is a rough frame with about that many sticks.
func sized(t testing.TB, sticks int) *frame.Frame {
	k := numbers(2)
	k.PurlinsPerSlope = 4
	few, err := rough.Make(k)
	if err != nil {
		t.Fatal(err)
	}
	k.BentCount = 3
	more, err := rough.Make(k)
	if err != nil {
		t.Fatal(err)
	}
	bay := len(more.Timbers) - len(few.Timbers)
	k.BentCount = 2 + (sticks-len(few.Timbers))/bay
	return roughFrame(t, k)
}

// scattered is the same frame with every stick loose.
func scattered(t testing.TB, f *frame.Frame) *frame.Frame {
	d := f.Draft()
	d.Assemblies = nil
	for i := range d.Timbers {
		d.Timbers[i].Assembly = ""
	}
	return frametest.Parse(t, d)
}

func BenchmarkMake(b *testing.B) {
	for _, sticks := range []int{500, 5000} {
		f := sized(b, sticks)
		b.Run(fmt.Sprintf("sticks=%d", len(f.Timbers())), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := plan.Make(b.Context(), f, site(), crew()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkLoose is the order alone of a frame in which every stick is loose.
func BenchmarkLoose(b *testing.B) {
	for _, sticks := range []int{500, 5000} {
		f := scattered(b, sized(b, sticks))
		b.Run(fmt.Sprintf("sticks=%d", len(f.Timbers())), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := raising.OfFrame(b.Context(), f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
