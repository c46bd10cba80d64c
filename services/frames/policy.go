package frames

import (
	"time"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// heavyTimeout is the longest that a computation on a whole frame may take, waiting included.
const heavyTimeout = 20 * time.Second

// Policy says who may call what: everybody reads and tries out; estimators, leads and admins keep
// jobs; the shop issues frames as well.
func (s *Service) Policy() policy.Table {
	all := identity.Roles()
	keep := []identity.Role{identity.Estimator, identity.Lead, identity.Admin}
	issue := []identity.Role{identity.Estimator, identity.Shop, identity.Lead, identity.Admin}
	return policy.Table{
		framesv1.FramesService_CreateJob_FullMethodName:     {Roles: keep, Write: true},
		framesv1.FramesService_GetJob_FullMethodName:        {Roles: all},
		framesv1.FramesService_ListJobs_FullMethodName:      {Roles: all},
		framesv1.FramesService_UpdateJob_FullMethodName:     {Roles: keep, Write: true},
		framesv1.FramesService_RoughOutFrame_FullMethodName: {Roles: all, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_CheckFrame_FullMethodName:    {Roles: all, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_IssueFrame_FullMethodName:    {Roles: issue, Write: true, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_ListFrames_FullMethodName:    {Roles: all},
		framesv1.FramesService_GetFrame_FullMethodName:      {Roles: all, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_DrawFrame_FullMethodName:     {Roles: all, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_GetLayout_FullMethodName:     {Roles: all, Heavy: true, Timeout: heavyTimeout},
		framesv1.FramesService_RenderLayout_FullMethodName:  {Roles: all, Heavy: true, Timeout: heavyTimeout},
	}
}
