package sequencing

import (
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Policy has one row for each RPC: everybody reads, lead and admin put.
func (s *Service) Policy() policy.Table {
	read := policy.Rule{Roles: identity.Roles()}
	heavy := policy.Rule{Roles: identity.Roles(), Heavy: true}
	put := policy.Rule{Roles: []identity.Role{identity.Lead, identity.Admin}, Write: true}
	return policy.Table{
		sequencingv1.SequencingService_GetWork_FullMethodName:       read,
		sequencingv1.SequencingService_PutWork_FullMethodName:       put,
		sequencingv1.SequencingService_GetRaising_FullMethodName:    heavy,
		sequencingv1.SequencingService_RenderRaising_FullMethodName: heavy,
		sequencingv1.SequencingService_DrawMove_FullMethodName:      heavy,
	}
}
