package frame_test

import (
	"fmt"
	"testing"

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
