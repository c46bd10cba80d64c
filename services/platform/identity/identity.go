// Package identity says who is calling: the caller in the context, the signed token that
// carries it between programs, and the client side that obtains and forwards tokens.
package identity

import (
	"context"
	"slices"

	"github.com/pikepole/pikepole/services/platform/fault"
)

// Role is what a person may do.
type Role string

// The roles.
const (
	Estimator Role = "estimator"
	Shop      Role = "shop"
	Lead      Role = "lead"
	Field     Role = "field"
	Viewer    Role = "viewer"
	Admin     Role = "admin"
)

// Roles lists all roles, in the order in which they are shown.
func Roles() []Role { return []Role{Estimator, Shop, Lead, Field, Viewer, Admin} }

// Known says whether it is one of Roles.
func (r Role) Known() bool { return slices.Contains(Roles(), r) }

// Caller is who is calling.
type Caller struct {
	// Company is the id by which every query is scoped.
	Company     string
	CompanyName string
	// Person is the id of the person for whom the call is made.
	Person     string
	PersonName string
	Roles      []Role
}

// Has says whether the caller has the role.
func (c Caller) Has(r Role) bool { return slices.Contains(c.Roles, r) }

type callerKey struct{}

// With returns a context that carries the caller.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// From returns the caller; without one it is an Unauthenticated fault.
func From(ctx context.Context) (Caller, error) {
	c, ok := ctx.Value(callerKey{}).(Caller)
	if !ok || c.Company == "" {
		return Caller{}, fault.New(fault.Unauthenticated, fault.ReasonNoCredentials, "The call carries no credentials; send a token.")
	}
	return c, nil
}

type tokenKey struct{}

// WithToken returns a context whose calls to other services carry this token.
func WithToken(ctx context.Context, token string) context.Context {
	return context.WithValue(ctx, tokenKey{}, token)
}

// Token returns the token that the context carries, or "".
func Token(ctx context.Context) string {
	t, _ := ctx.Value(tokenKey{}).(string)
	return t
}
