package lru_test

import (
	"testing"

	"github.com/pikepole/pikepole/gateway/internal/lru"
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
