package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"github.com/pikepole/pikepole/services/platform/fault"
)

// metrics are kept per store, told apart by the label store.
type metrics struct {
	duration *prometheus.HistogramVec
	outcomes *prometheus.CounterVec
	batches  prometheus.Histogram
	retries  prometheus.Counter
}

func newMetrics(registry prometheus.Registerer, schema string) (*metrics, error) {
	labels := prometheus.Labels{"store": schema}
	m := &metrics{
		duration: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "pikepole_store_transaction_duration_seconds", Help: "Time that a transaction took, waiting included.",
			Buckets: prometheus.ExponentialBuckets(0.0001, 2.5, 12), ConstLabels: labels,
		}, []string{"operation"}),
		outcomes: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "pikepole_store_transactions_total", Help: "Transactions by how they ended.", ConstLabels: labels,
		}, []string{"operation", "outcome"}),
		batches: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "pikepole_store_commit_writes", Help: "Writes that shared a commit.",
			Buckets: prometheus.ExponentialBuckets(1, 2, 9), ConstLabels: labels,
		}),
		retries: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "pikepole_store_retries_total", Help: "Writes that were run again.", ConstLabels: labels,
		}),
	}
	if registry == nil {
		return m, nil
	}
	for _, c := range []prometheus.Collector{m.duration, m.outcomes, m.batches, m.retries} {
		if err := registry.Register(c); err != nil {
			return nil, fmt.Errorf("register metrics of store %s: %w", schema, err)
		}
	}
	return m, nil
}

func (m *metrics) done(operation string, start time.Time, err error) {
	m.duration.WithLabelValues(operation).Observe(time.Since(start).Seconds())
	m.outcomes.WithLabelValues(operation, outcomeOf(err)).Inc()
}

// outcomeOf is a word from a short closed list.
func outcomeOf(err error) string {
	if err == nil {
		return "ok"
	}
	if kind := KindOf(err); kind != "" {
		return string(kind)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return "context"
	}
	if _, ok := fault.Of(err); ok {
		return "refused"
	}
	return "function"
}

func (m *metrics) batch(writes int) { m.batches.Observe(float64(writes)) }
func (m *metrics) retried()         { m.retries.Inc() }
