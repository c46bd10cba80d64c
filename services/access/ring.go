package access

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"time"

	"github.com/pikepole/pikepole/services/access/credential"
	"github.com/pikepole/pikepole/services/access/rotation"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
)

// keepEnded is how long a key that is accepted no more stays in the store.
const keepEnded = time.Hour

// signingKey is a row of the keys that sign tokens.
type signingKey struct {
	Sequence int64
	ID       string
	Private  ed25519.PrivateKey
	Start    time.Time
}

// ring holds the signing keys as this instance read them last. It adds the next key when it is due.
type ring struct {
	db  *store.DB
	now func() time.Time

	turn chan struct{} // one at a time; what follows belongs to whose turn it is
	keys []signingKey
	read time.Time
}

func newRing(db *store.DB, now func() time.Time) *ring {
	return &ring{db: db, now: now, turn: make(chan struct{}, 1)}
}

// current gives the keys, read no longer ago than rotation.Refresh. While the store does not answer they may be as old as
// the notice that a new key is given; no key can have come into use that long unseen.
func (r *ring) current(ctx context.Context) ([]signingKey, error) {
	select {
	case r.turn <- struct{}{}:
		defer func() { <-r.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	now := r.now()
	age := now.Sub(r.read)
	if len(r.keys) > 0 && age >= 0 && age < rotation.Refresh {
		return r.keys, nil
	}
	keys, err := r.load(ctx, now)
	if err == nil {
		r.keys, r.read = keys, now
		return keys, nil
	}
	if len(r.keys) > 0 && age >= 0 && age < rotation.Notice {
		return r.keys, nil
	}
	return nil, err
}

func (r *ring) load(ctx context.Context, now time.Time) ([]signingKey, error) {
	keys, err := r.readAll(ctx)
	if err != nil {
		return nil, err
	}
	if _, due := timetable(keys).Next(now); !due {
		return keys, nil
	}
	err = r.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error { return addNextKey(ctx, tx, now) })
	if err == nil || store.IsUnique(err) { // or another instance was quicker: its key is the next one
		return r.readAll(ctx)
	}
	if len(keys) > 0 { // those at hand go on signing; the next one is added when the store can be written again
		return keys, nil
	}
	return nil, err
}

func (r *ring) readAll(ctx context.Context) (keys []signingKey, err error) {
	err = r.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		keys, err = listSigningKeys(ctx, tx)
		return err
	})
	return keys, err
}

// signer gives what signs now.
func (r *ring) signer(ctx context.Context) (*identity.Signer, error) {
	keys, err := r.current(ctx)
	if err != nil {
		return nil, err
	}
	k := keys[timetable(keys).Signing(r.now())]
	return identity.NewSigner(k.ID, k.Private), nil
}

// public gives the keys by which tokens are accepted, now or soon.
func (r *ring) public(ctx context.Context) ([]identity.Key, error) {
	keys, err := r.current(ctx)
	if err != nil {
		return nil, err
	}
	now, table := r.now(), timetable(keys)
	signing := table.Signing(now)
	var public []identity.Key
	for i, k := range keys {
		start := k.Start
		if i == signing && start.After(now) {
			// The clock was set back, and the key signs all the same: verifiers must not take its tokens for older than itself.
			start = now
		}
		until := table.AcceptedUntil(i, now)
		if until.After(now) {
			public = append(public, identity.Key{ID: k.ID, Public: k.Private.Public().(ed25519.PublicKey), Start: start, Expire: until})
		}
	}
	return public, nil
}

func timetable(keys []signingKey) rotation.Schedule {
	s := rotation.Schedule{TokenLife: identity.TokenLife}
	for _, k := range keys {
		s.Starts = append(s.Starts, k.Start)
	}
	return s
}

func listSigningKeys(ctx context.Context, tx *store.Tx) ([]signingKey, error) {
	rows, err := tx.Query(ctx, `SELECT sequence, id, private_key, start_time FROM signing_key ORDER BY sequence`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var keys []signingKey
	for rows.Next() {
		var k signingKey
		var seed []byte
		var start int64
		if err := rows.Scan(&k.Sequence, &k.ID, &seed, &start); err != nil {
			return nil, err
		}
		k.Private, k.Start = ed25519.NewKeyFromSeed(seed), store.Time(start)
		keys = append(keys, k)
	}
	return keys, rows.Err()
}

// addNextKey adds the key that is due, unless it is there by now, and takes away those that ended long ago.
func addNextKey(ctx context.Context, tx *store.Tx, now time.Time) error {
	keys, err := listSigningKeys(ctx, tx)
	if err != nil {
		return err
	}
	table := timetable(keys)
	start, due := table.Next(now)
	if !due {
		return nil
	}
	var sequence int64 = 1
	if n := len(keys); n > 0 {
		sequence = keys[n-1].Sequence + 1
	}
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `INSERT INTO signing_key (sequence, id, private_key, start_time, create_time) VALUES (?, ?, ?, ?, ?)`,
		sequence, credential.NewID(""), private.Seed(), store.Micros(start), store.Micros(now))
	if err != nil {
		return err
	}
	for i, k := range keys {
		if !table.AcceptedUntil(i, now).Add(keepEnded).After(now) {
			if _, err := tx.Exec(ctx, `DELETE FROM signing_key WHERE sequence = ?`, k.Sequence); err != nil {
				return err
			}
		}
	}
	return nil
}
