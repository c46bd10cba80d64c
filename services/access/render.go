package access

import (
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

const (
	maxName = 100
	maxID   = 64
)

func roleOf(r accessv1.Role) (identity.Role, bool) {
	switch r {
	case accessv1.Role_ROLE_ESTIMATOR:
		return identity.Estimator, true
	case accessv1.Role_ROLE_SHOP:
		return identity.Shop, true
	case accessv1.Role_ROLE_LEAD:
		return identity.Lead, true
	case accessv1.Role_ROLE_FIELD:
		return identity.Field, true
	case accessv1.Role_ROLE_VIEWER:
		return identity.Viewer, true
	case accessv1.Role_ROLE_ADMIN:
		return identity.Admin, true
	default:
		return "", false
	}
}

func renderRoles(roles []identity.Role) []accessv1.Role {
	var out []accessv1.Role
	for _, r := range roles {
		number, known := accessv1.Role_value["ROLE_"+strings.ToUpper(string(r))]
		if known {
			out = append(out, accessv1.Role(number))
		}
	}
	return out
}

func renderCaller(c identity.Caller) *accessv1.Caller {
	return &accessv1.Caller{
		Company: c.Company, CompanyName: c.CompanyName, Person: c.Person, PersonName: c.PersonName, Roles: renderRoles(c.Roles),
	}
}

func renderPerson(p person) *accessv1.Person {
	return &accessv1.Person{
		Id: p.ID, Name: p.Name, Roles: renderRoles(p.Roles), Disabled: p.Disabled,
		CreateTime: timestamppb.New(p.Created), Etag: etag(p),
	}
}

func etag(p person) string { return strconv.FormatInt(p.Version, 10) }

func renderKey(k apiKey) *accessv1.Key {
	return &accessv1.Key{
		Id: k.ID, Person: k.Person, Label: k.Label, CreateTime: timestamppb.New(k.Created),
		LastUsedTime: timeOrAbsent(k.LastUsed), RevokeTime: timeOrAbsent(k.Revoked),
	}
}

func timeOrAbsent(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// parseRoles reads the roles of a request.
func parseRoles(path string, in []accessv1.Role) ([]identity.Role, error) {
	var roles []identity.Role
	for i, r := range in {
		role, known := roleOf(r)
		if !known {
			return nil, fault.Invalid(path+"["+strconv.Itoa(i)+"]", "is no role that is known here; choose one of the listed roles")
		}
		roles = append(roles, role)
	}
	return tidyRoles(path, roles)
}

// tidyRoles puts roles in order, without repeats, and refuses none at all or an unknown one.
func tidyRoles(path string, in []identity.Role) ([]identity.Role, error) {
	given := map[identity.Role]bool{}
	for _, r := range in {
		if !r.Known() {
			return nil, fault.Invalid(path, "has %.64q, which is no role; the roles are %s", r, roleNames())
		}
		given[r] = true
	}
	var roles []identity.Role
	for _, r := range identity.Roles() {
		if given[r] {
			roles = append(roles, r)
		}
	}
	if len(roles) == 0 {
		return nil, fault.Invalid(path, "is empty; give at least one of %s", roleNames())
	}
	return roles, nil
}

func roleNames() string {
	var names []string
	for _, r := range identity.Roles() {
		names = append(names, string(r))
	}
	return strings.Join(names, ", ")
}

// checkName accepts what people may be called, and what a key may be for.
func checkName(path, name string) error {
	switch n := utf8.RuneCountInString(name); {
	case strings.TrimSpace(name) == "":
		return fault.Invalid(path, "is empty; give 1 to %d characters", maxName)
	case n > maxName:
		return fault.Invalid(path, "has %d characters; give at most %d", n, maxName)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl):
		return fault.Invalid(path, "has a control character; take it out")
	}
	return nil
}

// checkCompanyID accepts ids that are easy to type and safe in file names and addresses.
func checkCompanyID(id string) error {
	ok := len(id) >= 2 && len(id) <= 40 && id[0] >= 'a' && id[0] <= 'z'
	if !ok || !plainID(id) || strings.ContainsAny(id, "ABCDEFGHIJKLMNOPQRSTUVWXYZ_") {
		return fault.Invalid("id", "must be 2 to 40 characters of a-z, 0-9 and hyphen and begin with a letter")
	}
	return nil
}

// plainID says whether an id from outside can be one of ours at all.
func plainID(id string) bool {
	if id == "" || len(id) > maxID {
		return false
	}
	for _, r := range id {
		if (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' && r != '_' {
			return false
		}
	}
	return true
}
