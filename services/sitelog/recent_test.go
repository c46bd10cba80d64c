package sitelog

import (
	"testing"
	"time"
)

func TestRecent(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)
	r := newRecent[int, string](3, time.Minute)
	r.put(1, "one", now)
	if v, ok := r.get(1, now.Add(time.Minute-1)); !ok || v != "one" {
		t.Errorf("within its life: %q, %v", v, ok)
	}
	if v, ok := r.get(1, now.Add(time.Minute)); ok {
		t.Errorf("after its life: %q", v)
	}
	for i := range 10 {
		r.put(i, "x", now)
		if v, ok := r.get(i, now); !ok || v != "x" || len(r.kept) > 3 {
			t.Errorf("%d: %q, %v, %d kept", i, v, ok, len(r.kept))
		}
	}
	r.put(9, "y", now)
	if v, _ := r.get(9, now); v != "y" {
		t.Errorf("put again: %q", v)
	}
}
