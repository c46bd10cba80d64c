package access

import "github.com/prometheus/client_golang/prometheus"

// metrics counts what secrets were shown and whether they were accepted. It is nil-safe: without a registry it counts
// for nobody.
type metrics struct {
	exchanges *prometheus.CounterVec
}

func newMetrics(registry prometheus.Registerer) (*metrics, error) {
	m := &metrics{exchanges: prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "pikepole_access_exchanges_total",
		Help: "Keys, sessions and one-time codes that were shown, by kind and by whether they were accepted.",
	}, []string{"credential", "outcome"})}
	for _, credential := range []string{shownKey, shownSession, shownCode} {
		for _, outcome := range []string{"accepted", "refused"} {
			m.exchanges.WithLabelValues(credential, outcome)
		}
	}
	if registry == nil {
		return m, nil
	}
	return m, registry.Register(m.exchanges)
}

func (m *metrics) count(credential string, accepted bool) {
	outcome := "refused"
	if accepted {
		outcome = "accepted"
	}
	m.exchanges.WithLabelValues(credential, outcome).Inc()
}
