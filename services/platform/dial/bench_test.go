package dial_test

import (
	"testing"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
)

func BenchmarkCall(b *testing.B) {
	vias := map[string]func(testing.TB, dial.Options) (*echo, sitelogv1.SitelogServiceClient){"pipe": viaPipe, "tcp": viaTCP}
	for name, via := range vias {
		b.Run(name, func(b *testing.B) {
			_, client := via(b, dial.Options{})
			ctx := identity.WithToken(b.Context(), "tok")
			request := &sitelogv1.GetProgressRequest{Job: "job-1"}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := client.GetProgress(ctx, request); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "calls/s")
		})
	}
}
