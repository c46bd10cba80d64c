package takeoff

import (
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Policy has one row for each RPC: everybody reads.
func (s *Service) Policy() policy.Table {
	read := policy.Rule{Roles: identity.Roles(), Heavy: true}
	return policy.Table{
		takeoffv1.TakeoffService_GetTakeoff_FullMethodName:    read,
		takeoffv1.TakeoffService_RenderTakeoff_FullMethodName: read,
	}
}
