package access_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/testing/protocmp"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestKeyBecomesToken(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, _, _ := openHouse(t, url)
		lead := h.person(ours, "Cy Mortlake", identity.Lead, identity.Field)
		token, err := h.client.ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: h.key(ours, lead)})
		if err != nil {
			t.Fatal(err)
		}
		want := &accessv1.Caller{
			Company: ours, CompanyName: "Alder Frames", Person: lead, PersonName: "Cy Mortlake",
			Roles: []accessv1.Role{accessv1.Role_ROLE_LEAD, accessv1.Role_ROLE_FIELD},
		}
		if diff := cmp.Diff(want, token.GetCaller(), protocmp.Transform()); diff != "" {
			t.Errorf("caller of the token (-want +got):\n%s", diff)
		}
		if life := token.GetExpireTime().AsTime().Sub(h.clock.Now()); life <= 4*time.Minute || life > 5*time.Minute {
			t.Errorf("token lives %s, want five minutes", life)
		}
		ctx := identity.WithToken(t.Context(), token.GetAccessToken())
		caller, err := h.client.GetCaller(ctx, &accessv1.GetCallerRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, caller, protocmp.Transform()); diff != "" {
			t.Errorf("GetCaller (-want +got):\n%s", diff)
		}
		h.clock.pass(5*time.Minute + time.Second)
		_, err = h.client.GetCaller(ctx, &accessv1.GetCallerRequest{})
		wantFault(t, "a token past its life", err, codes.Unauthenticated, fault.ReasonToken)
	})
}

// TestRefusalsAreAlike shows every kind of bad secret and wants one and the same answer.
func TestRefusalsAreAlike(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		person := h.person(ours, "Dee Rasp", identity.Field)
		good := h.key(ours, person)
		revoked := h.key(ours, person)
		if err := h.service.RevokeKey(t.Context(), ours, strings.Split(revoked, "_")[1]); err != nil {
			t.Fatal(err)
		}
		gone := h.person(ours, "Eli Sill", identity.Field)
		disabled := h.key(ours, gone)
		disabledSession, err := h.client.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: disabled})
		if err != nil {
			t.Fatal(err)
		}
		disabledCode, err := h.service.CreateSignInLinkIn(t.Context(), ours, gone)
		if err != nil {
			t.Fatal(err)
		}
		h.update(admin, &accessv1.Person{Id: gone, Disabled: true}, "disabled")

		var first error
		same := func(what string, err error) {
			t.Helper()
			wantFault(t, what, err, codes.Unauthenticated, access.ReasonRefused)
			if first == nil {
				first = err
			}
			if status.Convert(err).Message() != status.Convert(first).Message() {
				t.Errorf("%s: %q differs from %q", what, status.Convert(err).Message(), status.Convert(first).Message())
			}
		}
		for what, key := range map[string]string{
			"nothing": "", "no key at all": "hello", "an unknown id": "pk_aaaaaaaaaa_" + strings.Repeat("A", 43),
			"a wrong secret": good[:len(good)-43] + strings.Repeat("A", 43), "a revoked key": revoked,
			"a disabled person": disabled, "a zero byte": "pk_a\x00_" + strings.Repeat("A", 43),
		} {
			_, err := h.client.ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: key})
			same("ExchangeKey, "+what, err)
			_, err = h.client.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: key})
			same("SignInWithKey, "+what, err)
		}
		for what, handle := range map[string]string{"nothing": "", "an unknown handle": strings.Repeat("A", 43), "a disabled person": disabledSession.GetSession()} {
			_, err := h.client.ExchangeSession(t.Context(), &accessv1.ExchangeSessionRequest{Session: handle})
			same("ExchangeSession, "+what, err)
		}
		for what, code := range map[string]string{"nothing": "", "an unknown code": strings.Repeat("A", 43), "a disabled person": disabledCode} {
			_, err := h.client.RedeemSignInLink(t.Context(), &accessv1.RedeemSignInLinkRequest{Code: code})
			same("RedeemSignInLink, "+what, err)
		}
		// Coming back does not bring back what was signed in before.
		h.update(admin, &accessv1.Person{Id: gone}, "disabled")
		_, err = h.client.ExchangeSession(t.Context(), &accessv1.ExchangeSessionRequest{Session: disabledSession.GetSession()})
		same("ExchangeSession of a person who came back", err)
		_, err = h.client.RedeemSignInLink(t.Context(), &accessv1.RedeemSignInLinkRequest{Code: disabledCode})
		same("RedeemSignInLink of a person who came back", err)
		h.as(disabled) // but the key is good again
	})
}

func (h *house) session(ctx context.Context, handle string) (*accessv1.Token, error) {
	return h.client.ExchangeSession(ctx, &accessv1.ExchangeSessionRequest{Session: handle})
}

func TestSession(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, _, _ := openHouse(t, url)
		person := h.person(ours, "Fay Girt", identity.Lead)
		key := h.key(ours, person)
		begin := func() *accessv1.Session {
			t.Helper()
			s, err := h.client.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: key})
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		s := begin()
		if life := s.GetExpireTime().AsTime().Sub(h.clock.Now()); life != 12*time.Hour {
			t.Errorf("session lives %s, want 12 h", life)
		}
		token, err := h.session(t.Context(), s.GetSession())
		if err != nil {
			t.Fatal(err)
		}
		if s.GetCsrfToken() == "" || token.GetCsrfToken() != s.GetCsrfToken() {
			t.Errorf("CSRF token %q, at sign-in %q", token.GetCsrfToken(), s.GetCsrfToken())
		}
		if got := h.me(identity.WithToken(t.Context(), token.GetAccessToken())); got != person {
			t.Errorf("session speaks for %s, want %s", got, person)
		}
		if _, err := h.session(t.Context(), s.GetCsrfToken()); err == nil {
			t.Error("the CSRF token is taken for a handle")
		}
		// Used every 100 minutes it lives on, up to its 12 hours.
		for h.clock.Now().Before(s.GetExpireTime().AsTime().Add(-100 * time.Minute)) {
			h.clock.pass(100 * time.Minute)
			if _, err := h.session(t.Context(), s.GetSession()); err != nil {
				t.Fatalf("after a pause of 100 minutes: %v", err)
			}
		}
		h.clock.pass(s.GetExpireTime().AsTime().Sub(h.clock.Now()))
		_, err = h.session(t.Context(), s.GetSession())
		wantFault(t, "after 12 hours", err, codes.Unauthenticated, access.ReasonRefused)

		idle := begin()
		h.clock.pass(2*time.Hour - time.Second)
		if _, err := h.session(t.Context(), idle.GetSession()); err != nil {
			t.Errorf("just before two idle hours: %v", err)
		}
		h.clock.pass(2 * time.Hour)
		_, err = h.session(t.Context(), idle.GetSession())
		wantFault(t, "after two idle hours", err, codes.Unauthenticated, access.ReasonRefused)

		out, other := begin(), begin()
		for range 2 { // a second time is fine
			if _, err := h.client.SignOut(t.Context(), &accessv1.SignOutRequest{Session: out.GetSession()}); err != nil {
				t.Errorf("sign out: %v", err)
			}
		}
		_, err = h.session(t.Context(), out.GetSession())
		wantFault(t, "after signing out", err, codes.Unauthenticated, access.ReasonRefused)
		if _, err := h.session(t.Context(), other.GetSession()); err != nil {
			t.Errorf("the other session ended too: %v", err)
		}
		if err := h.service.RevokeKey(t.Context(), ours, strings.Split(key, "_")[1]); err != nil {
			t.Fatal(err)
		}
		_, err = h.session(t.Context(), other.GetSession())
		wantFault(t, "after the key that began it was revoked", err, codes.Unauthenticated, access.ReasonRefused)
	})
}

func TestLinkIsGoodOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		person := h.person(ours, "Gus Purlin", identity.Viewer)
		link, err := h.client.CreateSignInLink(admin, &accessv1.CreateSignInLinkRequest{Person: person, RequestId: "l-1"})
		if err != nil {
			t.Fatal(err)
		}
		if life := link.GetExpireTime().AsTime().Sub(h.clock.Now()); life != 15*time.Minute {
			t.Errorf("link lives %s, want 15 minutes", life)
		}
		if link.GetPerson() != person || link.GetPath() != "/signin?code="+link.GetCode() {
			t.Errorf("link: %v", link)
		}
		redeem := func() (*accessv1.Session, error) {
			return h.client.RedeemSignInLink(t.Context(), &accessv1.RedeemSignInLinkRequest{Code: link.GetCode()})
		}
		var won atomic.Int32
		var all sync.WaitGroup
		for range 8 {
			all.Go(func() {
				s, err := redeem()
				if err != nil {
					wantFault(t, "the others", err, codes.Unauthenticated, access.ReasonRefused)
					return
				}
				won.Add(1)
				if _, err := h.session(t.Context(), s.GetSession()); err != nil {
					t.Errorf("session from a link: %v", err)
				}
			})
		}
		all.Wait()
		if n := won.Load(); n != 1 {
			t.Errorf("%d won, want 1", n)
		}
		late, err := h.service.CreateSignInLinkIn(t.Context(), ours, person)
		if err != nil {
			t.Fatal(err)
		}
		h.clock.pass(15 * time.Minute)
		_, err = h.client.RedeemSignInLink(t.Context(), &accessv1.RedeemSignInLinkRequest{Code: late})
		wantFault(t, "after 15 minutes", err, codes.Unauthenticated, access.ReasonRefused)
	})
}

// TestSecretsAreKeptHashed reads the tables back: none of what was handed out is in them.
func TestSecretsAreKeptHashed(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, _, _ := openHouse(t, url)
		person := h.person(ours, "Hal Tenon", identity.Lead)
		key := h.key(ours, person)
		s, err := h.client.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: key})
		if err != nil {
			t.Fatal(err)
		}
		code, err := h.service.CreateSignInLinkIn(t.Context(), ours, person)
		if err != nil {
			t.Fatal(err)
		}
		kept := strings.Join(append(append(
			column(t, h.db, `SELECT id || ' ' || label || ' ' || hash FROM api_key ORDER BY id`),
			column(t, h.db, `SELECT hash || ' ' || csrf_token || ' ' || api_key FROM session ORDER BY hash`)...),
			column(t, h.db, `SELECT hash FROM sign_in_link ORDER BY hash`)...), "\n")
		events := strings.Join(column(t, h.db, `SELECT payload FROM outbox ORDER BY company, position`), "\n")
		for what, secret := range map[string]string{"key": key, "secret of the key": key[len(key)-43:], "session": s.GetSession(), "code": code} {
			if strings.Contains(kept+events, secret) {
				t.Errorf("the %s is in the store as it is", what)
			}
		}
		if !strings.Contains(events, "Hal Tenon") {
			t.Error("the company's feed does not tell of the person")
		}
	})
}

func column(t *testing.T, db *store.DB, query string) (values []string) {
	t.Helper()
	err := db.Read(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		values = nil
		rows, err := tx.Query(ctx, query)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var v []byte
			if err := rows.Scan(&v); err != nil {
				return err
			}
			values = append(values, string(v))
		}
		return rows.Err()
	})
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return values
}

// TestLastUseIsWrittenInBatches also shows that no call waits for it: writing fails while keys and sessions are used.
func TestLastUseIsWrittenInBatches(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		var broken atomic.Bool
		db := openStore(t, url, func(op string) error {
			if op == "write" && broken.Load() {
				return errors.New("the disk is full")
			}
			return nil
		})
		c := newClock()
		h := startHouse(t, db, c)
		if err := h.service.CreateCompany(t.Context(), ours, "Alder Frames"); err != nil {
			t.Fatal(err)
		}
		admin := h.person(ours, "Ada Quill", identity.Admin)
		used, unused := h.key(ours, admin), h.key(ours, admin)
		s, err := h.client.SignInWithKey(t.Context(), &accessv1.SignInWithKeyRequest{ApiKey: used})
		if err != nil {
			t.Fatal(err)
		}
		h.as(used) // makes the first signing key
		c.pass(time.Hour)
		broken.Store(true)
		h.as(used)
		if _, err := h.session(t.Context(), s.GetSession()); err != nil {
			t.Fatal(err)
		}
		lastUse := c.Now()
		broken.Store(false)
		if h.kept(used).GetLastUsedTime() != nil {
			t.Error("last use is there before it was written")
		}
		if err := h.service.Close(); err != nil {
			t.Fatalf("close: %v", err)
		}
		next := startHouse(t, db, c)
		if at := next.kept(used).GetLastUsedTime(); at == nil || !at.AsTime().Equal(lastUse) {
			t.Errorf("last use is %v, want %s", at, lastUse)
		}
		if at := next.kept(unused).GetLastUsedTime(); at != nil {
			t.Errorf("a key that was never used was used at %s", at.AsTime())
		}
		c.pass(90 * time.Minute) // two and a half hours since sign-in, one and a half since the last use
		if _, err := next.session(t.Context(), s.GetSession()); err != nil {
			t.Errorf("the session's last use was lost: %v", err)
		}
	})
}

// kept gives what is kept of a key.
func (h *house) kept(key string) *accessv1.Key {
	h.Helper()
	keys, err := h.service.KeysIn(h.Context(), ours)
	if err != nil {
		h.Fatal(err)
	}
	for _, k := range keys {
		if k.GetId() == strings.Split(key, "_")[1] {
			return k
		}
	}
	h.Fatalf("no key %s", key)
	return nil
}
