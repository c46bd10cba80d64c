package policy_test

import (
	"strings"
	"testing"
	"time"

	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

func TestRule(t *testing.T) {
	t.Parallel()
	rule := policy.Rule{Roles: []identity.Role{identity.Lead, identity.Admin}}
	if !rule.Allows(identity.Caller{Roles: []identity.Role{identity.Viewer, identity.Lead}}) {
		t.Error("a lead is refused")
	}
	if rule.Allows(identity.Caller{Roles: []identity.Role{identity.Viewer}}) || rule.Allows(identity.Caller{}) {
		t.Error("a viewer, or nobody, is let in")
	}
	if !(policy.Rule{Public: true}).Allows(identity.Caller{}) {
		t.Error("public is not")
	}
	if got := rule.RoleNames(); got != "lead, admin" {
		t.Errorf("roles read %q", got)
	}
	if rule.Limit() != policy.DefaultTimeout || (policy.Rule{Timeout: time.Hour}).Limit() != time.Hour {
		t.Error("the limit is wrong")
	}
}

func TestMerge(t *testing.T) {
	t.Parallel()
	a, b := policy.Table{"/a": {Public: true}}, policy.Table{"/b": {}}
	all, err := policy.Merge(a, b)
	if err != nil || len(all) != 2 || !all["/a"].Public {
		t.Errorf("got %v, %v", all, err)
	}
	if _, err := policy.Merge(a, b, a); err == nil || !strings.Contains(err.Error(), "/a has two rows") {
		t.Errorf("two rows gave %v", err)
	}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	good := policy.Rule{Roles: identity.Roles()}
	cases := []struct {
		name    string
		table   policy.Table
		methods []string
		want    string
	}{
		{"good", policy.Table{"/a": good, "/p": {Public: true}}, []string{"/a", "/p"}, ""},
		{"gap", policy.Table{}, []string{"/a"}, "/a has no row"},
		{"leftover", policy.Table{"/a": good}, nil, "/a has a row but is not served"},
		{"nobody", policy.Table{"/a": {}}, []string{"/a"}, "/a lets nobody in"},
		{"both", policy.Table{"/a": {Public: true, Roles: identity.Roles()}}, []string{"/a"}, "/a is public and names roles"},
		{"unknown role", policy.Table{"/a": {Roles: []identity.Role{"boss"}}}, []string{"/a"}, `/a names the unknown role "boss"`},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			err := c.table.Check(c.methods)
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}
