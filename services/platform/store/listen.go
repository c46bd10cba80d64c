package store

import (
	"context"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"go.uber.org/zap"
)

// Listener is woken when there may be something new under its topic.
type Listener struct {
	hub   *hub
	topic string
	wake  chan struct{}
}

// C has a value after each commit that notified the topic, and after each poll interval.
// Wake-ups that are not taken are merged into one.
func (l *Listener) C() <-chan struct{} { return l.wake }

// Close ends the listener. It may be called again.
func (l *Listener) Close() { l.hub.drop(l) }

// poke leaves a wake-up unless one is waiting.
func (l *Listener) poke() {
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

// hub wakes the listeners of one store.
type hub struct {
	poll time.Duration

	mu        sync.Mutex
	listeners map[string]map[*Listener]bool
	stop      chan struct{} // of the ticking goroutine; nil while none runs
	closed    bool
}

func newHub(poll time.Duration) *hub {
	return &hub{poll: poll, listeners: map[string]map[*Listener]bool{}}
}

func (h *hub) listen(topic string) *Listener {
	l := &Listener{hub: h, topic: topic, wake: make(chan struct{}, 1)}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return l
	}
	if h.listeners[topic] == nil {
		h.listeners[topic] = map[*Listener]bool{}
	}
	h.listeners[topic][l] = true
	if h.stop == nil {
		h.stop = make(chan struct{})
		go h.tick(h.stop)
	}
	return l
}

func (h *hub) drop(l *Listener) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.listeners[l.topic], l)
	if len(h.listeners[l.topic]) == 0 {
		delete(h.listeners, l.topic)
	}
	if len(h.listeners) == 0 {
		h.quiet()
	}
}

// quiet ends the ticking. The lock is held.
func (h *hub) quiet() {
	if h.stop != nil {
		close(h.stop)
		h.stop = nil
	}
}

func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	h.listeners = map[string]map[*Listener]bool{}
	h.quiet()
}

func (h *hub) tick(stop <-chan struct{}) {
	ticker := time.NewTicker(h.poll)
	defer ticker.Stop()
	for {
		select {
		case <-ticker.C:
			h.wakeAll()
		case <-stop:
			return
		}
	}
}

func (h *hub) wake(topic string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for l := range h.listeners[topic] {
		l.poke()
	}
}

func (h *hub) wakeAll() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, set := range h.listeners {
		for l := range set {
			l.poke()
		}
	}
}

const (
	earPauseMin = 250 * time.Millisecond
	earPauseMax = 5 * time.Second
)

// Ear hears, over one connection to PostgreSQL, what other processes notify, for any number of
// stores in the same database. What it misses while the connection is down, polling finds.
type Ear struct {
	url    string
	logger *zap.Logger

	mu     sync.Mutex
	hubs   map[string]map[*hub]bool // by schema
	cancel context.CancelFunc       // nil until the first listener
	done   chan struct{}
	closed bool
}

// NewEar makes an ear; it connects when the first listener comes. logger may be nil.
func NewEar(url string, logger *zap.Logger) *Ear {
	if logger == nil {
		logger = zap.NewNop()
	}
	return &Ear{url: url, logger: logger, hubs: map[string]map[*hub]bool{}, done: make(chan struct{})}
}

// Close ends the connection.
func (e *Ear) Close() {
	e.mu.Lock()
	running := e.cancel != nil
	if running {
		e.cancel()
	}
	e.closed = true
	e.mu.Unlock()
	if running {
		<-e.done
	}
}

func (e *Ear) add(schema string, h *hub) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.hubs[schema] == nil {
		e.hubs[schema] = map[*hub]bool{}
	}
	e.hubs[schema][h] = true
}

func (e *Ear) remove(schema string, h *hub) {
	e.mu.Lock()
	defer e.mu.Unlock()
	delete(e.hubs[schema], h)
}

func (e *Ear) start() {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.cancel != nil || e.closed {
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	e.cancel = cancel
	go e.run(ctx)
}

func (e *Ear) run(ctx context.Context) {
	defer close(e.done)
	for pause := earPauseMin; ; pause = min(2*pause, earPauseMax) {
		heard, err := e.hear(ctx)
		if ctx.Err() != nil {
			return
		}
		e.logger.Warn("the connection that listens for changes was lost; polling goes on", zap.Error(err))
		if heard {
			pause = earPauseMin
		}
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
	}
}

// hear listens until the connection breaks, and says whether there was one.
func (e *Ear) hear(ctx context.Context) (bool, error) {
	conn, err := pgx.Connect(ctx, e.url)
	if err != nil {
		return false, err
	}
	defer func() {
		bye, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = conn.Close(bye)
	}()
	if _, err := conn.Exec(ctx, "LISTEN "+notifyChannel); err != nil {
		return false, err
	}
	// Something may have been notified before.
	e.each("", (*hub).wakeAll)
	for {
		n, err := conn.WaitForNotification(ctx)
		if err != nil {
			return true, err
		}
		schema, topic, _ := strings.Cut(n.Payload, "/")
		e.each(schema, func(h *hub) { h.wake(topic) })
	}
}

// each calls f for the hubs of a schema, or for all.
func (e *Ear) each(schema string, f func(*hub)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for name, set := range e.hubs {
		if schema != "" && schema != name {
			continue
		}
		for h := range set {
			f(h)
		}
	}
}
