// Package suite is the shape that every service has in common, so that one program can
// start any of them, alone or together.
package suite

import (
	"context"

	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/services/platform/policy"
)

// Service is one service, ready to be served once Migrate has returned.
type Service interface {
	// Name is the service's short name, for example "frames".
	Name() string
	// Register adds the service's RPCs to a server.
	Register(grpc.ServiceRegistrar)
	// Policy has one row for each RPC that Register adds, and no other.
	Policy() policy.Table
	// Migrate brings the service's store to its newest version.
	Migrate(context.Context) error
	// Close lets go of what the service holds. It is called once, after the last RPC ended.
	Close() error
}
