package sequencing

import (
	"time"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// The longest that a check of one state and that a search over states may take, waiting included.
const (
	stateTimeout  = 30 * time.Second
	searchTimeout = time.Minute
)

// searchTime is when a search ends with the best that it has, so that there is time left to answer.
const searchTime = 52 * time.Second

// Policy has one row for each RPC: everybody reads and computes, lead and admin put.
func (s *Service) Policy() policy.Table {
	all := identity.Roles()
	read := policy.Rule{Roles: all}
	heavy := policy.Rule{Roles: all, Heavy: true}
	state := policy.Rule{Roles: all, Heavy: true, Timeout: stateTimeout}
	search := policy.Rule{Roles: all, Heavy: true, Timeout: searchTimeout}
	put := policy.Rule{Roles: []identity.Role{identity.Lead, identity.Admin}, Write: true}
	return policy.Table{
		sequencingv1.SequencingService_GetWork_FullMethodName:        read,
		sequencingv1.SequencingService_PutWork_FullMethodName:        put,
		sequencingv1.SequencingService_GetRaising_FullMethodName:     heavy,
		sequencingv1.SequencingService_RenderRaising_FullMethodName:  heavy,
		sequencingv1.SequencingService_DrawMove_FullMethodName:       heavy,
		sequencingv1.SequencingService_GetStandRules_FullMethodName:  read,
		sequencingv1.SequencingService_PutStandRules_FullMethodName:  put,
		sequencingv1.SequencingService_GetBraceStock_FullMethodName:  read,
		sequencingv1.SequencingService_PutBraceStock_FullMethodName:  put,
		sequencingv1.SequencingService_CheckStand_FullMethodName:     state,
		sequencingv1.SequencingService_CheckLift_FullMethodName:      state,
		sequencingv1.SequencingService_CheckRaising_FullMethodName:   search,
		sequencingv1.SequencingService_GetStanding_FullMethodName:    search,
		sequencingv1.SequencingService_RenderStanding_FullMethodName: search,
		sequencingv1.SequencingService_RenderBraces_FullMethodName:   search,
		sequencingv1.SequencingService_DrawStand_FullMethodName:      search,
		sequencingv1.SequencingService_MakeSafe_FullMethodName:       search,
	}
}
