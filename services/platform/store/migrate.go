package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/pressly/goose/v3"
)

// Migrate brings the tables to the newest of the numbered *.sql files in the folder migrations of
// the file system. The files are written for goose, forward only, in the SQL that both engines share,
// with SQLite's types in capitals: TEXT, BLOB, BIGINT, INTEGER, REAL, BOOLEAN. Two processes
// that migrate the same PostgreSQL schema at once take turns.
func (db *DB) Migrate(ctx context.Context, files fs.FS) error {
	return db.migrate(ctx, files, func(p *goose.Provider) error {
		_, err := p.Up(ctx)
		return err
	})
}

// MigrateTo is Migrate up to a version, so that a test can start from the one before.
func (db *DB) MigrateTo(ctx context.Context, files fs.FS, version int64) error {
	return db.migrate(ctx, files, func(p *goose.Provider) error {
		_, err := p.UpTo(ctx, version)
		return err
	})
}

func (db *DB) migrate(ctx context.Context, files fs.FS, up func(*goose.Provider) error) (err error) {
	files, err = fs.Sub(files, "migrations")
	if err != nil {
		return fmt.Errorf("migrate store %s: %w", db.config.Schema, err)
	}
	conns, err := db.engine.open(roleMigrate)
	if err != nil {
		return fmt.Errorf("migrate store %s: %w", db.config.Schema, err)
	}
	defer func() { err = errors.Join(err, conns.Close()) }()
	options, err := db.engine.prepare(ctx, conns)
	if err != nil {
		return unavailable(fmt.Errorf("migrate store %s: %w", db.config.Schema, db.engine.wrap(err)))
	}
	options = append(options, goose.WithDisableGlobalRegistry(true))
	provider, err := goose.NewProvider(db.engine.dialect(), conns, translated{files, db.engine.schema}, options...)
	if err != nil {
		return fmt.Errorf("migrate store %s: read migrations: %w", db.config.Schema, err)
	}
	if err := up(provider); err != nil {
		return unavailable(fmt.Errorf("migrate store %s: %w", db.config.Schema, db.engine.wrap(err)))
	}
	return nil
}

// translated shows *.sql files in the engine's own words.
type translated struct {
	files     fs.FS
	translate func(string) string
}

// Open opens a file; of *.sql the translated text.
func (t translated) Open(name string) (fs.File, error) {
	if !strings.HasSuffix(name, ".sql") {
		return t.files.Open(name)
	}
	text, err := fs.ReadFile(t.files, name)
	if err != nil {
		return nil, err
	}
	info, err := fs.Stat(t.files, name)
	if err != nil {
		return nil, err
	}
	text = []byte(t.translate(string(text)))
	return &textFile{Reader: bytes.NewReader(text), info: textInfo{info, int64(len(text))}}, nil
}

// ReadDir lists a folder as it is.
func (t translated) ReadDir(name string) ([]fs.DirEntry, error) { return fs.ReadDir(t.files, name) }

type textFile struct {
	io.Reader
	info textInfo
}

func (f *textFile) Stat() (fs.FileInfo, error) { return f.info, nil }
func (f *textFile) Close() error               { return nil }

type textInfo struct {
	fs.FileInfo
	size int64
}

func (i textInfo) Size() int64 { return i.size }
