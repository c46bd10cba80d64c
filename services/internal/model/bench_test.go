package model_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/internal/model"
)

// BenchmarkBuild is the eight-bent barn, all of it: what a check of many states builds over and over.
func BenchmarkBuild(b *testing.B) {
	k := king(8)
	k.PurlinsPerSlope = 3
	f := made(b, k)
	builder, err := model.NewBuilder(f, model.Defaults())
	if err != nil {
		b.Fatal(err)
	}
	s := complete(f)
	s.Braces = []model.Brace{raker(b, f, "P-1A"), raker(b, f, "P-1B")}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := builder.Build(s); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(f.Timbers())), "timbers")
}

func BenchmarkNewBuilder(b *testing.B) {
	f := made(b, king(8))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := model.NewBuilder(f, model.Defaults()); err != nil {
			b.Fatal(err)
		}
	}
}
