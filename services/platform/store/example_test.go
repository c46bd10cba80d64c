package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing/fstest"

	"github.com/pikepole/pikepole/services/platform/store"
)

// A store is opened, migrated, written and read. On PostgreSQL only the URL differs.
func Example() {
	folder, err := os.MkdirTemp("", "store")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = os.RemoveAll(folder) }()
	if err := keepCrane(context.Background(), "sqlite:"+filepath.Join(folder, "rigging.db")); err != nil {
		fmt.Println(err)
	}
	// Output:
	// one such crane is there already: true
	// cranes: 1
}

func keepCrane(ctx context.Context, url string) error {
	db, err := store.Open(ctx, store.Config{URL: url, Schema: "rigging"})
	if err != nil {
		return err
	}
	defer func() { _ = db.Close() }()
	migrations := fstest.MapFS{"migrations/00001_crane.sql": {Data: []byte(
		"-- +goose Up\nCREATE TABLE crane (company TEXT NOT NULL, id TEXT NOT NULL, PRIMARY KEY (company, id));")}}
	if err := db.Migrate(ctx, migrations); err != nil {
		return err
	}
	insert := func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.Exec(ctx, "INSERT INTO crane (company, id) VALUES (?, ?)", "ash", "blue")
		return err
	}
	if err := db.Write(ctx, insert); err != nil {
		return err
	}
	fmt.Println("one such crane is there already:", store.IsUnique(db.Write(ctx, insert)))
	return db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		var n int64
		if err := tx.QueryRow(ctx, "SELECT count(*) FROM crane WHERE company = ?", "ash").Scan(&n); err != nil {
			return err
		}
		fmt.Println("cranes:", n)
		return nil
	})
}
