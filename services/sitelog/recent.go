package sitelog

import (
	"sync"
	"time"
)

// recent keeps at most a number of answers for a while. When it is full it lets go of any one of them.
type recent[K comparable, V any] struct {
	most int
	life time.Duration

	mu   sync.Mutex
	kept map[K]dated[V]
}

type dated[V any] struct {
	value V
	until time.Time
}

func newRecent[K comparable, V any](most int, life time.Duration) *recent[K, V] {
	return &recent[K, V]{most: most, life: life, kept: make(map[K]dated[V])}
}

func (r *recent[K, V]) get(key K, now time.Time) (V, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	d, found := r.kept[key]
	if !found || !now.Before(d.until) {
		delete(r.kept, key)
		var none V
		return none, false
	}
	return d.value, true
}

func (r *recent[K, V]) put(key K, value V, now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, found := r.kept[key]; !found && len(r.kept) >= r.most {
		for any := range r.kept {
			delete(r.kept, any)
			break
		}
	}
	r.kept[key] = dated[V]{value: value, until: now.Add(r.life)}
}
