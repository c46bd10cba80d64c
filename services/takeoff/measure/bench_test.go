package measure_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/frame"
	"github.com/pikepole/pikepole/services/takeoff/measure"
)

func benchmark(b *testing.B, sticks int) {
	perBent := len(purlined(b, 12, 6).Timbers()) - len(purlined(b, 11, 6).Timbers())
	f := purlined(b, sticks/perBent+1, 6)
	d := f.Draft()
	b.Run("measure", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if got := measure.Frame(f); got.All.Count < sticks*9/10 {
				b.Fatalf("%d sticks", got.All.Count)
			}
		}
	})
	b.Run("parse and measure", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			parsed, err := frame.Parse(d)
			if err != nil {
				b.Fatal(err)
			}
			measure.Frame(parsed)
		}
	})
}

func BenchmarkFrame500(b *testing.B)  { benchmark(b, 500) }
func BenchmarkFrame5000(b *testing.B) { benchmark(b, 5000) }
