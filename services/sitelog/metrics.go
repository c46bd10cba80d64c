package sitelog

import (
	"github.com/prometheus/client_golang/prometheus"

	"github.com/pikepole/pikepole/services/sitelog/entry"
)

// metrics counts what became of entries, and the watches that are open.
type metrics struct {
	entries *prometheus.CounterVec
	watches prometheus.Gauge
}

func newMetrics(registry prometheus.Registerer) (*metrics, error) {
	m := &metrics{
		entries: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "pikepole_sitelog_entries_total",
			Help: "Entries that were posted, by what became of them.",
		}, []string{"outcome"}),
		watches: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "pikepole_sitelog_open_watches",
			Help: "Watches of entries that are open now.",
		}),
	}
	for _, fate := range []entry.Fate{entry.Taken, entry.Repeated, entry.Refused} {
		m.entries.WithLabelValues(fate.String())
	}
	if registry == nil {
		return m, nil
	}
	for _, c := range []prometheus.Collector{m.entries, m.watches} {
		if err := registry.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (m *metrics) count(outcomes []entry.Outcome) {
	for _, o := range outcomes {
		m.entries.WithLabelValues(o.Fate.String()).Inc()
	}
}
