package compute

import (
	"container/list"
	"context"
	"errors"
	"sync"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"
)

// Cache keeps the answers used last, and knows which computations are under way.
type Cache struct {
	entries int

	mu      sync.Mutex
	order   *list.List // of *entry, newest use first
	kept    map[string]*list.Element
	flights map[string]*flight

	hits, misses, joins, evictions prometheus.Counter
	size                           prometheus.Gauge
}

type entry struct {
	key    string
	answer any
}

// NewCache makes a cache of at most entries answers (at least 1). name is its label in the
// metrics; reg may be nil.
func NewCache(name string, entries int, reg prometheus.Registerer) *Cache {
	labels := prometheus.Labels{"cache": name}
	counter := func(metric, help string) prometheus.Counter {
		return prometheus.NewCounter(prometheus.CounterOpts{Name: metric, Help: help, ConstLabels: labels})
	}
	c := &Cache{
		entries: max(entries, 1), order: list.New(), kept: map[string]*list.Element{}, flights: map[string]*flight{},
		hits:      counter("pikepole_compute_cache_hits_total", "Answers given from the cache."),
		misses:    counter("pikepole_compute_cache_misses_total", "Computations started."),
		joins:     counter("pikepole_compute_cache_joins_total", "Callers who joined a computation under way."),
		evictions: counter("pikepole_compute_cache_evictions_total", "Answers dropped to make room."),
		size: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "pikepole_compute_cache_entries", Help: "Answers kept.", ConstLabels: labels,
		}),
	}
	if reg != nil {
		reg.MustRegister(c.hits, c.misses, c.joins, c.evictions, c.size)
	}
	return c
}

// flight is a computation under way.
type flight struct {
	key     string
	cancel  context.CancelFunc
	waiters int // guarded by the cache's lock
	done    chan struct{}
	spoiled atomic.Bool

	mu     sync.Mutex
	clocks []context.Context // made by Within

	// Written before done is closed.
	answer   any
	err      error
	panicked *Panic
}

func (c *Cache) do(ctx context.Context, p *Pool, key string, fn func(context.Context) (any, error)) (any, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	answer, f := c.lookup(ctx, p, key, fn)
	if f == nil {
		return answer, nil
	}
	select {
	case <-f.done:
		if f.panicked != nil {
			panic(f.panicked)
		}
		return f.answer, f.err
	case <-ctx.Done():
		c.leave(f)
		return nil, ctx.Err()
	}
}

// lookup gives a kept answer, or the flight to wait for.
func (c *Cache) lookup(ctx context.Context, p *Pool, key string, fn func(context.Context) (any, error)) (any, *flight) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if element, ok := c.kept[key]; ok {
		c.hits.Inc()
		c.order.MoveToFront(element)
		return element.Value.(*entry).answer, nil
	}
	if f, ok := c.flights[key]; ok {
		c.joins.Inc()
		f.waiters++
		return nil, f
	}
	c.misses.Inc()
	f := &flight{key: key, waiters: 1, done: make(chan struct{})}
	// It serves all who wait, so only their leaving ends it.
	own, cancel := context.WithCancel(context.WithValue(context.WithoutCancel(ctx), flightKey{}, f))
	f.cancel = cancel
	c.flights[key] = f
	go c.fly(own, p, f, fn)
	return nil, f
}

// leave takes one waiter away. The last one ends the computation, and whoever comes then
// starts another.
func (c *Cache) leave(f *flight) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f.waiters--
	if f.waiters == 0 {
		f.cancel()
		if c.flights[f.key] == f {
			delete(c.flights, f.key)
		}
	}
}

func (c *Cache) fly(ctx context.Context, p *Pool, f *flight, fn func(context.Context) (any, error)) {
	defer f.cancel()
	returned := false
	defer func() {
		if value := recover(); value != nil {
			f.panicked = newPanic(value)
		} else if !returned {
			f.err = errors.New("compute: the computation ended its goroutine")
		}
		c.land(ctx, f)
		close(f.done)
	}()
	f.err = p.Run(ctx, func(ctx context.Context) error {
		var err error
		f.answer, err = fn(ctx)
		return err
	})
	returned = true
}

// land keeps the answer if it may be kept.
func (c *Cache) land(ctx context.Context, f *flight) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.flights[f.key] == f {
		delete(c.flights, f.key)
	}
	if f.err != nil || f.panicked != nil || ctx.Err() != nil || f.cut() {
		return
	}
	c.kept[f.key] = c.order.PushFront(&entry{f.key, f.answer})
	for c.order.Len() > c.entries {
		oldest := c.order.Back()
		c.order.Remove(oldest)
		delete(c.kept, oldest.Value.(*entry).key)
		c.evictions.Inc()
	}
	c.size.Set(float64(c.order.Len()))
}

// cut says whether a clock ended the computation, or it said itself that it was cut short.
func (f *flight) cut() bool {
	if f.spoiled.Load() {
		return true
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, clock := range f.clocks {
		if errors.Is(clock.Err(), context.DeadlineExceeded) {
			return true
		}
	}
	return false
}
