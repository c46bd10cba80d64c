package access_test

import (
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// bubble is the service by itself, on a clock that jumps ahead when nothing else is to be done.
type bubble struct {
	*testing.T
	db     *store.DB
	svc    *access.Service
	person string
	key    string
}

func openBubble(t *testing.T, url string, before func(op string) error) *bubble {
	t.Helper()
	b := &bubble{T: t, db: openStore(t, url, before)}
	var err error
	if b.svc, err = access.New(access.Config{DB: b.db}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.svc.Close() })
	if err := b.svc.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := b.svc.CreateCompany(t.Context(), ours, "Alder Frames"); err != nil {
		t.Fatal(err)
	}
	if b.person, err = b.svc.CreatePersonIn(t.Context(), ours, "Uma Lintel", []identity.Role{identity.Admin}); err != nil {
		t.Fatal(err)
	}
	if b.key, err = b.svc.CreateKeyIn(t.Context(), ours, b.person, "gate"); err != nil {
		t.Fatal(err)
	}
	return b
}

// wait lets time pass, and lets the service do what it does meanwhile.
func (b *bubble) wait(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// exchange uses the key and says when.
func (b *bubble) exchange() time.Time {
	b.Helper()
	if _, err := b.svc.ExchangeKey(b.Context(), &accessv1.ExchangeKeyRequest{ApiKey: b.key}); err != nil {
		b.Fatal(err)
	}
	return time.Now()
}

func (b *bubble) wantLastUse(when string, want time.Time) {
	b.Helper()
	keys, err := b.svc.KeysIn(b.Context(), ours)
	if err != nil || len(keys) != 1 {
		b.Fatalf("keys: %v, %v", keys, err)
	}
	if got := keys[0].GetLastUsedTime().AsTime(); got.UnixMicro() != want.UnixMicro() {
		b.Errorf("%s: last use %s, want %s", when, got, want)
	}
}

// TestUsesAreWrittenEveryMinute breaks the store for a while: what was noted meanwhile is written afterwards.
func TestUsesAreWrittenEveryMinute(t *testing.T) {
	t.Parallel()
	url := storetest.SQLite(t)
	synctest.Test(t, func(t *testing.T) {
		var broken atomic.Bool
		b := openBubble(t, url, func(op string) error {
			if op == "write" && broken.Load() {
				return errors.New("the disk is full")
			}
			return nil
		})
		first := b.exchange()
		b.wait(time.Minute)
		b.wantLastUse("a minute after the first use", first)
		broken.Store(true)
		second := b.exchange()
		b.wait(5 * time.Minute)
		b.wantLastUse("while the store is broken", first)
		broken.Store(false)
		b.wait(time.Minute)
		b.wantLastUse("after the store came back", second)
	})
}

func TestWhatHasEndedIsTakenAway(t *testing.T) {
	t.Parallel()
	url := storetest.SQLite(t)
	synctest.Test(t, func(t *testing.T) {
		b := openBubble(t, url, nil)
		if _, err := b.svc.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: b.key}); err != nil {
			t.Fatal(err)
		}
		if _, err := b.svc.CreateSignInLinkIn(t.Context(), ours, b.person); err != nil {
			t.Fatal(err)
		}
		const kept = `SELECT hash FROM session UNION ALL SELECT hash FROM sign_in_link`
		for _, c := range []struct {
			wait time.Duration
			want int
		}{{0, 2}, {2 * time.Hour, 1}, {11*time.Hour + time.Minute, 0}} {
			b.wait(c.wait)
			if n := len(column(t, b.db, kept)); n != c.want {
				t.Errorf("after another %s: %d sessions and links, want %d", c.wait, n, c.want)
			}
		}
	})
}

func TestMetricsAreWellNamed(t *testing.T) {
	t.Parallel()
	registry := prometheus.NewPedanticRegistry()
	svc, err := access.New(access.Config{DB: openStore(t, storetest.SQLite(t), nil), Registry: registry})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = svc.Close() })
	families, err := registry.Gather()
	if err != nil || len(families) != 1 {
		t.Fatalf("%d metrics, %v", len(families), err)
	}
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	if _, err := access.New(access.Config{}); err == nil {
		t.Error("a service without a store is built")
	}
}

// TestSessionInUseIsNotIdle uses a session while its last use is on its way into the store, where it still looks as if
// nobody had used it for hours.
func TestSessionInUseIsNotIdle(t *testing.T) {
	t.Parallel()
	url := storetest.SQLite(t)
	synctest.Test(t, func(t *testing.T) {
		var b *bubble
		var session string
		var asked atomic.Bool
		use := func(when string) {
			if _, err := b.svc.ExchangeSession(t.Context(), &accessv1.ExchangeSessionRequest{Session: session}); err != nil {
				t.Errorf("%s: %v", when, err)
			}
		}
		b = openBubble(t, url, func(op string) error {
			if op == "write" && asked.CompareAndSwap(true, false) {
				use("while it is written down")
			}
			return nil
		})
		begun, err := b.svc.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: b.key})
		if err != nil {
			t.Fatal(err)
		}
		session = begun.GetSession()
		b.wait(2*time.Hour - 30*time.Second)
		use("just before it is idle for too long")
		asked.Store(true)
		b.wait(time.Minute)
		if asked.Load() {
			t.Error("nothing was written down")
		}
		use("afterwards")
	})
}
