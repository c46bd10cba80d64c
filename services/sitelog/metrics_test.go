package sitelog_test

import (
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
	"github.com/pikepole/pikepole/services/sitelog"
)

func TestMetricsAreWellNamed(t *testing.T) {
	t.Parallel()
	registry := prometheus.NewPedanticRegistry()
	_, err := sitelog.New(sitelog.Config{
		DB: storetest.Open(t, store.Config{URL: storetest.SQLite(t)}), Registry: registry,
		Frames: framesv1.NewFramesServiceClient(nil), Sequencing: sequencingv1.NewSequencingServiceClient(nil),
	})
	if err != nil {
		t.Fatal(err)
	}
	families, err := registry.Gather()
	if err != nil || len(families) != 2 {
		t.Fatalf("%d metrics, %v", len(families), err)
	}
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	if _, err := sitelog.New(sitelog.Config{}); err == nil {
		t.Error("a service without a store and its neighbours is built")
	}
}
