package access

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access/credential"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/outbox"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

const (
	maxPage    = 200
	peopleList = "people"
	keyList    = "keys"

	personAdded   = "person.added"
	personChanged = "person.changed"
	keyMade       = "key.made"
	keyRevoked    = "key.revoked"
	linkMade      = "link.made"
)

// CreatePerson adds a person to the caller's company.
func (s *Service) CreatePerson(ctx context.Context, req *accessv1.CreatePersonRequest) (*accessv1.Person, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	if err := checkName("person.name", req.GetPerson().GetName()); err != nil {
		return nil, err
	}
	roles, err := parseRoles("person.roles", req.GetPerson().GetRoles())
	if err != nil {
		return nil, err
	}
	p := s.newPerson(caller.Company, req.GetPerson().GetName(), roles)
	p.Disabled = req.GetPerson().GetDisabled()
	return write(ctx, s.db, func(ctx context.Context, tx *store.Tx) (*accessv1.Person, error) {
		made := &accessv1.Person{}
		err := replay.Once(ctx, tx, caller, accessv1.AccessService_CreatePerson_FullMethodName, req.GetRequestId(), req, made, func() error {
			proto.Merge(made, renderPerson(p))
			return addPerson(ctx, tx, p)
		})
		return made, err
	})
}

func (s *Service) newPerson(company, name string, roles []identity.Role) person {
	return person{Company: company, ID: credential.NewID("person-"), Name: name, Roles: roles, Version: 1, Created: s.now()}
}

func addPerson(ctx context.Context, tx *store.Tx, p person) error {
	if err := lockCompany(ctx, tx, p.Company); err != nil {
		return err
	}
	if err := insertPerson(ctx, tx, p); err != nil {
		return err
	}
	return tell(ctx, tx, p.Company, personAdded, p.ID, renderPerson(p))
}

// tell puts what happened into the company's feed.
func tell(ctx context.Context, tx *store.Tx, company, kind, subject string, payload proto.Message) error {
	bytes, err := proto.Marshal(payload)
	if err != nil {
		return err
	}
	return outbox.Add(ctx, tx, company, kind, "", subject, bytes)
}

// ListPeople lists the people of the caller's company by id.
func (s *Service) ListPeople(ctx context.Context, req *accessv1.ListPeopleRequest) (*accessv1.ListPeopleResponse, error) {
	people, next, err := list(ctx, s, peopleList, req, listPeople, func(p person) string { return p.ID })
	if err != nil {
		return nil, err
	}
	res := &accessv1.ListPeopleResponse{NextPageToken: next}
	for _, p := range people {
		res.People = append(res.People, renderPerson(p))
	}
	return res, nil
}

type pageRequest interface {
	GetPageSize() int32
	GetPageToken() string
}

// list reads one page of what a company has, by id.
func list[T any](ctx context.Context, s *Service, kind string, req pageRequest,
	rows func(ctx context.Context, tx *store.Tx, company, after string, limit int) ([]T, error), id func(T) string,
) (items []T, next string, err error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, "", err
	}
	size, err := page.Size(req.GetPageSize(), maxPage)
	if err != nil {
		return nil, "", err
	}
	cursor, err := page.Decode(kind, caller.Company, req.GetPageToken())
	if err != nil {
		return nil, "", err
	}
	after := ""
	if len(cursor) > 0 {
		if after = cursor[0]; len(cursor) != 1 || !plainID(after) {
			return nil, "", page.Refused()
		}
	}
	items, err = read(ctx, s.db, func(ctx context.Context, tx *store.Tx) ([]T, error) {
		return rows(ctx, tx, caller.Company, after, size+1)
	})
	if err == nil && len(items) > size {
		items = items[:size]
		next = page.Encode(kind, caller.Company, id(items[size-1]))
	}
	return items, next, err
}

// UpdatePerson changes name, roles or whether a person may sign in.
func (s *Service) UpdatePerson(ctx context.Context, req *accessv1.UpdatePersonRequest) (*accessv1.Person, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	change, err := parseChange(req)
	if err != nil {
		return nil, err
	}
	id := req.GetPerson().GetId()
	if !plainID(id) {
		return nil, personNotFound(id)
	}
	p, err := write(ctx, s.db, func(ctx context.Context, tx *store.Tx) (person, error) {
		if err := lockCompany(ctx, tx, caller.Company); err != nil {
			return person{}, err
		}
		before, err := findPerson(ctx, tx, caller.Company, id)
		if err != nil {
			return person{}, err
		}
		if given := req.GetPerson().GetEtag(); given != "" && given != etag(before) {
			return person{}, fault.New(fault.Conflict, ReasonEtag,
				"The person was changed since you read them (etag %.64q, now %.64q); read them again and repeat the change.", given, etag(before))
		}
		after := change.on(before)
		return after, s.putPerson(ctx, tx, before, after)
	})
	if err != nil {
		return nil, err
	}
	return renderPerson(p), nil
}

// putPerson writes a changed person. The company's row must be locked.
func (s *Service) putPerson(ctx context.Context, tx *store.Tx, before, after person) error {
	if before.manages() && !after.manages() {
		another, err := anotherManages(ctx, tx, after.Company, after.ID)
		if err != nil {
			return err
		}
		if !another {
			return fault.New(fault.Precondition, ReasonLastAdmin,
				"%s is the last admin who can sign in; make another person an admin first.", before.Name)
		}
	}
	if err := updatePerson(ctx, tx, after); err != nil {
		return err
	}
	if after.Disabled {
		if err := endSignIns(ctx, tx, after.Company, after.ID); err != nil {
			return err
		}
	}
	return tell(ctx, tx, after.Company, personChanged, after.ID, renderPerson(after))
}

func personNotFound(id string) error {
	return fault.New(fault.NotFound, ReasonPersonNotFound, "The company has no person with the id %.64q; list the people to see their ids.", id)
}

// change is what an update asks for; what it leaves alone is nil.
type change struct {
	name     *string
	roles    []identity.Role
	disabled *bool
}

// parseChange reads the update mask. The paths id and etag are passed over: they say which person and which version, and
// clients that build the mask from what they send name them.
func parseChange(req *accessv1.UpdatePersonRequest) (change, error) {
	var c change
	in := req.GetPerson()
	for _, path := range req.GetUpdateMask().GetPaths() {
		switch path {
		case "name":
			if err := checkName("person.name", in.GetName()); err != nil {
				return change{}, err
			}
			c.name = proto.String(in.GetName())
		case "roles":
			roles, err := parseRoles("person.roles", in.GetRoles())
			if err != nil {
				return change{}, err
			}
			c.roles = roles
		case "disabled":
			c.disabled = proto.Bool(in.GetDisabled())
		case "id", "etag":
		default:
			return change{}, fault.Invalid("update_mask", "has %.64q, which cannot be changed; name, roles and disabled can", path)
		}
	}
	if c.name == nil && c.roles == nil && c.disabled == nil {
		return change{}, fault.Invalid("update_mask", "names nothing to change; name at least one of name, roles and disabled")
	}
	return c, nil
}

func (c change) on(p person) person {
	p.Roles = slices.Clone(p.Roles)
	if c.name != nil {
		p.Name = *c.name
	}
	if c.roles != nil {
		p.Roles = c.roles
	}
	if c.disabled != nil {
		p.Disabled = *c.disabled
	}
	p.Version++
	return p
}
