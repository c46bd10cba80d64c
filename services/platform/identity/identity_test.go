package identity_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

var ada = identity.Caller{
	Company: "ash", CompanyName: "Ash & Söhne", Person: "p1", PersonName: "Ada",
	Roles: []identity.Role{identity.Lead, identity.Shop},
}

func TestContext(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	if _, err := identity.From(ctx); !fault.Is(err, fault.Unauthenticated) {
		t.Errorf("nobody gave %v", err)
	}
	if _, err := identity.From(identity.With(ctx, identity.Caller{Person: "p"})); err == nil {
		t.Error("a caller of no company was taken")
	}
	got, err := identity.From(identity.With(ctx, ada))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(ada, got); diff != "" {
		t.Error(diff)
	}
	if identity.Token(ctx) != "" || identity.Token(identity.WithToken(ctx, "x")) != "x" {
		t.Error("the token is not carried")
	}
}

func TestRoles(t *testing.T) {
	t.Parallel()
	for _, r := range identity.Roles() {
		if !r.Known() {
			t.Errorf("%s is unknown", r)
		}
	}
	if identity.Role("boss").Known() || !ada.Has(identity.Shop) || ada.Has(identity.Admin) {
		t.Error("roles are mixed up")
	}
}
