package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/pikepole/pikepole/services/platform/store"
	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

// TestFilesAreTheirOwnersAlone: keys that sign are among what is kept, and the folder may be open to
// others.
func TestFilesAreTheirOwnersAlone(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	db := storetest.Open(t, store.Config{URL: "sqlite:" + filepath.Join(folder, "store.db")})
	if err := db.Ping(t.Context()); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(folder)
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, file := range files {
		info, err := file.Info()
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode != 0o600 {
			t.Errorf("%s has the mode %o", file.Name(), mode)
		}
	}
}
