package sitelog

import (
	"time"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// Policy lists who may call what: everyone reads, and those who are on site or in the shop post.
func (s *Service) Policy() policy.Table {
	read := policy.Rule{Roles: identity.Roles()}
	return policy.Table{
		sitelogv1.SitelogService_PostEntries_FullMethodName: {
			Roles: []identity.Role{identity.Field, identity.Lead, identity.Shop, identity.Admin}, Write: true,
		},
		sitelogv1.SitelogService_ListEntries_FullMethodName: read,
		// A watch ends with its token, before this.
		sitelogv1.SitelogService_WatchEntries_FullMethodName: {Roles: identity.Roles(), Timeout: identity.TokenLife + time.Minute},
		sitelogv1.SitelogService_GetProgress_FullMethodName:  read,
	}
}
