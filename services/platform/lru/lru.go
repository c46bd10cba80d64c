// Package lru is a bounded map that forgets what was used least recently.
package lru

import (
	"container/list"
	"sync"
)

// Cache holds values up to a limit, by their number or by their weight. It is safe for concurrent use.
type Cache[K comparable, V any] struct {
	mu     sync.Mutex
	limit  int
	weigh  func(V) int
	weight int
	order  *list.List // of *item, the one used last in front
	items  map[K]*list.Element
}

type item[K comparable, V any] struct {
	key   K
	value V
}

// New makes a cache for at most limit values; a limit below one holds one.
func New[K comparable, V any](limit int) *Cache[K, V] {
	return NewWeighted[K](max(limit, 1), func(V) int { return 1 })
}

// NewWeighted makes a cache for values that weigh at most limit together. What was put last is held even when it
// alone weighs more. The weight of a value must not change.
func NewWeighted[K comparable, V any](limit int, weigh func(V) int) *Cache[K, V] {
	return &Cache[K, V]{limit: limit, weigh: weigh, order: list.New(), items: map[K]*list.Element{}}
}

// Get gives the value and counts as a use.
func (c *Cache[K, V]) Get(key K) (V, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	element, ok := c.items[key]
	if !ok {
		var none V
		return none, false
	}
	c.order.MoveToFront(element)
	return element.Value.(*item[K, V]).value, true
}

// Put sets the value, forgetting the one that was used least recently when there are too many.
func (c *Cache[K, V]) Put(key K, value V) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.put(key, value)
}

// Add puts a value where there is none; one that is there stays, and this is no use of it.
func (c *Cache[K, V]) Add(key K, value V) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, ok := c.items[key]; !ok {
		c.put(key, value)
	}
}

// GetOrPut gives the value, making it first when there is none.
func (c *Cache[K, V]) GetOrPut(key K, create func() V) V {
	c.mu.Lock()
	defer c.mu.Unlock()
	if element, ok := c.items[key]; ok {
		c.order.MoveToFront(element)
		return element.Value.(*item[K, V]).value
	}
	value := create()
	c.put(key, value)
	return value
}

// Delete forgets a value.
func (c *Cache[K, V]) Delete(key K) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if element, ok := c.items[key]; ok {
		c.drop(element)
	}
}

// Len is the number of values held.
func (c *Cache[K, V]) Len() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.order.Len()
}

// Weight is what the values held weigh together.
func (c *Cache[K, V]) Weight() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.weight
}

func (c *Cache[K, V]) put(key K, value V) {
	if element, ok := c.items[key]; ok {
		c.drop(element)
	}
	c.items[key] = c.order.PushFront(&item[K, V]{key: key, value: value})
	c.weight += c.weigh(value)
	for c.weight > c.limit && c.order.Len() > 1 {
		c.drop(c.order.Back())
	}
}

func (c *Cache[K, V]) drop(element *list.Element) {
	c.order.Remove(element)
	old := element.Value.(*item[K, V])
	delete(c.items, old.key)
	c.weight -= c.weigh(old.value)
}
