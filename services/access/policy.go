package access

import (
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Policy lists who may call what: whoever shows a secret needs no token, everyone may ask who they are, and admins do
// the rest.
func (s *Service) Policy() policy.Table {
	public := policy.Rule{Public: true}
	publicWrite := policy.Rule{Public: true, Write: true}
	read := policy.Rule{Roles: []identity.Role{identity.Admin}}
	write := policy.Rule{Roles: []identity.Role{identity.Admin}, Write: true}
	return policy.Table{
		accessv1.AccessService_ExchangeKey_FullMethodName:      public,
		accessv1.AccessService_ExchangeSession_FullMethodName:  public,
		accessv1.AccessService_SignInWithKey_FullMethodName:    publicWrite,
		accessv1.AccessService_RedeemSignInLink_FullMethodName: publicWrite,
		accessv1.AccessService_SignOut_FullMethodName:          publicWrite,
		accessv1.AccessService_ListSigningKeys_FullMethodName:  public,
		accessv1.AccessService_GetCaller_FullMethodName:        {Roles: identity.Roles()},
		accessv1.AccessService_CreatePerson_FullMethodName:     write,
		accessv1.AccessService_ListPeople_FullMethodName:       read,
		accessv1.AccessService_UpdatePerson_FullMethodName:     write,
		accessv1.AccessService_CreateSignInLink_FullMethodName: write,
		accessv1.AccessService_CreateKey_FullMethodName:        write,
		accessv1.AccessService_ListKeys_FullMethodName:         read,
		accessv1.AccessService_DeleteKey_FullMethodName:        write,
	}
}
