package frame_test

import (
	"fmt"
	"syscall"
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

// Ten times the sticks take at most fifteen times as long. Processor time counts, not the clock, and the test runs
// alone, so that other work on the machine does not matter.
func TestParseTimeGrowsWithTheSticks(t *testing.T) {
	small, large := kingFrame(t, smallBents), kingFrame(t, largeBents)
	used := func(d frame.Draft, times int) float64 {
		before := processorTime(t)
		for range times {
			if _, err := frame.Parse(d); err != nil {
				t.Fatal(err)
			}
		}
		return float64(processorTime(t)-before) / float64(times)
	}
	used(large, 1) // warms up
	tenfold := float64(len(large.Timbers)) / float64(len(small.Timbers)) / 10
	ratio := 0.0
	for range 3 {
		if ratio = used(large, 5) / used(small, 50) / tenfold; ratio <= 15 {
			return
		}
	}
	t.Errorf("ten times the sticks take %.1f times as long", ratio)
}

func processorTime(t *testing.T) time.Duration {
	t.Helper()
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		t.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
