package frame_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/pikepole/pikepole/services/internal/frame"
)

// Bents that make about 500 and about 5,000 sticks: each bent with its bay has 25.
const smallBents, largeBents = 20, 200

func BenchmarkParse(b *testing.B) {
	for _, bents := range []int{smallBents, largeBents} {
		d := kingFrame(b, bents)
		b.Run(fmt.Sprintf("sticks=%d", len(d.Timbers)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := frame.Parse(d); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Ten times the sticks take at most fifteen times as long. The shortest of several runs counts, and the best of
// a few tries, so that other work on the machine does not.
func TestParseTimeGrowsWithTheSticks(t *testing.T) {
	small, large := kingFrame(t, smallBents), kingFrame(t, largeBents)
	shortest := func(d frame.Draft) time.Duration {
		best := time.Hour
		for range 7 {
			start := time.Now()
			if _, err := frame.Parse(d); err != nil {
				t.Fatal(err)
			}
			best = min(best, time.Since(start))
		}
		return best
	}
	tenfold := float64(len(large.Timbers)) / float64(len(small.Timbers)) / 10
	ratio := 0.0
	for range 4 {
		if ratio = float64(shortest(large)) / float64(shortest(small)) / tenfold; ratio <= 15 {
			return
		}
	}
	t.Errorf("ten times the sticks take %.1f times as long", ratio)
}
