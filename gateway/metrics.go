package gateway

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics are the gateway's metrics. Routes are templates, so that their number is bounded.
type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	limited  prometheus.Counter
	streams  prometheus.Gauge
	events   prometheus.Counter
}

func newMetrics(registry prometheus.Registerer) (*metrics, error) {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "pikepole_gateway_requests_total",
			Help: "HTTP requests by route, method and status.",
		}, []string{"route", "method", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "pikepole_gateway_request_duration_seconds",
			Help:    "Time to answer an HTTP request, by route and method; live streams are left out.",
			Buckets: []float64{.002, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30},
		}, []string{"route", "method"}),
		limited: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "pikepole_gateway_rate_limited_total",
			Help: "HTTP requests held back because their address asked too often.",
		}),
		streams: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "pikepole_gateway_streams",
			Help: "Live streams that are open.",
		}),
		events: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "pikepole_gateway_stream_events_total",
			Help: "Entries sent over live streams.",
		}),
	}
	if registry == nil {
		return m, nil
	}
	for _, c := range []prometheus.Collector{m.requests, m.seconds, m.limited, m.streams, m.events} {
		if err := registry.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// StreamBegan counts a live stream in.
func (m *metrics) StreamBegan() { m.streams.Inc() }

// StreamEnded counts a live stream out.
func (m *metrics) StreamEnded() { m.streams.Dec() }

// EventSent counts an entry that was sent.
func (m *metrics) EventSent() { m.events.Inc() }

// answered counts a request. Methods that nobody knows are counted together.
func (m *metrics) answered(route, method string, status int, took time.Duration, streamed bool) {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
	default:
		method = "other"
	}
	m.requests.WithLabelValues(route, method, strconv.Itoa(status)).Inc()
	if !streamed {
		m.seconds.WithLabelValues(route, method).Observe(took.Seconds())
	}
}
