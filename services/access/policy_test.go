package access_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// mayAll are the RPCs that every role may call; none are those that need no token; all others are for admins.
var (
	mayAll = map[string]bool{"GetCaller": true}
	none   = map[string]bool{
		"ExchangeKey": true, "ExchangeSession": true, "SignInWithKey": true, "RedeemSignInLink": true, "SignOut": true, "ListSigningKeys": true,
	}
)

// TestEveryRPCAndEveryRole calls every RPC as every role and without credentials, with an empty request.
func TestEveryRPCAndEveryRole(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, _, _ := openHouse(t, url)
		methods := accessv1.File_pikepole_access_v1_access_proto.Services().ByName("AccessService").Methods()
		call := func(role identity.Role, m protoreflect.MethodDescriptor) (codes.Code, string) {
			ctx := t.Context()
			if role != "" {
				ctx = h.member(ours, "Any "+string(role), role)
			}
			path := "/pikepole.access.v1.AccessService/" + string(m.Name())
			err := h.conn.Invoke(ctx, path, proto.Message(dynamicpb.NewMessage(m.Input())), dynamicpb.NewMessage(m.Output()))
			if err == nil {
				return codes.OK, ""
			}
			return status.Code(err), fault.FromStatus(err).Reason
		}
		for i := range methods.Len() {
			m := methods.Get(i)
			name := string(m.Name())
			code, reason := call("", m)
			if reached := reason != fault.ReasonNoCredentials; reached != none[name] {
				t.Errorf("%s without credentials: %s %s", name, code, reason)
			}
			for _, role := range identity.Roles() {
				code, _ := call(role, m)
				may := none[name] || mayAll[name] || role == identity.Admin
				if (code != codes.PermissionDenied) != may {
					t.Errorf("%s as %s: %s, allowed should be %v", name, role, code, may)
				}
			}
		}
	})
}

// TestCompaniesAreApart tries, as the admin of one company, to reach into the other with every RPC that names something.
func TestCompaniesAreApart(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		h, admin, theirAdmin := openHouse(t, url)
		person := h.person(ours, "Rae Sill", identity.Viewer)
		key := h.key(ours, person)
		ctx := theirAdmin

		_, err := h.tryUpdate(ctx, &accessv1.Person{Id: person, Name: "Taken Over"}, "name")
		wantFault(t, "UpdatePerson", err, codes.NotFound, access.ReasonPersonNotFound)
		_, err = h.client.CreateKey(ctx, &accessv1.CreateKeyRequest{Key: &accessv1.Key{Person: person, Label: "x"}})
		wantFault(t, "CreateKey", err, codes.NotFound, access.ReasonPersonNotFound)
		_, err = h.client.CreateSignInLink(ctx, &accessv1.CreateSignInLinkRequest{Person: person})
		wantFault(t, "CreateSignInLink", err, codes.NotFound, access.ReasonPersonNotFound)
		_, err = h.client.DeleteKey(ctx, &accessv1.DeleteKeyRequest{Key: strings.Split(key, "_")[1]})
		wantFault(t, "DeleteKey", err, codes.NotFound, access.ReasonKeyNotFound)
		h.as(key)

		made, err := h.client.CreatePerson(ctx, &accessv1.CreatePersonRequest{
			Person: &accessv1.Person{Name: "Sol Girt", Roles: []accessv1.Role{accessv1.Role_ROLE_ADMIN}}, RequestId: "same",
		})
		if err != nil {
			t.Fatal(err)
		}
		mine, err := h.client.CreatePerson(admin, &accessv1.CreatePersonRequest{
			Person: &accessv1.Person{Name: "Tam Post", Roles: []accessv1.Role{accessv1.Role_ROLE_FIELD}}, RequestId: "same",
		})
		if err != nil || mine.GetName() != "Tam Post" {
			t.Errorf("a request id of another company gets in the way: %v, %v", mine, err)
		}
		people, err := h.client.ListPeople(ctx, &accessv1.ListPeopleRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range people.GetPeople() {
			if p.GetId() != made.GetId() && p.GetId() != h.me(ctx) {
				t.Errorf("ListPeople shows %v of another company", p)
			}
		}
		keys, err := h.client.ListKeys(ctx, &accessv1.ListKeysRequest{})
		if err != nil || len(keys.GetKeys()) != 1 || keys.GetKeys()[0].GetPerson() != h.me(ctx) {
			t.Errorf("ListKeys: %v, %v, want only their own", keys, err)
		}
		caller, err := h.client.GetCaller(ctx, &accessv1.GetCallerRequest{})
		if err != nil || caller.GetCompany() != theirs || caller.GetCompanyName() != "Birch Joiners" {
			t.Errorf("GetCaller: %v, %v", caller, err)
		}
	})
}
