package sitelog_test

import (
	"context"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// TestEveryRPCAndEveryCaller calls every RPC as every role, from another company, and without credentials.
func TestEveryRPCAndEveryCaller(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, url string) {
		s := openSite(t, url, options{})
		s.post(shed, s.note("first"))
		calls := map[string]func(ctx context.Context) error{
			"PostEntries": func(ctx context.Context) error {
				_, err := s.tryPost(ctx, shed, s.note("again"))
				return err
			},
			"ListEntries": func(ctx context.Context) error {
				_, err := s.client.ListEntries(ctx, &sitelogv1.ListEntriesRequest{Job: shed})
				return err
			},
			"WatchEntries": func(ctx context.Context) error {
				ctx, cancel := context.WithCancel(ctx)
				defer cancel()
				w, err := s.client.WatchEntries(ctx, &sitelogv1.WatchEntriesRequest{Job: shed})
				if err == nil {
					_, err = w.Recv()
				}
				return err
			},
			"GetProgress": func(ctx context.Context) error {
				_, err := s.client.GetProgress(ctx, &sitelogv1.GetProgressRequest{Job: shed})
				return err
			},
		}
		if n := sitelogv1.File_pikepole_sitelog_v1_sitelog_proto.Services().ByName("SitelogService").Methods().Len(); n != len(calls) {
			t.Errorf("%d RPCs are tried, the service has %d", len(calls), n)
		}
		posts := map[identity.Role]bool{identity.Field: true, identity.Lead: true, identity.Shop: true, identity.Admin: true}
		for name, call := range calls {
			for _, role := range identity.Roles() {
				want := codes.OK
				if name == "PostEntries" && !posts[role] {
					want = codes.PermissionDenied
				}
				if err := call(s.as(ours, role)); status.Code(err) != want {
					t.Errorf("%s as %s: %v, want %s", name, role, err, want)
				}
			}
			wantFault(t, name+" without a role", call(s.as(ours)), codes.PermissionDenied, fault.ReasonRole)
			wantFault(t, name+" from another company", call(s.as(theirs, identity.Admin)), codes.NotFound, "JOB_NOT_FOUND")
			wantFault(t, name+" without credentials", call(context.Background()), codes.Unauthenticated, fault.ReasonNoCredentials)
			wantFault(t, name+" with an altered token", call(identity.WithToken(context.Background(), identity.Token(s.field())+"A")), codes.Unauthenticated, fault.ReasonToken)
		}
		if got := s.all(s.field(), shed); len(got) != 2 {
			t.Errorf("the log has %d entries, want 2: those who may not post left something", len(got))
		}
	})
}
