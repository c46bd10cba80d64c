package raising_test

import (
	"fmt"
	"testing"

	"github.com/pikepole/pikepole/services/sequencing/raising"
)

func BenchmarkOrder(b *testing.B) {
	for _, bents := range []int{20, 200, 1000} {
		p := row(bents, true).p
		b.Run(fmt.Sprintf("units=%d", len(p.Units)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := raising.Order(b.Context(), p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkLock(b *testing.B) {
	for _, bents := range []int{20, 200, 1000} {
		p := row(bents, false).p
		b.Run(fmt.Sprintf("units=%d", len(p.Units)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := raising.Order(b.Context(), p); err == nil {
					b.Fatal("an order was found")
				}
			}
		})
	}
}
