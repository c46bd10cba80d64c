package lru_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/platform/lru"
)

func TestCacheForgetsTheLeastRecentlyUsed(t *testing.T) {
	t.Parallel()
	cache := lru.New[string, int](2)
	cache.Put("a", 1)
	cache.Put("b", 2)
	cache.Get("a")
	cache.Put("c", 3)
	if _, ok := cache.Get("b"); ok {
		t.Error("b was used least recently and is still held")
	}
	if got := cache.GetOrPut("a", func() int { return 9 }); got != 1 {
		t.Errorf("a = %d, want the value that was put first", got)
	}
	cache.Delete("c")
	if got := cache.Len(); got != 1 {
		t.Errorf("length = %d, want 1", got)
	}
}

func TestCacheForgetsByWeight(t *testing.T) {
	t.Parallel()
	cache := lru.NewWeighted[string](10, func(v int) int { return v })
	cache.Add("a", 4)
	cache.Add("b", 4)
	cache.Add("a", 9) // there is one, and this is no use of it
	cache.Add("c", 2)
	if cache.Weight() != 10 || cache.Len() != 3 {
		t.Fatalf("%d values weigh %d, want 3 and 10", cache.Len(), cache.Weight())
	}
	cache.Add("d", 3)
	if _, ok := cache.Get("a"); ok || cache.Weight() != 9 {
		t.Errorf("a is still held: %t; all weigh %d, want 9", ok, cache.Weight())
	}
	cache.Put("b", 1)
	if got := cache.Weight(); got != 6 {
		t.Errorf("with a lighter b all weigh %d, want 6", got)
	}
	cache.Put("e", 99)
	if got, ok := cache.Get("e"); !ok || got != 99 || cache.Len() != 1 {
		t.Errorf("e is held: %t, beside %d others", ok, cache.Len()-1)
	}
}
