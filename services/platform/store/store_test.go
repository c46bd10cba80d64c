package store_test

import (
	"testing"

	"github.com/pikepole/pikepole/services/platform/store/storetest"
)

func TestContractOnSQLite(t *testing.T) {
	t.Parallel()
	storetest.Run(t, storetest.SQLite)
}

func TestContractOnPostgres(t *testing.T) {
	t.Parallel()
	storetest.Run(t, storetest.Postgres)
}
