package access

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
)

// person is a row of the people of a company.
type person struct {
	Company  string
	ID       string
	Name     string
	Roles    []identity.Role // without repeats, in the order of identity.Roles
	Disabled bool
	Version  int64
	Created  time.Time
}

// manages says whether the person can manage the company: an admin who may sign in.
func (p person) manages() bool { return !p.Disabled && slices.Contains(p.Roles, identity.Admin) }

// holder is whom a secret speaks for, read together with the secret.
type holder struct {
	identity.Caller
	Disabled bool
}

func rolesText(roles []identity.Role) string {
	var names []string
	for _, r := range roles {
		names = append(names, string(r))
	}
	return strings.Join(names, ",")
}

func rolesFrom(text string) []identity.Role {
	var roles []identity.Role
	for _, r := range strings.Split(text, ",") {
		roles = append(roles, identity.Role(r))
	}
	return roles
}

func flag(yes bool) int64 {
	if yes {
		return 1
	}
	return 0
}

func insertCompany(ctx context.Context, tx *store.Tx, id, name string, now time.Time) error {
	_, err := tx.Exec(ctx, `INSERT INTO company (id, name, create_time) VALUES (?, ?, ?)`, id, name, store.Micros(now))
	return err
}

// lockCompany holds the company's row until the transaction ends, so that changes to its people come one after another.
func lockCompany(ctx context.Context, tx *store.Tx, id string) error {
	n, err := tx.Exec(ctx, `UPDATE company SET name = name WHERE id = ?`, id)
	if err != nil {
		return err
	}
	if n == 0 {
		return fault.New(fault.NotFound, ReasonCompanyNotFound, "There is no company with the id %.64q; give the id of one that was made.", id)
	}
	return nil
}

func insertPerson(ctx context.Context, tx *store.Tx, p person) error {
	_, err := tx.Exec(ctx, `INSERT INTO person (company, id, name, roles, disabled, version, create_time) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		p.Company, p.ID, p.Name, rolesText(p.Roles), flag(p.Disabled), p.Version, store.Micros(p.Created))
	return err
}

func updatePerson(ctx context.Context, tx *store.Tx, p person) error {
	_, err := tx.Exec(ctx, `UPDATE person SET name = ?, roles = ?, disabled = ?, version = ? WHERE company = ? AND id = ?`,
		p.Name, rolesText(p.Roles), flag(p.Disabled), p.Version, p.Company, p.ID)
	return err
}

const personColumns = `company, id, name, roles, disabled, version, create_time`

func scanPerson(scan func(...any) error) (person, error) {
	var p person
	var roles string
	var disabled, created int64
	if err := scan(&p.Company, &p.ID, &p.Name, &roles, &disabled, &p.Version, &created); err != nil {
		return person{}, err
	}
	p.Roles, p.Disabled, p.Created = rolesFrom(roles), disabled != 0, store.Time(created)
	return p, nil
}

// findPerson gives a person of the company, or the fault PERSON_NOT_FOUND.
func findPerson(ctx context.Context, tx *store.Tx, company, id string) (person, error) {
	row := tx.QueryRow(ctx, `SELECT `+personColumns+` FROM person WHERE company = ? AND id = ?`, company, id)
	p, err := scanPerson(row.Scan)
	if errors.Is(err, store.ErrNoRows) {
		return person{}, personNotFound(id)
	}
	return p, err
}

// listPeople gives at most limit people of the company by id, behind the id after.
func listPeople(ctx context.Context, tx *store.Tx, company, after string, limit int) ([]person, error) {
	rows, err := tx.Query(ctx, `SELECT `+personColumns+` FROM person WHERE company = ? AND id > ? ORDER BY id LIMIT ?`, company, after, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var people []person
	for rows.Next() {
		p, err := scanPerson(rows.Scan)
		if err != nil {
			return nil, err
		}
		people = append(people, p)
	}
	return people, rows.Err()
}

// anotherManages says whether somebody besides one person can manage the company.
func anotherManages(ctx context.Context, tx *store.Tx, company, besides string) (bool, error) {
	rows, err := tx.Query(ctx, `SELECT `+personColumns+` FROM person WHERE company = ? AND id <> ? AND disabled = 0`, company, besides)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	for rows.Next() {
		p, err := scanPerson(rows.Scan)
		if err != nil || p.manages() {
			return err == nil, err
		}
	}
	return false, rows.Err()
}

// endSignIns takes away the sessions and links of a person, so that none comes back to life when the person does.
func endSignIns(ctx context.Context, tx *store.Tx, company, person string) error {
	for _, table := range []string{"session", "sign_in_link"} {
		if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE company = ? AND person = ?`, company, person); err != nil {
			return err
		}
	}
	return nil
}
