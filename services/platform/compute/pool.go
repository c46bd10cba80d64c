package compute

import (
	"context"
	"math"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	minRetry = time.Second
	maxRetry = 30 * time.Second
	// memory is the weight of the newest computation in the mean.
	memory = 0.2
)

// Pool admits as many computations at once as there are cores, and lets some more wait. There
// is one for the process.
type Pool struct {
	slots chan struct{}
	queue int

	mu      sync.Mutex
	waiting int
	mean    float64 // seconds that a computation takes, lately

	running  prometheus.Gauge
	queued   prometheus.Gauge
	refused  prometheus.Counter
	wait     prometheus.Histogram
	duration prometheus.Histogram
}

// NewPool makes a pool that admits cores computations at once (at least 1) and lets queue more
// wait. reg may be nil.
func NewPool(cores, queue int, reg prometheus.Registerer) *Pool {
	buckets := prometheus.ExponentialBuckets(0.001, 3, 10)
	p := &Pool{
		slots: make(chan struct{}, max(cores, 1)), queue: max(queue, 0),
		running: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "pikepole_compute_running", Help: "Computations that hold a slot.",
		}),
		queued: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "pikepole_compute_queued", Help: "Computations that wait for a slot.",
		}),
		refused: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "pikepole_compute_refused_total", Help: "Computations refused since the queue was full.",
		}),
		wait: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "pikepole_compute_wait_seconds", Help: "Time waited for a slot.", Buckets: buckets,
		}),
		duration: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "pikepole_compute_duration_seconds", Help: "Time that a slot was held.", Buckets: buckets,
		}),
	}
	slots := prometheus.NewGauge(prometheus.GaugeOpts{Name: "pikepole_compute_slots", Help: "Computations admitted at once."})
	slots.Set(float64(cap(p.slots)))
	if reg != nil {
		reg.MustRegister(p.running, p.queued, p.refused, p.wait, p.duration, slots)
	}
	return p
}

// Run runs fn in a slot. It waits for one while the queue has room, and gives an Exhausted
// fault with a retry delay when it has not.
func (p *Pool) Run(ctx context.Context, fn func(context.Context) error) error {
	if err := p.enter(ctx); err != nil {
		return err
	}
	start := time.Now()
	p.running.Inc()
	defer func() {
		p.running.Dec()
		p.remember(time.Since(start))
		<-p.slots
	}()
	return fn(ctx)
}

func (p *Pool) enter(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case p.slots <- struct{}{}:
		p.wait.Observe(0)
		return nil
	default:
	}
	if err := p.line(); err != nil {
		return err
	}
	start := time.Now()
	defer func() {
		p.mu.Lock()
		p.waiting--
		p.mu.Unlock()
		p.queued.Dec()
		p.wait.Observe(time.Since(start).Seconds())
	}()
	select {
	case p.slots <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// line takes a place in the queue.
func (p *Pool) line() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.waiting >= p.queue {
		p.refused.Inc()
		return fault.New(fault.Exhausted, fault.ReasonBusy,
			"All cores are busy and the queue is full; try again in a moment.").After(p.retry())
	}
	p.waiting++
	p.queued.Inc()
	return nil
}

// retry is about when the queue will have moved on. The lock is held.
func (p *Pool) retry() time.Duration {
	turns := float64(p.queue+1) / float64(cap(p.slots))
	seconds := math.Ceil(p.mean * turns)
	return min(max(time.Duration(seconds)*time.Second, minRetry), maxRetry)
}

func (p *Pool) remember(took time.Duration) {
	p.duration.Observe(took.Seconds())
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.mean == 0 {
		p.mean = took.Seconds()
		return
	}
	p.mean += memory * (took.Seconds() - p.mean)
}
