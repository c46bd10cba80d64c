// Package policy is the table of who may call what, for how long, and to what effect.
package policy

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/identity"
)

// DefaultTimeout is the longest that an RPC may take when its row does not say otherwise.
const DefaultTimeout = 15 * time.Second

// Rule is the row of one RPC.
type Rule struct {
	// Roles that may call the RPC; a caller needs one of them.
	Roles []identity.Role
	// Public RPCs need no credentials and have no roles.
	Public bool
	// Write says that the RPC has an effect.
	Write bool
	// Timeout caps the caller's deadline; 0 means DefaultTimeout. A watch states its own.
	Timeout time.Duration
	// Heavy says that the RPC computes in the process's pool and may be told to come back later.
	Heavy bool
}

// Limit is the longest that the RPC may take.
func (r Rule) Limit() time.Duration {
	if r.Timeout > 0 {
		return r.Timeout
	}
	return DefaultTimeout
}

// Allows says whether one of the caller's roles may call the RPC.
func (r Rule) Allows(c identity.Caller) bool {
	return r.Public || slices.ContainsFunc(r.Roles, c.Has)
}

// RoleNames lists the roles that may call, for a message: "lead, admin".
func (r Rule) RoleNames() string {
	names := make([]string, len(r.Roles))
	for i, role := range r.Roles {
		names[i] = string(role)
	}
	return strings.Join(names, ", ")
}

// Table has one row for each RPC, by its full method: "/pikepole.frames.v1.FramesService/GetJob".
type Table map[string]Rule

// Merge puts tables together; a method that stands in two of them is an error.
func Merge(tables ...Table) (Table, error) {
	all := Table{}
	for _, t := range tables {
		for method, rule := range t {
			if _, twice := all[method]; twice {
				return nil, fmt.Errorf("policy: %s has two rows", method)
			}
			all[method] = rule
		}
	}
	return all, nil
}

// Check compares the table with the methods that are really served: a method without a row,
// a row without a method, a row that lets nobody in, or a public row with roles is an error.
func (t Table) Check(methods []string) error {
	var faults []string
	served := map[string]bool{}
	for _, m := range methods {
		served[m] = true
		if _, ok := t[m]; !ok {
			faults = append(faults, m+" has no row")
		}
	}
	for _, m := range slices.Sorted(maps.Keys(t)) {
		rule := t[m]
		switch {
		case !served[m]:
			faults = append(faults, m+" has a row but is not served")
		case rule.Public && len(rule.Roles) > 0:
			faults = append(faults, m+" is public and names roles")
		case !rule.Public && len(rule.Roles) == 0:
			faults = append(faults, m+" lets nobody in")
		}
		for _, role := range rule.Roles {
			if !role.Known() {
				faults = append(faults, fmt.Sprintf("%s names the unknown role %q", m, role))
			}
		}
	}
	if len(faults) > 0 {
		return fmt.Errorf("policy: %s", strings.Join(faults, "; "))
	}
	return nil
}
