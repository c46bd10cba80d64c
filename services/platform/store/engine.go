package store

import (
	"context"
	"database/sql"

	"github.com/pressly/goose/v3"
)

// role is what a pool of connections is for.
type role int

const (
	roleWrite role = iota
	roleRead
	roleMigrate
)

// engine is what differs between SQLite and PostgreSQL.
type engine interface {
	name() string
	// remote says that other processes write to the same store and are heard through an Ear.
	remote() bool
	open(role) (*sql.DB, error)
	// begin starts a write transaction that no other write overlaps, with its first savepoint.
	begin(context.Context, *sql.Conn) error
	// publish tells other processes of topics, as part of the transaction.
	publish(context.Context, *sql.Conn, []string) error
	// readOptions make a read see one snapshot.
	readOptions() *sql.TxOptions
	// query turns "?" into the engine's placeholders.
	query(string) string
	// schema turns the text of a migration into the engine's types.
	schema(string) string
	// wrap turns an engine's error into an *Error; context errors stay what they are.
	wrap(error) error
	settings() map[string]string
	dialect() goose.Dialect
	// prepare makes what a migration takes for granted, and gives its options.
	prepare(context.Context, *sql.DB) ([]goose.ProviderOption, error)
	// maxBatch is how many writes share a commit at most.
	maxBatch() int
	// detach is the context under which statements of the shared write transaction run: a
	// caller that leaves must not break it for the others.
	detach() (context.Context, context.CancelFunc)
}
