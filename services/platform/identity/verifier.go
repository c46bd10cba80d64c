package identity

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	// keysFresh is how long fetched keys are used without asking again. A new key is shown
	// for longer than this before it signs, so a verifier knows it in time.
	keysFresh = time.Minute
	// keysPause is the least time between two fetches, whatever the tokens say.
	keysPause = 5 * time.Second
	// keysTimeout bounds one fetch.
	keysTimeout = 5 * time.Second
)

// Verifier checks tokens with keys that it fetches, keeps, and fetches again when they grow
// old or a token names an unknown one (at most every 5 s). It is safe for concurrent use.
// When the source fails, the kept keys go on being used until each expires.
type Verifier struct {
	source KeySource
	now    func() time.Time

	mu      sync.RWMutex
	keys    map[string]Key
	fetched time.Time // last success
	tried   time.Time // last try
	failure error     // of the last try

	fetching sync.Mutex // held during a fetch
}

// NewVerifier makes a verifier; now is time.Now when nil.
func NewVerifier(source KeySource, now func() time.Time) *Verifier {
	if now == nil {
		now = time.Now
	}
	return &Verifier{source: source, now: now}
}

// Verify gives the caller that the token speaks for. A token that is altered, expired or signed
// by an unknown key is an Unauthenticated fault TOKEN_INVALID; when the keys can not be fetched
// and the token's is not known, it is an Unavailable fault.
func (v *Verifier) Verify(ctx context.Context, token string) (Caller, error) {
	caller, _, err := v.VerifyUntil(ctx, token)
	return caller, err
}

// VerifyUntil is Verify, and says when the token ends.
func (v *Verifier) VerifyUntil(ctx context.Context, token string) (Caller, time.Time, error) {
	p, err := parse(token)
	if err != nil {
		return Caller{}, time.Time{}, refused(err)
	}
	key, err := v.key(ctx, p.keyID)
	if err != nil {
		return Caller{}, time.Time{}, err
	}
	caller, expires, err := p.check(key, v.now())
	if err != nil {
		return Caller{}, time.Time{}, refused(err)
	}
	return caller, expires, nil
}

// Ready says whether any key is known, fetching when not: a check for readiness.
func (v *Verifier) Ready(ctx context.Context) error {
	if v.known() {
		return nil
	}
	if err := v.fetch(ctx, func() bool { return len(v.keys) == 0 }); err != nil {
		return err
	}
	if !v.known() {
		return errors.New("no key to verify tokens with is known yet")
	}
	return nil
}

func (v *Verifier) known() bool {
	v.mu.RLock()
	defer v.mu.RUnlock()
	return len(v.keys) > 0
}

func (v *Verifier) key(ctx context.Context, id string) (Key, error) {
	key, known, old := v.lookup(id)
	if known && !old {
		return key, nil
	}
	// A known key with an old fetch is good whether or not the fetch works.
	failure := v.fetch(ctx, func() bool {
		_, have := v.keys[id]
		return !have || v.now().Sub(v.fetched) >= keysFresh
	})
	if known {
		if fresh, still, _ := v.lookup(id); still {
			return fresh, nil
		}
		return Key{}, refused(fmt.Errorf("key %s was withdrawn", id))
	}
	if key, known, _ = v.lookup(id); known {
		return key, nil
	}
	if failure != nil {
		return Key{}, failure
	}
	return Key{}, refused(fmt.Errorf("key %s is unknown", id))
}

func (v *Verifier) lookup(id string) (key Key, known, old bool) {
	v.mu.RLock()
	defer v.mu.RUnlock()
	key, known = v.keys[id]
	return key, known, v.now().Sub(v.fetched) >= keysFresh
}

// fetch asks the source, unless another call has just done so; needed is asked under the lock.
func (v *Verifier) fetch(ctx context.Context, needed func() bool) error {
	v.fetching.Lock()
	defer v.fetching.Unlock()
	v.mu.RLock()
	need, pause, failure := needed(), v.now().Sub(v.tried) < keysPause && !v.tried.IsZero(), v.failure
	v.mu.RUnlock()
	if !need || pause {
		return failure
	}
	// The keys serve all callers, so one who leaves must not end the fetch for the rest.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), keysTimeout)
	defer cancel()
	list, err := v.source.SigningKeys(ctx)
	v.mu.Lock()
	defer v.mu.Unlock()
	v.tried, v.failure = v.now(), nil
	if err != nil {
		v.failure = fault.New(fault.Unavailable, fault.ReasonUpstream,
			"The keys that tokens are verified with can not be fetched; try again in a moment.").Wrap(err).After(keysPause)
		return v.failure
	}
	v.fetched = v.tried
	v.keys = make(map[string]Key, len(list))
	for _, k := range list {
		v.keys[k.ID] = k
	}
	return nil
}
