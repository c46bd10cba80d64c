package access_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func (h *house) tryUpdate(ctx context.Context, p *accessv1.Person, mask ...string) (*accessv1.Person, error) {
	return h.client.UpdatePerson(ctx, &accessv1.UpdatePersonRequest{Person: p, UpdateMask: &fieldmaskpb.FieldMask{Paths: mask}})
}

func (h *house) update(ctx context.Context, p *accessv1.Person, mask ...string) *accessv1.Person {
	h.Helper()
	updated, err := h.tryUpdate(ctx, p, mask...)
	if err != nil {
		h.Fatalf("update person: %v", err)
	}
	return updated
}

func TestPeople(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		req := &accessv1.CreatePersonRequest{
			Person: &accessv1.Person{
				Id: "chosen-by-client", Name: "Ida Strut", Etag: "7",
				Roles: []accessv1.Role{accessv1.Role_ROLE_FIELD, accessv1.Role_ROLE_SHOP, accessv1.Role_ROLE_FIELD},
			},
			RequestId: "p-1",
		}
		made, err := h.client.CreatePerson(admin, req)
		if err != nil {
			t.Fatal(err)
		}
		want := &accessv1.Person{
			Id: made.GetId(), Name: "Ida Strut", Roles: []accessv1.Role{accessv1.Role_ROLE_SHOP, accessv1.Role_ROLE_FIELD},
			CreateTime: timestamppb.New(h.clock.Now()), Etag: "1",
		}
		if diff := cmp.Diff(want, made, protocmp.Transform()); diff != "" || !strings.HasPrefix(made.GetId(), "person-") {
			t.Errorf("created (-want +got):\n%s", diff)
		}
		again, err := h.client.CreatePerson(admin, req)
		if diff := cmp.Diff(made, again, protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("a repeat gives another answer: %v\n%s", err, diff)
		}
		_, err = h.client.CreatePerson(admin, &accessv1.CreatePersonRequest{
			Person: &accessv1.Person{Name: "Someone Else", Roles: []accessv1.Role{accessv1.Role_ROLE_VIEWER}}, RequestId: "p-1",
		})
		wantFault(t, "the same request id with another body", err, codes.FailedPrecondition, fault.ReasonReused)

		renamed := h.update(admin, &accessv1.Person{Id: made.GetId(), Name: "Ida Brace", Etag: "1"}, "name", "id", "etag")
		want.Name, want.Etag = "Ida Brace", "2"
		if diff := cmp.Diff(want, renamed, protocmp.Transform()); diff != "" {
			t.Errorf("renamed (-want +got):\n%s", diff)
		}
		_, err = h.tryUpdate(admin, &accessv1.Person{Id: made.GetId(), Name: "Too Late", Etag: "1"}, "name")
		wantFault(t, "an old etag", err, codes.Aborted, access.ReasonEtag)
		promoted := h.update(admin, &accessv1.Person{Id: made.GetId(), Name: "Not In Mask", Roles: []accessv1.Role{accessv1.Role_ROLE_LEAD}}, "roles")
		if promoted.GetName() != "Ida Brace" || promoted.GetEtag() != "3" || len(promoted.GetRoles()) != 1 {
			t.Errorf("promoted: %v", promoted)
		}
	})
}

// Clocks tell less than a microsecond and stores do not keep it: the answer to a call must be what is read later.
func TestFirstAnswerIsWhatIsReadLater(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		h.clock.pass(789 * time.Nanosecond)
		made, err := h.client.CreatePerson(admin, &accessv1.CreatePersonRequest{
			Person: &accessv1.Person{Name: "Ida Brace", Roles: []accessv1.Role{accessv1.Role_ROLE_FIELD}},
		})
		if err != nil {
			t.Fatal(err)
		}
		people, err := h.client.ListPeople(admin, &accessv1.ListPeopleRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range people.GetPeople() {
			if diff := cmp.Diff(made, p, protocmp.Transform()); p.GetId() == made.GetId() && diff != "" {
				t.Errorf("what was answered and what is read later differ (-answered +read):\n%s", diff)
			}
		}
	})
}

func TestPeopleRefuseBadInput(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		me := h.me(admin)
		viewer := []accessv1.Role{accessv1.Role_ROLE_VIEWER}
		create := func(p *accessv1.Person) error {
			_, err := h.client.CreatePerson(admin, &accessv1.CreatePersonRequest{Person: p})
			return err
		}
		update := func(p *accessv1.Person, mask ...string) error {
			_, err := h.tryUpdate(admin, p, mask...)
			return err
		}
		for _, c := range []struct {
			name  string
			err   error
			field string
		}{
			{"no person", create(nil), "person.name"},
			{"no name", create(&accessv1.Person{Name: "  ", Roles: viewer}), "person.name"},
			{"long name", create(&accessv1.Person{Name: strings.Repeat("x", 101), Roles: viewer}), "person.name"},
			{"zero byte in the name", create(&accessv1.Person{Name: "a\x00", Roles: viewer}), "person.name"},
			{"no roles", create(&accessv1.Person{Name: "Jo"}), "person.roles"},
			{"role not said", create(&accessv1.Person{Name: "Jo", Roles: []accessv1.Role{1, 0}}), "person.roles[1]"},
			{"role of tomorrow", create(&accessv1.Person{Name: "Jo", Roles: []accessv1.Role{99}}), "person.roles[0]"},
			{"no mask", update(&accessv1.Person{Id: me, Name: "Jo"}), "update_mask"},
			{"mask without a field", update(&accessv1.Person{Id: me, Name: "Jo"}, "id", "etag"), "update_mask"},
			{"mask with more than can be changed", update(&accessv1.Person{Id: me, Name: "Jo"}, "name", "create_time"), "update_mask"},
			{"empty name in the mask", update(&accessv1.Person{Id: me}, "name"), "person.name"},
			{"no roles in the mask", update(&accessv1.Person{Id: me}, "roles"), "person.roles"},
		} {
			wantFault(t, c.name, c.err, codes.InvalidArgument, fault.ReasonInvalid)
			if f := fault.FromStatus(c.err); f != nil && (len(f.Fields) != 1 || f.Fields[0].Path != c.field) {
				t.Errorf("%s: fields %v, want %s", c.name, f.Fields, c.field)
			}
		}
		endless := strings.Repeat("x", 1<<20) // must not come back whole: an error has to fit into a header
		wantFault(t, "an endless etag", update(&accessv1.Person{Id: me, Name: "Jo", Etag: endless}, "name"), codes.Aborted, access.ReasonEtag)
		wantFault(t, "an endless mask", update(&accessv1.Person{Id: me}, endless), codes.InvalidArgument, fault.ReasonInvalid)
		for _, id := range []string{"", "person-nobody", "a/b", "a\x00", endless} {
			wantFault(t, fmt.Sprintf("update of %.20s", id), update(&accessv1.Person{Id: id, Name: "Jo"}, "name"), codes.NotFound, access.ReasonPersonNotFound)
		}
		res, err := h.client.ListPeople(admin, &accessv1.ListPeopleRequest{})
		if err != nil || len(res.GetPeople()) != 1 || res.GetPeople()[0].GetEtag() != "1" {
			t.Errorf("after all that was refused: %v, %v", res, err)
		}
	})
}

func TestTheLastAdminStays(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		first := h.me(admin)
		lead := []accessv1.Role{accessv1.Role_ROLE_LEAD}
		_, err := h.tryUpdate(admin, &accessv1.Person{Id: first, Roles: lead}, "roles")
		wantFault(t, "the only admin gives up the role", err, codes.FailedPrecondition, access.ReasonLastAdmin)
		_, err = h.tryUpdate(admin, &accessv1.Person{Id: first, Disabled: true}, "disabled")
		wantFault(t, "the only admin is disabled", err, codes.FailedPrecondition, access.ReasonLastAdmin)
		h.update(admin, &accessv1.Person{Id: first, Roles: []accessv1.Role{accessv1.Role_ROLE_LEAD, accessv1.Role_ROLE_ADMIN}}, "roles")

		idle := h.person(ours, "Kit Mortise", identity.Admin)
		h.update(admin, &accessv1.Person{Id: idle, Disabled: true}, "disabled")
		_, err = h.tryUpdate(admin, &accessv1.Person{Id: first, Disabled: true}, "disabled")
		wantFault(t, "the other admin is disabled already", err, codes.FailedPrecondition, access.ReasonLastAdmin)

		// Two admins who take the role from one another at once: one of them stays.
		second := h.person(ours, "Lou Scarf", identity.Admin)
		var all sync.WaitGroup
		errs := make([]error, 2)
		for i, id := range []string{first, second} {
			all.Go(func() { _, errs[i] = h.tryUpdate(admin, &accessv1.Person{Id: id, Roles: lead}, "roles") })
		}
		all.Wait()
		if (errs[0] == nil) == (errs[1] == nil) {
			t.Errorf("two at once: %v and %v, want one refused", errs[0], errs[1])
		}
		people, err := h.service.PeopleIn(t.Context(), ours)
		if err != nil {
			t.Fatal(err)
		}
		admins := 0
		for _, p := range people {
			for _, r := range p.GetRoles() {
				if r == accessv1.Role_ROLE_ADMIN && !p.GetDisabled() {
					admins++
				}
			}
		}
		if admins != 1 {
			t.Errorf("%d admins are left, want 1", admins)
		}
	})
}

func TestPeopleArePaged(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, theirAdmin := openHouse(t, url)
		for i := range 6 {
			h.person(ours, fmt.Sprint("Hand ", i), identity.Field)
		}
		var ids []string
		token := ""
		for pages := 0; ; pages++ {
			res, err := h.client.ListPeople(admin, &accessv1.ListPeopleRequest{PageSize: 3, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range res.GetPeople() {
				ids = append(ids, p.GetId())
			}
			if pages == 0 {
				_, err := h.client.ListPeople(theirAdmin, &accessv1.ListPeopleRequest{PageToken: res.GetNextPageToken()})
				wantFault(t, "a token from another company", err, codes.InvalidArgument, fault.ReasonPageToken)
				_, err = h.client.ListKeys(admin, &accessv1.ListKeysRequest{PageToken: res.GetNextPageToken()})
				wantFault(t, "a token from another list", err, codes.InvalidArgument, fault.ReasonPageToken)
			}
			if token = res.GetNextPageToken(); token == "" {
				break
			}
		}
		all, err := h.service.PeopleIn(t.Context(), ours)
		if err != nil {
			t.Fatal(err)
		}
		var want []string
		for _, p := range all {
			want = append(want, p.GetId())
		}
		if diff := cmp.Diff(want, ids); diff != "" || len(ids) != 7 {
			t.Errorf("pages put together (-want +got):\n%s", diff)
		}
		_, err = h.client.ListPeople(admin, &accessv1.ListPeopleRequest{PageSize: -1})
		wantFault(t, "a negative page size", err, codes.InvalidArgument, fault.ReasonInvalid)
	})
}

// TestForgedPageTokens shows tokens whose checksum is right and whose content nobody here wrote: PostgreSQL takes neither
// a zero byte nor broken UTF-8 as text.
func TestForgedPageTokens(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, _ := openHouse(t, url)
		for name, cursor := range map[string][]string{
			"a zero byte": {"a\x00"}, "broken UTF-8": {"a\xff"}, "no id": {""}, "one part too many": {"a", "b"},
		} {
			_, err := h.client.ListPeople(admin, &accessv1.ListPeopleRequest{PageToken: page.Encode("people", ours, cursor...)})
			wantFault(t, "people behind "+name, err, codes.InvalidArgument, fault.ReasonPageToken)
			_, err = h.client.ListKeys(admin, &accessv1.ListKeysRequest{PageToken: page.Encode("keys", ours, cursor...)})
			wantFault(t, "keys behind "+name, err, codes.InvalidArgument, fault.ReasonPageToken)
		}
	})
}
