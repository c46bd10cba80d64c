package limit_test

import (
	"net/netip"
	"testing"
	"time"

	"github.com/pikepole/pikepole/gateway/internal/limit"
)

func TestLimiter(t *testing.T) {
	t.Parallel()
	now := time.Unix(1_900_000_000, 0)
	limiter := limit.New(1, 2, 100, func() time.Time { return now })
	a, b := netip.MustParseAddr("192.0.2.1"), netip.MustParseAddr("192.0.2.2")
	for i := range 2 {
		if _, ok := limiter.Admit(a, 1); !ok {
			t.Fatalf("request %d of the burst is held back", i+1)
		}
	}
	wait, ok := limiter.Admit(a, 1)
	if ok || wait != time.Second {
		t.Errorf("after the burst: admitted %t, wait %v; want a wait of 1s", ok, wait)
	}
	if _, ok := limiter.Admit(b, 1); !ok {
		t.Error("another address pays for the first")
	}
	now = now.Add(time.Second)
	if _, ok := limiter.Admit(a, 1); !ok {
		t.Error("a second later the address is still held back")
	}
	limiter.Charge(b, 2)
	if wait, ok := limiter.Admit(b, 1); ok || wait <= 0 {
		t.Error("a charge was not taken into account")
	}
}

func TestLimiterCountsALineAsOne(t *testing.T) {
	t.Parallel()
	limiter := limit.New(1, 1, 100, func() time.Time { return time.Unix(1_900_000_000, 0) })
	if _, ok := limiter.Admit(netip.MustParseAddr("2001:db8:1:2::1"), 1); !ok {
		t.Fatal("the first request is held back")
	}
	if _, ok := limiter.Admit(netip.MustParseAddr("2001:db8:1:2:ffff::9"), 1); ok {
		t.Error("another address of the same /64 is not held back")
	}
	if _, ok := limiter.Admit(netip.MustParseAddr("2001:db8:1:3::1"), 1); !ok {
		t.Error("another /64 is held back")
	}
}
