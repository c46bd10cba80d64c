package rigging

import (
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Policy has one row for each RPC: everybody reads, lead and admin put.
func (s *Service) Policy() policy.Table {
	read := policy.Rule{Roles: identity.Roles()}
	heavy := policy.Rule{Roles: identity.Roles(), Heavy: true}
	put := policy.Rule{Roles: []identity.Role{identity.Lead, identity.Admin}, Write: true}
	return policy.Table{
		riggingv1.RiggingService_ListCranes_FullMethodName:  read,
		riggingv1.RiggingService_GetCrane_FullMethodName:    read,
		riggingv1.RiggingService_PutCrane_FullMethodName:    put,
		riggingv1.RiggingService_ListGear_FullMethodName:    read,
		riggingv1.RiggingService_GetGear_FullMethodName:     read,
		riggingv1.RiggingService_PutGear_FullMethodName:     put,
		riggingv1.RiggingService_GetPicks_FullMethodName:    heavy,
		riggingv1.RiggingService_RenderPicks_FullMethodName: heavy,
	}
}
