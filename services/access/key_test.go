package access_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestKeyIsShownOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		person := h.person(ours, "Max Rafter", identity.Shop)
		req := &accessv1.CreateKeyRequest{Key: &accessv1.Key{Person: person, Label: "saw table"}, RequestId: "k-1"}
		key, err := h.client.CreateKey(admin, req)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(key.GetApiKey(), "pk_"+key.GetId()+"_") || key.GetPerson() != person || key.GetLabel() != "saw table" {
			t.Errorf("key: %v", key)
		}
		if got := h.me(h.as(key.GetApiKey())); got != person {
			t.Errorf("the key speaks for %s, want %s", got, person)
		}
		_, err = h.client.CreateKey(admin, req)
		wantFault(t, "a repeat", err, codes.Aborted, access.ReasonAlreadyShown)
		_, err = h.client.CreateKey(admin, &accessv1.CreateKeyRequest{Key: &accessv1.Key{Person: person, Label: "planer"}, RequestId: "k-1"})
		wantFault(t, "the same request id with another body", err, codes.FailedPrecondition, fault.ReasonReused)
		link := &accessv1.CreateSignInLinkRequest{Person: person, RequestId: "k-1"} // another method: an id of its own
		if _, err := h.client.CreateSignInLink(admin, link); err != nil {
			t.Fatal(err)
		}
		_, err = h.client.CreateSignInLink(admin, link)
		wantFault(t, "a repeated link", err, codes.Aborted, access.ReasonAlreadyShown)

		res, err := h.client.ListKeys(admin, &accessv1.ListKeysRequest{})
		if err != nil {
			t.Fatal(err)
		}
		listed := 0
		for _, k := range res.GetKeys() {
			if k.GetApiKey() != "" {
				t.Errorf("a list shows a whole key: %v", k)
			}
			if k.GetLabel() == "saw table" {
				listed++
			}
		}
		if listed != 1 {
			t.Errorf("%d keys were made, want 1", listed)
		}
		for name, req := range map[string]*accessv1.CreateKeyRequest{
			"no key": {}, "no label": {Key: &accessv1.Key{Person: person}}, "long label": {Key: &accessv1.Key{Person: person, Label: strings.Repeat("x", 101)}},
		} {
			_, err := h.client.CreateKey(admin, req)
			wantFault(t, name, err, codes.InvalidArgument, fault.ReasonInvalid)
		}
		_, err = h.client.CreateKey(admin, &accessv1.CreateKeyRequest{Key: &accessv1.Key{Person: "person-nobody", Label: "x"}})
		wantFault(t, "nobody's key", err, codes.NotFound, access.ReasonPersonNotFound)
		h.update(admin, &accessv1.Person{Id: person, Disabled: true}, "disabled")
		_, err = h.client.CreateKey(admin, &accessv1.CreateKeyRequest{Key: &accessv1.Key{Person: person, Label: "x"}})
		wantFault(t, "a key for a disabled person", err, codes.FailedPrecondition, access.ReasonPersonDisabled)
		_, err = h.client.CreateSignInLink(admin, &accessv1.CreateSignInLinkRequest{Person: person})
		wantFault(t, "a link for a disabled person", err, codes.FailedPrecondition, access.ReasonPersonDisabled)
	})
}

func TestRevokedKey(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		key := h.key(ours, h.me(admin))
		id := strings.Split(key, "_")[1]
		holder := h.as(key)
		revoked := h.clock.Now()
		for range 2 { // the second time changes nothing
			if _, err := h.client.DeleteKey(admin, &accessv1.DeleteKeyRequest{Key: id}); err != nil {
				t.Fatal(err)
			}
			h.clock.pass(time.Minute)
		}
		_, err := h.client.ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: key})
		wantFault(t, "a revoked key", err, codes.Unauthenticated, access.ReasonRefused)
		if at := h.kept(key).GetRevokeTime(); at == nil || !at.AsTime().Equal(revoked) {
			t.Errorf("revoked at %v, want %s", at, revoked)
		}
		h.me(holder) // a token made before lives on for its few minutes, and no longer
		h.clock.pass(4 * time.Minute)
		_, err = h.client.GetCaller(holder, &accessv1.GetCallerRequest{})
		wantFault(t, "a token of a revoked key after its life", err, codes.Unauthenticated, fault.ReasonToken)
		admin = h.as(h.key(ours, h.person(ours, "Ned Plate", identity.Admin)))
		for _, id := range []string{"", "nosuchkey", key, "a\x00"} {
			_, err := h.client.DeleteKey(admin, &accessv1.DeleteKeyRequest{Key: id})
			wantFault(t, "revoking "+id, err, codes.NotFound, access.ReasonKeyNotFound)
		}
	})
}

func TestOperator(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		ctx := t.Context()
		s := h.service
		wantFault(t, "a company twice", s.CreateCompany(ctx, ours, "Again"), codes.AlreadyExists, access.ReasonCompanyExists)
		for _, id := range []string{"", "a", "Upper", "1st", "under_score", "sl/ash", strings.Repeat("a", 41)} {
			wantFault(t, "company id "+id, s.CreateCompany(ctx, id, "Name"), codes.InvalidArgument, fault.ReasonInvalid)
		}
		wantFault(t, "company without a name", s.CreateCompany(ctx, "cedar", ""), codes.InvalidArgument, fault.ReasonInvalid)
		_, err := s.CreatePersonIn(ctx, "nowhere", "Ola", []identity.Role{identity.Lead})
		wantFault(t, "a person of no company", err, codes.NotFound, access.ReasonCompanyNotFound)
		_, err = s.CreatePersonIn(ctx, ours, "Ola", []identity.Role{"boss"})
		wantFault(t, "a role that is none", err, codes.InvalidArgument, fault.ReasonInvalid)
		_, err = s.CreatePersonIn(ctx, ours, "Ola", nil)
		wantFault(t, "no role", err, codes.InvalidArgument, fault.ReasonInvalid)
		_, err = s.CreateKeyIn(ctx, theirs, h.me(admin), "label")
		wantFault(t, "a key in another company", err, codes.NotFound, access.ReasonPersonNotFound)
		_, err = s.CreateSignInLinkIn(ctx, theirs, h.me(admin))
		wantFault(t, "a link in another company", err, codes.NotFound, access.ReasonPersonNotFound)
		companies, err := s.Companies(ctx)
		if err != nil || len(companies) != 2 || companies[0].ID != ours || companies[1].Name != "Birch Joiners" {
			t.Errorf("companies: %v, %v", companies, err)
		}
	})
}
