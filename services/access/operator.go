package access

import (
	"context"
	"time"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access/credential"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
)

// What follows is for the operator's command line, which works on the store directly: it asks for no credentials.

// CreateCompany makes a company. The id is the operator's choice: 2 to 40 characters of a-z, 0-9 and hyphen. An id that
// is taken is the fault COMPANY_EXISTS.
func (s *Service) CreateCompany(ctx context.Context, id, name string) error {
	if err := checkCompanyID(id); err != nil {
		return err
	}
	if err := checkName("name", name); err != nil {
		return err
	}
	err := s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error { return insertCompany(ctx, tx, id, name, s.now()) })
	if store.IsUnique(err) {
		return fault.New(fault.AlreadyExists, ReasonCompanyExists, "There is a company with the id %.64q already; choose another id.", id).Wrap(err)
	}
	return err
}

// CreatePersonIn adds a person to a company and gives their id.
func (s *Service) CreatePersonIn(ctx context.Context, company, name string, roles []identity.Role) (id string, err error) {
	if err := checkName("name", name); err != nil {
		return "", err
	}
	if roles, err = tidyRoles("roles", roles); err != nil {
		return "", err
	}
	if err := checkCompanyID(company); err != nil {
		return "", err
	}
	p := s.newPerson(company, name, roles)
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error { return addPerson(ctx, tx, p) })
	return p.ID, err
}

// CreateKeyIn makes a key for a person and gives the whole key, which is kept nowhere.
func (s *Service) CreateKeyIn(ctx context.Context, company, person, label string) (key string, err error) {
	if err := checkName("label", label); err != nil {
		return "", err
	}
	secret := credential.NewKey()
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		_, err := s.addKey(ctx, tx, company, person, label, secret)
		return err
	})
	if err != nil {
		return "", err
	}
	return secret.String(), nil
}

// CreateSignInLinkIn makes a one-time link for a person and gives its code; SignInPath says where it is redeemed.
func (s *Service) CreateSignInLinkIn(ctx context.Context, company, person string) (code string, err error) {
	code = credential.NewHandle()
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		_, err := s.addLink(ctx, tx, company, person, code)
		return err
	})
	if err != nil {
		return "", err
	}
	return code, nil
}

// RevokeKey revokes a key by its id, the middle part of the key.
func (s *Service) RevokeKey(ctx context.Context, company, id string) error {
	if !plainID(id) {
		return fault.New(fault.NotFound, ReasonKeyNotFound, "The company has no key with the id %.64q; list the keys to see their ids.", id)
	}
	now := s.now()
	return s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		changed, err := revokeKey(ctx, tx, company, id, now)
		if err != nil || !changed {
			return err
		}
		return tell(ctx, tx, company, keyRevoked, id, &accessv1.Key{Id: id, RevokeTime: timeOrAbsent(now)})
	})
}

// Company is a company as the operator sees it.
type Company struct {
	ID, Name   string
	CreateTime time.Time
}

// Companies lists all companies by id.
func (s *Service) Companies(ctx context.Context) ([]Company, error) {
	return read(ctx, s.db, listCompanies)
}

// PeopleIn lists the people of a company by id.
func (s *Service) PeopleIn(ctx context.Context, company string) ([]*accessv1.Person, error) {
	return all(ctx, s, company, listPeople, func(p person) string { return p.ID }, renderPerson)
}

// KeysIn lists the keys of a company by id, without secrets.
func (s *Service) KeysIn(ctx context.Context, company string) ([]*accessv1.Key, error) {
	return all(ctx, s, company, listKeys, func(k apiKey) string { return k.ID }, renderKey)
}

// all reads every row that a company has, a page at a time.
func all[T, R any](ctx context.Context, s *Service, company string,
	rows func(ctx context.Context, tx *store.Tx, company, after string, limit int) ([]T, error), id func(T) string, render func(T) R,
) ([]R, error) {
	return read(ctx, s.db, func(ctx context.Context, tx *store.Tx) ([]R, error) {
		var out []R
		for after := ""; ; {
			batch, err := rows(ctx, tx, company, after, maxPage)
			if err != nil {
				return nil, err
			}
			for _, row := range batch {
				out, after = append(out, render(row)), id(row)
			}
			if len(batch) < maxPage {
				return out, nil
			}
		}
	})
}

func listCompanies(ctx context.Context, tx *store.Tx) ([]Company, error) {
	rows, err := tx.Query(ctx, `SELECT id, name, create_time FROM company ORDER BY id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var companies []Company
	for rows.Next() {
		var c Company
		var created int64
		if err := rows.Scan(&c.ID, &c.Name, &created); err != nil {
			return nil, err
		}
		c.CreateTime = store.Time(created)
		companies = append(companies, c)
	}
	return companies, rows.Err()
}
