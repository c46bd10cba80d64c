package access

import (
	"context"
	"errors"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store"
)

// apiKey is a row of the keys of a company. The times LastUsed and Revoked are zero for never.
type apiKey struct {
	ID, Company, Person, Label, Hash string
	Created, LastUsed, Revoked       time.Time
}

// session is a row of the sessions. Key is the id of the key that began it, empty for a link.
type session struct {
	Hash, Company, Person, Key, CSRF string
	Created, Used, Expires           time.Time
}

func insertKey(ctx context.Context, tx *store.Tx, k apiKey) error {
	_, err := tx.Exec(ctx, `INSERT INTO api_key (id, company, person, label, hash, create_time, last_used_time, revoke_time) VALUES (?, ?, ?, ?, ?, ?, 0, 0)`,
		k.ID, k.Company, k.Person, k.Label, k.Hash, store.Micros(k.Created))
	return err
}

func timeOrNever(micros int64) time.Time {
	if micros == 0 {
		return time.Time{}
	}
	return store.Time(micros)
}

// listKeys gives at most limit keys of the company by id, behind the id after.
func listKeys(ctx context.Context, tx *store.Tx, company, after string, limit int) ([]apiKey, error) {
	rows, err := tx.Query(ctx, `SELECT id, company, person, label, create_time, last_used_time, revoke_time FROM api_key
		WHERE company = ? AND id > ? ORDER BY id LIMIT ?`, company, after, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var keys []apiKey
	for rows.Next() {
		var k apiKey
		var created, used, revoked int64
		if err := rows.Scan(&k.ID, &k.Company, &k.Person, &k.Label, &created, &used, &revoked); err != nil {
			return nil, err
		}
		k.Created, k.LastUsed, k.Revoked = store.Time(created), timeOrNever(used), timeOrNever(revoked)
		keys = append(keys, k)
	}
	return keys, rows.Err()
}

// revokeKey ends a key, and says whether it was good until now. A key of another company is not found.
func revokeKey(ctx context.Context, tx *store.Tx, company, id string, now time.Time) (changed bool, err error) {
	n, err := tx.Exec(ctx, `UPDATE api_key SET revoke_time = ? WHERE company = ? AND id = ? AND revoke_time = 0`, store.Micros(now), company, id)
	if err != nil || n > 0 {
		return n > 0, err
	}
	var known int
	err = tx.QueryRow(ctx, `SELECT COUNT(*) FROM api_key WHERE company = ? AND id = ?`, company, id).Scan(&known)
	if err == nil && known == 0 {
		err = fault.New(fault.NotFound, ReasonKeyNotFound, "The company has no key with the id %q; list the keys to see their ids.", id)
	}
	return false, err
}

const holderColumns = `c.id, c.name, p.id, p.name, p.roles, p.disabled`

// holderOf is filled by scanning holderColumns into its places.
type holderScan struct {
	holder   holder
	roles    string
	disabled int64
}

func (h *holderScan) places(more ...any) []any {
	return append([]any{&h.holder.Company, &h.holder.CompanyName, &h.holder.Person, &h.holder.PersonName, &h.roles, &h.disabled}, more...)
}

func (h *holderScan) done() holder {
	h.holder.Roles, h.holder.Disabled = rolesFrom(h.roles), h.disabled != 0
	return h.holder
}

// findKey gives a key that is not revoked, with its holder; found is false when there is none.
func findKey(ctx context.Context, tx *store.Tx, id string) (hash string, h holder, found bool, err error) {
	var scan holderScan
	err = tx.QueryRow(ctx, `SELECT `+holderColumns+`, k.hash FROM api_key k
		JOIN person p ON p.company = k.company AND p.id = k.person JOIN company c ON c.id = k.company
		WHERE k.id = ? AND k.revoke_time = 0`, id).Scan(scan.places(&hash)...)
	if errors.Is(err, store.ErrNoRows) {
		return "", holder{}, false, nil
	}
	return hash, scan.done(), err == nil, err
}

func insertSession(ctx context.Context, tx *store.Tx, s session) error {
	_, err := tx.Exec(ctx, `INSERT INTO session (hash, company, person, api_key, csrf_token, create_time, use_time, expire_time) VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
		s.Hash, s.Company, s.Person, s.Key, s.CSRF, store.Micros(s.Created), store.Micros(s.Used), store.Micros(s.Expires))
	return err
}

// findSession gives a session, with its holder, that has not come to its end and whose key was not revoked.
func findSession(ctx context.Context, tx *store.Tx, hash string, now time.Time) (s session, h holder, found bool, err error) {
	var scan holderScan
	var used, expires int64
	err = tx.QueryRow(ctx, `SELECT `+holderColumns+`, s.csrf_token, s.use_time, s.expire_time FROM session s
		JOIN person p ON p.company = s.company AND p.id = s.person JOIN company c ON c.id = s.company
		LEFT JOIN api_key k ON k.id = s.api_key
		WHERE s.hash = ? AND s.expire_time > ? AND COALESCE(k.revoke_time, 0) = 0`, hash, store.Micros(now)).
		Scan(scan.places(&s.CSRF, &used, &expires)...)
	if errors.Is(err, store.ErrNoRows) {
		return session{}, holder{}, false, nil
	}
	s.Hash, s.Used, s.Expires = hash, store.Time(used), store.Time(expires)
	return s, scan.done(), err == nil, err
}

func deleteSession(ctx context.Context, tx *store.Tx, hash string) error {
	_, err := tx.Exec(ctx, `DELETE FROM session WHERE hash = ?`, hash)
	return err
}

func insertLink(ctx context.Context, tx *store.Tx, hash, company, person string, created, expires time.Time) error {
	_, err := tx.Exec(ctx, `INSERT INTO sign_in_link (hash, company, person, create_time, expire_time) VALUES (?, ?, ?, ?, ?)`,
		hash, company, person, store.Micros(created), store.Micros(expires))
	return err
}

// takeLink uses up a link. Deleting the row decides: of two that come at once, one finds it gone.
func takeLink(ctx context.Context, tx *store.Tx, hash string, now time.Time) (h holder, found bool, err error) {
	var scan holderScan
	err = tx.QueryRow(ctx, `SELECT `+holderColumns+` FROM sign_in_link l
		JOIN person p ON p.company = l.company AND p.id = l.person JOIN company c ON c.id = l.company
		WHERE l.hash = ? AND l.expire_time > ?`, hash, store.Micros(now)).Scan(scan.places()...)
	if errors.Is(err, store.ErrNoRows) {
		return holder{}, false, nil
	}
	if err != nil {
		return holder{}, false, err
	}
	n, err := tx.Exec(ctx, `DELETE FROM sign_in_link WHERE hash = ?`, hash)
	return scan.done(), n == 1, err
}

// sweep takes away what has come to its end.
func sweep(ctx context.Context, tx *store.Tx, now time.Time) error {
	for _, table := range []string{"session", "sign_in_link"} {
		if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE expire_time <= ?`, store.Micros(now)); err != nil {
			return err
		}
	}
	return nil
}

// noteUses moves last uses forward, never back.
func noteUses(ctx context.Context, tx *store.Tx, keys, sessions []use) error {
	for _, u := range keys {
		if _, err := tx.Exec(ctx, `UPDATE api_key SET last_used_time = ? WHERE id = ? AND last_used_time < ?`, u.Micros, u.ID, u.Micros); err != nil {
			return err
		}
	}
	for _, u := range sessions {
		if _, err := tx.Exec(ctx, `UPDATE session SET use_time = ? WHERE hash = ? AND use_time < ?`, u.Micros, u.ID, u.Micros); err != nil {
			return err
		}
	}
	return nil
}
