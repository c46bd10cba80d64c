package compute_test

import (
	"context"
	"errors"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/compute"
	"github.com/pikepole/pikepole/services/platform/fault"
)

func pool(cores, queue int) *compute.Pool { return compute.NewPool(cores, queue, nil) }
func cache(entries int) *compute.Cache    { return compute.NewCache("test", entries, nil) }

// slow is a computation that takes a second and counts its runs.
func slow(runs *atomic.Int64) func(context.Context) (int64, error) {
	return func(ctx context.Context) (int64, error) {
		n := runs.Add(1)
		select {
		case <-time.After(time.Second):
			return n, nil
		case <-ctx.Done():
			return 0, ctx.Err()
		}
	}
}

func TestAnswersAreKept(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p, c := pool(1, 0), cache(2)
		var runs atomic.Int64
		ask := func(key string, want int64) {
			t.Helper()
			if got, err := compute.Do(t.Context(), p, c, key, slow(&runs)); got != want || err != nil {
				t.Errorf("%s is %d, %v, want %d", key, got, err, want)
			}
		}
		ask("a", 1)
		ask("a", 1)
		ask("b", 2)
		ask("a", 1) // used again, so b is the oldest
		ask("c", 3)
		ask("a", 1)
		ask("b", 4)
	})
}

func TestOneComputationForAllWhoWait(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p, c := pool(2, 0), cache(2)
		var runs atomic.Int64
		var wait sync.WaitGroup
		for range 50 {
			wait.Go(func() {
				if got, err := compute.Do(t.Context(), p, c, "a", slow(&runs)); got != 1 || err != nil {
					t.Errorf("got %d, %v", got, err)
				}
			})
		}
		wait.Wait()
		if runs.Load() != 1 {
			t.Errorf("it ran %d times", runs.Load())
		}
	})
}

func TestItEndsWhenTheLastWaiterLeaves(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p, c := pool(1, 0), cache(2)
		var ended atomic.Bool
		endless := func(ctx context.Context) (int, error) {
			<-ctx.Done()
			ended.Store(true)
			return 7, nil // an answer all the same, but nobody's
		}
		first, leaveFirst := context.WithCancel(t.Context())
		second, leaveSecond := context.WithCancel(t.Context())
		var wait sync.WaitGroup
		for _, ctx := range []context.Context{first, second} {
			wait.Go(func() {
				if _, err := compute.Do(ctx, p, c, "a", endless); !errors.Is(err, context.Canceled) {
					t.Errorf("got %v", err)
				}
			})
		}
		synctest.Wait()
		leaveFirst()
		synctest.Wait()
		if ended.Load() {
			t.Error("it ended although one still waits")
		}
		leaveSecond()
		wait.Wait()
		synctest.Wait()
		if !ended.Load() {
			t.Error("it goes on for nobody")
		}
		// What nobody waited for is not kept, and the slot is free.
		got, err := compute.Do(t.Context(), p, c, "a", func(context.Context) (int, error) { return 1, nil })
		if got != 1 || err != nil {
			t.Errorf("got %d, %v", got, err)
		}
	})
}

func TestALateDeadlineIsNotCutByAnEarlyOne(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p, c := pool(1, 0), cache(2)
		var runs atomic.Int64
		early, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
		defer cancel()
		var wait sync.WaitGroup
		wait.Go(func() {
			if _, err := compute.Do(early, p, c, "a", slow(&runs)); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("got %v", err)
			}
		})
		synctest.Wait()
		if got, err := compute.Do(t.Context(), p, c, "a", slow(&runs)); got != 1 || err != nil {
			t.Errorf("got %d, %v", got, err)
		}
		wait.Wait()
	})
}

func TestAnswersCutByAClockAreNotKept(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		fn   func(context.Context) (int, error)
		kept bool
	}{
		{"whole", func(context.Context) (int, error) { return 0, nil }, true},
		{"error", func(context.Context) (int, error) { return 0, errors.New("no") }, false},
		{"says so itself", func(ctx context.Context) (int, error) { compute.Uncached(ctx); return 0, nil }, false},
		{"clock ran out", func(ctx context.Context) (int, error) {
			ctx, cancel := compute.Within(ctx, time.Second)
			defer cancel()
			<-ctx.Done()
			return 0, nil
		}, false},
		{"clock did not run out", func(ctx context.Context) (int, error) {
			_, cancel := compute.Within(ctx, time.Second)
			cancel()
			return 0, nil
		}, true},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				p, k := pool(1, 0), cache(2)
				runs := 0
				for range 2 {
					_, _ = compute.Do(t.Context(), p, k, "a", func(ctx context.Context) (int, error) {
						runs++
						return c.fn(ctx)
					})
				}
				if (runs == 1) != c.kept {
					t.Errorf("it ran %d times", runs)
				}
			})
		})
	}
	// Outside of a kept computation both are harmless.
	compute.Uncached(t.Context())
	_, cancel := compute.Within(t.Context(), time.Hour)
	cancel()
}

func TestFullQueueIsRefusedWithADelay(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		registry := prometheus.NewPedanticRegistry()
		p, c := compute.NewPool(2, 1, registry), compute.NewCache("plan", 10, registry)
		var runs atomic.Int64
		long := func(ctx context.Context) (int64, error) {
			time.Sleep(9 * time.Second)
			return slow(&runs)(ctx)
		}
		if _, err := compute.Do(t.Context(), p, c, "warm", long); err != nil { // a computation takes 10 s
			t.Fatal(err)
		}
		var wait sync.WaitGroup
		for _, key := range []string{"a", "b", "c"} {
			wait.Go(func() {
				if _, err := compute.Do(t.Context(), p, c, key, long); err != nil {
					t.Errorf("%s: %v", key, err)
				}
			})
		}
		synctest.Wait()
		_, err := compute.Do(t.Context(), p, c, "d", long)
		f, ok := fault.Of(err)
		if !ok || f.Kind != fault.Exhausted || f.Reason != fault.ReasonBusy || f.RetryAfter != 10*time.Second {
			t.Errorf("got %+v", err)
		}
		wait.Wait()
		metrics := `
			# HELP pikepole_compute_refused_total Computations refused since the queue was full.
			# TYPE pikepole_compute_refused_total counter
			pikepole_compute_refused_total 1
			# HELP pikepole_compute_queued Computations that wait for a slot.
			# TYPE pikepole_compute_queued gauge
			pikepole_compute_queued 0
			# HELP pikepole_compute_running Computations that hold a slot.
			# TYPE pikepole_compute_running gauge
			pikepole_compute_running 0
			# HELP pikepole_compute_slots Computations admitted at once.
			# TYPE pikepole_compute_slots gauge
			pikepole_compute_slots 2
			# HELP pikepole_compute_cache_entries Answers kept.
			# TYPE pikepole_compute_cache_entries gauge
			pikepole_compute_cache_entries{cache="plan"} 4
		`
		err = testutil.GatherAndCompare(registry, strings.NewReader(metrics), "pikepole_compute_refused_total",
			"pikepole_compute_queued", "pikepole_compute_running", "pikepole_compute_slots", "pikepole_compute_cache_entries")
		if err != nil {
			t.Error(err)
		}
		problems, err := testutil.GatherAndLint(registry)
		if err != nil || len(problems) > 0 {
			t.Errorf("promlint: %v, %v", problems, err)
		}
	})
}

func TestOneWhoWaitsInTheQueueMayLeave(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		p := pool(1, 1)
		var runs atomic.Int64
		var wait sync.WaitGroup
		wait.Go(func() {
			if _, err := compute.Do(t.Context(), p, nil, "", slow(&runs)); err != nil {
				t.Error(err)
			}
		})
		synctest.Wait()
		for range 3 { // its place is free again each time
			ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
			if _, err := compute.Do(ctx, p, nil, "", slow(&runs)); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("got %v", err)
			}
			cancel()
		}
		wait.Wait()
		gone, cancel := context.WithCancel(t.Context())
		cancel()
		for _, c := range []*compute.Cache{nil, cache(1)} {
			if _, err := compute.Do(gone, p, c, "k", slow(&runs)); !errors.Is(err, context.Canceled) {
				t.Errorf("got %v", err)
			}
		}
		if runs.Load() != 1 {
			t.Errorf("%d ran", runs.Load())
		}
	})
}

func TestPanicReachesAllWhoWait(t *testing.T) {
	t.Parallel()
	p, c := pool(1, 0), cache(2)
	cause := errors.New("ouch")
	var release sync.WaitGroup
	release.Add(1)
	var wait sync.WaitGroup
	for range 3 {
		wait.Go(func() {
			defer func() {
				got, ok := recover().(*compute.Panic)
				if !ok || !errors.Is(got, cause) || !strings.Contains(got.Error(), "compute_test") {
					t.Errorf("recovered %v", got)
				}
			}()
			_, _ = compute.Do(t.Context(), p, c, "a", func(context.Context) (int, error) {
				release.Wait()
				panic(cause)
			})
		})
	}
	release.Done()
	wait.Wait()
	if got, err := compute.Do(t.Context(), p, c, "a", func(context.Context) (int, error) { return 1, nil }); got != 1 || err != nil {
		t.Errorf("afterwards: %d, %v", got, err)
	}
	if (&compute.Panic{Value: 1}).Unwrap() != nil {
		t.Error("a number is no error")
	}
}

func TestGoexitDoesNotStrandAnybody(t *testing.T) {
	t.Parallel()
	p, c := pool(1, 0), cache(2)
	_, err := compute.Do(t.Context(), p, c, "a", func(context.Context) (int, error) {
		runtime.Goexit()
		return 0, nil
	})
	if err == nil {
		t.Error("no answer was taken for one")
	}
}

func TestAnswerOfAnotherTypeIsAnError(t *testing.T) {
	t.Parallel()
	p, c := pool(1, 0), cache(2)
	if _, err := compute.Do(t.Context(), p, c, "a", func(context.Context) (int, error) { return 1, nil }); err != nil {
		t.Fatal(err)
	}
	if _, err := compute.Do(t.Context(), p, c, "a", func(context.Context) (string, error) { return "", nil }); err == nil {
		t.Error("a number was given for a text")
	}
}

func TestKey(t *testing.T) {
	t.Parallel()
	person := &accessv1.Person{Name: "a"}
	keys := []string{
		compute.Key(), compute.Key("a"), compute.Key("a", "b"), compute.Key("ab"), compute.Key([]byte("a")), compute.Key(1),
		compute.Key("1"), compute.Key(1.5, nil), compute.Key(person), compute.Key(&accessv1.Caller{Company: "a"}),
		compute.Key(struct{ A int }{1}),
	}
	seen := map[string]int{}
	for i, k := range keys {
		if j, twice := seen[k]; twice {
			t.Errorf("keys %d and %d are the same", i, j)
		}
		seen[k] = i
	}
	if compute.Key("a", person) != compute.Key("a", &accessv1.Person{Name: "a"}) {
		t.Error("the same inputs give two keys")
	}
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	compute.Key(func() {})
}

func BenchmarkHit(b *testing.B) {
	p, c := pool(1, 0), cache(2)
	fn := func(context.Context) (int, error) { return 1, nil }
	b.ReportAllocs()
	for b.Loop() {
		if _, err := compute.Do(b.Context(), p, c, "a", fn); err != nil {
			b.Fatal(err)
		}
	}
}
