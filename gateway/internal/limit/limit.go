// Package limit holds back addresses that ask too often.
package limit

import (
	"net/netip"
	"time"

	"golang.org/x/time/rate"

	"github.com/pikepole/pikepole/services/platform/lru"
)

// ipv6Site is the part of an IPv6 address that one customer line gets; the rest is theirs to vary.
const ipv6Site = 64

// Limiter is a token bucket for each address. It is safe for concurrent use.
type Limiter struct {
	buckets *lru.Cache[netip.Prefix, *rate.Limiter]
	rate    rate.Limit
	burst   int
	now     func() time.Time
}

// New makes a limiter that admits perSecond requests from an address in the long run and burst at
// once, and remembers so many addresses.
func New(perSecond float64, burst, addresses int, now func() time.Time) *Limiter {
	return &Limiter{
		buckets: lru.New[netip.Prefix, *rate.Limiter](addresses),
		rate:    rate.Limit(perSecond),
		burst:   burst,
		now:     now,
	}
}

// Admit takes cost tokens of the address. When it has not so many, nothing is taken and the wait
// until it has is given.
func (l *Limiter) Admit(address netip.Addr, cost int) (wait time.Duration, ok bool) {
	now := l.now()
	reservation := l.bucket(address).ReserveN(now, min(cost, l.burst))
	if wait = reservation.DelayFrom(now); wait > 0 {
		reservation.CancelAt(now)
		return wait, false
	}
	return 0, true
}

// Charge takes cost tokens of the address, into debt where need be: what it did was worth more
// than the request that it did it with.
func (l *Limiter) Charge(address netip.Addr, cost int) {
	l.bucket(address).ReserveN(l.now(), min(cost, l.burst))
}

func (l *Limiter) bucket(address netip.Addr) *rate.Limiter {
	return l.buckets.GetOrPut(site(address), func() *rate.Limiter { return rate.NewLimiter(l.rate, l.burst) })
}

func site(address netip.Addr) netip.Prefix {
	address = address.Unmap().WithZone("")
	bits := address.BitLen()
	if address.Is6() {
		bits = ipv6Site
	}
	prefix, err := address.Prefix(bits)
	if err != nil {
		// Only an address that is none at all has no prefix; all those share one bucket.
		return netip.Prefix{}
	}
	return prefix
}
