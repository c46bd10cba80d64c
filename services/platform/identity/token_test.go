package identity_test

import (
	"context"
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

var noon = time.Date(2031, time.March, 4, 12, 0, 0, 0, time.UTC)

// source is a key source whose keys, failures and calls a test decides and counts.
type source struct {
	mu    sync.Mutex
	keys  []identity.Key
	err   error
	calls int
}

func (s *source) SigningKeys(context.Context) ([]identity.Key, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	return slices.Clone(s.keys), s.err
}

func (s *source) set(err error, keys ...identity.Key) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.keys, s.err = keys, err
}

// pair makes a key that signs from start on for an hour.
func pair(t *testing.T, id string, start time.Time) (ed25519.PrivateKey, identity.Key) {
	t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return private, identity.Key{ID: id, Public: public, Start: start, Expire: start.Add(time.Hour)}
}

func sign(t *testing.T, s *identity.Signer, now time.Time) string {
	t.Helper()
	token, expires, err := s.Sign(ada, now)
	if err != nil {
		t.Fatal(err)
	}
	if want := now.Add(identity.TokenLife).Truncate(time.Second); !expires.Equal(want) {
		t.Errorf("the token ends at %v, want %v", expires, want)
	}
	return token
}

func at(now time.Time) func() time.Time { return func() time.Time { return now } }

func TestTokenSpeaksForItsCaller(t *testing.T) {
	t.Parallel()
	private, key := pair(t, "k-1", noon)
	v := identity.NewVerifier(&source{keys: []identity.Key{key}}, at(noon.Add(time.Minute)))
	got, ends, err := v.VerifyUntil(t.Context(), sign(t, identity.NewSigner("k-1", private), noon))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(ada, got); diff != "" {
		t.Error(diff)
	}
	if !ends.Equal(noon.Add(identity.TokenLife)) {
		t.Errorf("ends at %v", ends)
	}
}

func TestTokensThatAreNotGood(t *testing.T) {
	t.Parallel()
	private, key := pair(t, "k1", noon)
	foreign, _ := pair(t, "k1", noon)
	unshown, _ := pair(t, "k2", noon)
	signer := identity.NewSigner("k1", private)
	good := sign(t, signer, noon)
	parts := strings.Split(good, ".")
	with := func(i int, text string) string {
		changed := slices.Clone(parts)
		changed[i] = text
		return strings.Join(changed, ".")
	}
	flip := func(i int) string {
		raw, err := base64.RawURLEncoding.DecodeString(parts[i])
		if err != nil {
			t.Fatal(err)
		}
		raw[len(raw)/2] ^= 1
		return with(i, base64.RawURLEncoding.EncodeToString(raw))
	}
	// body signs what no signer would, with the right key.
	body := func(changes map[string]any) string {
		claims := map[string]any{"co": "ash", "pe": "p1", "ro": []string{"lead"}, "iat": noon.Unix(), "exp": noon.Add(time.Minute).Unix()}
		maps.Copy(claims, changes)
		text, err := json.Marshal(claims)
		if err != nil {
			t.Fatal(err)
		}
		signed := "v1.k1." + base64.RawURLEncoding.EncodeToString(text)
		return signed + "." + base64.RawURLEncoding.EncodeToString(ed25519.Sign(private, []byte(signed)))
	}
	// An HMAC with the public key as its secret, as confused verifiers of other tokens accept.
	mac := hmac.New(sha256.New, key.Public)
	mac.Write([]byte(strings.Join(parts[:3], ".")))
	hs := base64.RawURLEncoding.EncodeToString(append(mac.Sum(nil), make([]byte, 32)...))
	notJSON := "v1.k1." + base64.RawURLEncoding.EncodeToString([]byte("{"))
	notJSON += "." + base64.RawURLEncoding.EncodeToString(ed25519.Sign(private, []byte(notJSON)))
	cases := []struct {
		name, token string
		after       time.Duration
	}{
		{"expired", good, identity.TokenLife},
		{"signing key expired", sign(t, signer, noon.Add(59*time.Minute)), time.Hour},
		{"before its time", good, -time.Minute},
		{"altered body", flip(2), 0},
		{"altered signature", flip(3), 0},
		{"other version", with(0, "v2"), 0},
		{"no algorithm", with(0, "none"), 0},
		{"no signature", with(3, ""), 0},
		{"HMAC of the public key", with(3, hs), 0},
		{"signed by another key", sign(t, identity.NewSigner("k1", foreign), noon), 0},
		{"unknown key", sign(t, identity.NewSigner("k2", unshown), noon), 0},
		{"bad key id", with(1, "k/1"), 0},
		{"body not base64", with(2, "***"), 0},
		{"body not JSON", notJSON, 0},
		{"too few parts", strings.Join(parts[:3], "."), 0},
		{"empty", "", 0},
		{"huge", good + strings.Repeat("A", 5000), 0},
		{"no company", body(map[string]any{"co": ""}), 0},
		{"no person", body(map[string]any{"pe": ""}), 0},
		{"too long a life", body(map[string]any{"exp": noon.Add(time.Hour).Unix()}), 0},
		{"older than its key", body(map[string]any{"iat": noon.Add(-2 * time.Minute).Unix()}), 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := identity.NewVerifier(&source{keys: []identity.Key{key}}, at(noon.Add(c.after)))
			caller, err := v.Verify(t.Context(), c.token)
			if !fault.Is(err, fault.Unauthenticated) || !fault.HasReason(err, fault.ReasonToken) {
				t.Errorf("got %v, %v", caller, err)
			}
		})
	}
	if _, err := identity.NewVerifier(&source{keys: []identity.Key{key}}, at(noon)).Verify(t.Context(), body(nil)); err != nil {
		t.Errorf("the unchanged body is refused: %v", err)
	}
}

func TestSignRefuses(t *testing.T) {
	t.Parallel()
	private, _ := pair(t, "k", noon)
	s := identity.NewSigner("k", private)
	if s.KeyID() != "k" {
		t.Errorf("key id %q", s.KeyID())
	}
	for _, c := range []identity.Caller{{Person: "p"}, {Company: "c"}, {Company: "c", Person: "p", Roles: []identity.Role{"boss"}}} {
		if token, _, err := s.Sign(c, noon); err == nil {
			t.Errorf("%+v got %s", c, token)
		}
	}
	for _, make := range []func(){
		func() { identity.NewSigner("k", private[:32]) },
		func() { identity.NewSigner("a.b", private) },
		func() { identity.NewSigner("", private) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			make()
		}()
	}
}

func TestVerifierFetchesAnUnknownKeyOncePerPause(t *testing.T) {
	t.Parallel()
	now := noon
	private, first := pair(t, "k1", noon)
	_, second := pair(t, "k2", noon)
	src := &source{}
	src.set(nil, first)
	v := identity.NewVerifier(src, func() time.Time { return now })
	if err := v.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	good := sign(t, identity.NewSigner("k1", private), noon)
	verify := func(token string, want bool, calls int) {
		t.Helper()
		if _, err := v.Verify(t.Context(), token); (err == nil) != want || src.calls != calls {
			t.Errorf("error %v, %d calls, want %d", err, src.calls, calls)
		}
	}
	verify(good, true, 1)
	stranger, _ := pair(t, "k3", noon)
	strange := sign(t, identity.NewSigner("k3", stranger), noon)
	for range 10 {
		verify(strange, false, 1) // the keys were fetched a moment ago
	}
	now = now.Add(6 * time.Second)
	verify(strange, false, 2)
	verify(strange, false, 2)
	// Keys grow old, and are fetched again even when they are known.
	now = now.Add(time.Minute)
	src.set(nil, first, second)
	verify(good, true, 3)
	// A source that fails does not take the kept keys away.
	now = now.Add(time.Minute)
	src.set(errors.New("down"))
	verify(good, true, 4)
	if _, err := v.Verify(t.Context(), strange); !fault.Is(err, fault.Unavailable) {
		t.Errorf("an unknown key while the source is down gave %v", err)
	}
	// A key that is shown no more is not accepted any more.
	now = now.Add(time.Minute)
	src.set(nil, second)
	verify(good, false, 5)
}

// A key is shown before it signs, so a verifier that fetched in between needs no further call.
func TestKeyIsKnownBeforeItSigns(t *testing.T) {
	t.Parallel()
	now := noon
	_, old := pair(t, "old", noon.Add(-30*time.Minute))
	private, next := pair(t, "next", noon.Add(10*time.Second))
	src := &source{keys: []identity.Key{old, next}}
	v := identity.NewVerifier(src, func() time.Time { return now })
	if err := v.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	now = noon.Add(11 * time.Second)
	if _, err := v.Verify(t.Context(), sign(t, identity.NewSigner("next", private), now)); err != nil || src.calls != 1 {
		t.Errorf("error %v after %d calls", err, src.calls)
	}
}

func TestReadyWithoutKeys(t *testing.T) {
	t.Parallel()
	if err := identity.NewVerifier(&source{}, nil).Ready(t.Context()); err == nil {
		t.Error("ready without any key")
	}
	if err := identity.NewVerifier(&source{err: errors.New("down")}, nil).Ready(t.Context()); !fault.Is(err, fault.Unavailable) {
		t.Errorf("got %v", err)
	}
}

func TestVerifierIsSafeForManyAtOnce(t *testing.T) {
	t.Parallel()
	private, key := pair(t, "k1", noon)
	src := &source{keys: []identity.Key{key}}
	v := identity.NewVerifier(src, at(noon))
	token := sign(t, identity.NewSigner("k1", private), noon)
	var wait sync.WaitGroup
	for range 32 {
		wait.Go(func() {
			if _, err := v.Verify(t.Context(), token); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	if src.calls != 1 {
		t.Errorf("the keys were fetched %d times", src.calls)
	}
}

func BenchmarkVerify(b *testing.B) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	v := identity.NewVerifier(&source{keys: []identity.Key{{ID: "k", Public: public, Start: noon, Expire: noon.Add(time.Hour)}}}, at(noon))
	token, _, err := identity.NewSigner("k", private).Sign(ada, noon)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := v.Verify(b.Context(), token); err != nil {
			b.Fatal(err)
		}
	}
}
