package access_test

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func (h *house) signingKeys() map[string]*accessv1.SigningKey {
	h.Helper()
	res, err := h.client.ListSigningKeys(h.Context(), &accessv1.ListSigningKeysRequest{})
	if err != nil {
		h.Fatal(err)
	}
	keys := map[string]*accessv1.SigningKey{}
	for _, k := range res.GetKeys() {
		keys[k.GetKeyId()] = k
	}
	return keys
}

// TestSigningKeysRotate lives through a day and a night.
func TestSigningKeysRotate(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, _, _ := openHouse(t, url)
		key := h.key(ours, h.person(ours, "Pia Collar", identity.Viewer))
		first := h.signingKeys()
		if len(first) != 1 {
			t.Fatalf("%d keys at the start, want 1", len(first))
		}
		h.clock.pass(23*time.Hour + 30*time.Minute)
		h.as(key)
		shown := h.signingKeys()
		if len(shown) != 2 {
			t.Fatalf("%d keys half an hour before the change, want 2", len(shown))
		}
		var next *accessv1.SigningKey
		for id, k := range shown {
			if first[id] == nil {
				next = k
			}
		}
		if notice := next.GetStartTime().AsTime().Sub(h.clock.Now()); notice < 10*time.Minute {
			t.Errorf("the next key is shown %s before it signs, want at least 10 minutes", notice)
		}
		if len(next.GetPublicKey()) != 32 {
			t.Errorf("public key of %d bytes, want 32", len(next.GetPublicKey()))
		}
		h.clock.pass(next.GetStartTime().AsTime().Sub(h.clock.Now()) - time.Second)
		last := h.as(key) // the last token of the first key
		h.clock.pass(4 * time.Minute)
		h.me(last)
		h.as(key)
		if got := slices.Sorted(maps.Keys(h.signingKeys())); len(got) != 2 {
			t.Errorf("while tokens of the first key live: %v, want both keys", got)
		}
		h.clock.pass(2 * time.Minute)
		_, err := h.client.GetCaller(last, &accessv1.GetCallerRequest{})
		wantFault(t, "after its life", err, codes.Unauthenticated, fault.ReasonToken)
		h.clock.pass(time.Minute)
		if got := h.signingKeys(); len(got) != 1 || got[next.GetKeyId()] == nil {
			t.Errorf("after the last token of the first key ended: %v, want only the next", got)
		}
		h.clock.pass(3 * 24 * time.Hour) // nobody calls for days
		h.me(h.as(key))
		h.clock.pass(time.Hour)
		h.me(h.as(key))
	})
}

// TestSigningGoesOn breaks the store when the next key is due: the key at hand signs on.
func TestSigningGoesOn(t *testing.T) {
	t.Parallel()
	var broken atomic.Bool
	db := openStore(t, storetest.SQLite(t), func(op string) error {
		if op == "write" && broken.Load() {
			return errors.New("the disk is full")
		}
		return nil
	})
	h := startHouse(t, db, newClock())
	if err := h.service.CreateCompany(t.Context(), ours, "Alder Frames"); err != nil {
		t.Fatal(err)
	}
	key := h.key(ours, h.person(ours, "Ada Quill", identity.Admin))
	h.me(h.as(key))
	broken.Store(true)
	for range 3 {
		h.clock.pass(23 * time.Hour)
		h.me(h.as(key))
	}
	broken.Store(false)
	h.clock.pass(time.Minute)
	h.me(h.as(key))
	if n := len(h.signingKeys()); n != 2 {
		t.Errorf("%d keys are shown after the store came back, want 2", n)
	}
}

// TestInstancesAgree runs several instances on one store: they sign with one key, and each accepts what the others signed.
func TestInstancesAgree(t *testing.T) {
	t.Parallel()
	url := storetest.Postgres(t)
	c := newClock()
	var houses []*house
	for range 4 {
		houses = append(houses, startHouse(t, openStore(t, url, nil), c))
	}
	if err := houses[0].service.CreateCompany(t.Context(), ours, "Alder Frames"); err != nil {
		t.Fatal(err)
	}
	key := houses[1].key(ours, houses[2].person(ours, "Quin Dowel", identity.Lead))
	for day := range 3 {
		var all sync.WaitGroup
		tokens := make([]context.Context, len(houses))
		for i, h := range houses {
			all.Go(func() {
				token, err := h.client.ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: key})
				if err != nil {
					t.Errorf("exchange: %v", err)
					return
				}
				tokens[i] = identity.WithToken(t.Context(), token.GetAccessToken())
			})
		}
		all.Wait()
		if t.Failed() {
			return
		}
		for _, h := range houses {
			for _, ctx := range tokens {
				h.me(ctx)
			}
		}
		want := slices.Sorted(maps.Keys(houses[0].signingKeys()))
		if len(want) > 2 {
			t.Errorf("day %d: %d keys", day, len(want))
		}
		for _, h := range houses[1:] {
			if got := slices.Sorted(maps.Keys(h.signingKeys())); !slices.Equal(got, want) {
				t.Errorf("day %d: keys %v on one instance, %v on another", day, want, got)
			}
		}
		c.pass(23*time.Hour + 55*time.Minute)
	}
	// A link is good once, whichever instance is asked.
	code, err := houses[0].service.CreateSignInLinkIn(t.Context(), ours, houses[0].me(houses[0].as(key)))
	if err != nil {
		t.Fatal(err)
	}
	won := make([]bool, len(houses))
	var all sync.WaitGroup
	for i, h := range houses {
		all.Go(func() {
			_, err := h.client.RedeemSignInLink(t.Context(), &accessv1.RedeemSignInLinkRequest{Code: code})
			won[i] = err == nil
			if err != nil {
				wantFault(t, "the others", err, codes.Unauthenticated, access.ReasonRefused)
			}
		})
	}
	all.Wait()
	n := 0
	for _, w := range won {
		if w {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d instances redeemed one link, want 1", n)
	}
}

// TestClockSetBack starts an instance whose clock is behind that of the one that made the first key: as on a machine that
// boots with a clock that is wrong, which is then put right.
func TestClockSetBack(t *testing.T) {
	t.Parallel()
	h, _, _ := openHouse(t, storetest.SQLite(t))
	key := h.key(ours, h.person(ours, "Pia Collar", identity.Viewer))
	h.as(key)
	slow := newClock()
	slow.pass(-3 * time.Hour)
	later := startHouse(t, h.db, slow)
	later.me(later.as(key))
	slow.pass(time.Minute)
	later.me(later.as(key))
}
