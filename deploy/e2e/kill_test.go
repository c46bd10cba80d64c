package e2e_test

import (
	"bytes"
	"fmt"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protojson"

	"github.com/pikepole/pikepole/deploy/testkit"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/store"
)

const (
	kills = 20
	// posters post at the same time, each a batch after the other.
	posters   = 4
	batchSize = 5
)

// TestKill kills the program while entries are being posted, again and again. What was
// acknowledged must be there afterwards, and nothing twice.
func TestKill(t *testing.T) {
	t.Parallel()
	program, data := testkit.Build(t), t.TempDir()
	key := letIn(t, program, data)
	book := &book{acknowledged: map[string]bool{}, unsure: map[string]bool{}}
	job := ""
	for round := range kills {
		p := testkit.Serve(t, program, "--data="+data)
		c := client{p.URL, key}
		if job == "" {
			var made framesv1.Job
			c.send(t, http.MethodPost, "/v1/jobs", `{"job":{"title":"Under fire"}}`, http.StatusCreated, &made)
			job = made.GetId()
		}
		book.compare(t, c, job, round)
		book.postUntilKilled(t, p, c, job, round)
	}
	p := testkit.Serve(t, program, "--data="+data)
	book.compare(t, client{p.URL, key}, job, kills)
	if len(book.acknowledged) < kills*batchSize {
		t.Errorf("only %d entries were acknowledged in %d rounds", len(book.acknowledged), kills)
	}
	t.Logf("%d entries acknowledged, %d sent without an answer", len(book.acknowledged), len(book.unsure))
}

// letIn makes a company with one admin, as an operator does, and returns the admin's key.
func letIn(t *testing.T, program, data string) string {
	t.Helper()
	keys := func(args ...string) string {
		run := exec.CommandContext(t.Context(), program, append(append([]string{"keys"}, args...), "--data="+data)...)
		run.Env = []string{"HOME=" + data}
		var stderr bytes.Buffer
		run.Stderr = &stderr
		out, err := run.Output()
		if err != nil {
			t.Fatalf("keys %v: %v\n%s", args, err, stderr.Bytes())
		}
		return strings.TrimSpace(string(out))
	}
	keys("company", "stubborn", "Stubborn Frames")
	person := keys("person", "stubborn", "Alder Finch", "--role=admin")
	return keys("new", "stubborn", person, "--label=test")
}

// book keeps what the server has acknowledged, and what was sent without an answer.
type book struct {
	mu                   sync.Mutex
	acknowledged, unsure map[string]bool
}

// postUntilKilled posts from several sides, kills the process after some acknowledgements,
// a few more each round, and waits until all posters have given up.
func (b *book) postUntilKilled(t *testing.T, p *testkit.Process, c client, job string, round int) {
	t.Helper()
	batches := make(chan struct{}, 10_000)
	var posting sync.WaitGroup
	for poster := range posters {
		posting.Go(func() {
			for n := 0; b.post(t, c, job, fmt.Sprintf("r%d-p%d-n%d", round, poster, n)); n++ {
				batches <- struct{}{}
			}
		})
	}
	for range 3 + round {
		<-batches
	}
	p.Kill(t)
	posting.Wait()
}

// post posts a batch and writes down what became of it. It is false once the server is gone.
func (b *book) post(t *testing.T, c client, job, name string) bool {
	var ids []string
	var entries []string
	for i := range batchSize {
		id := fmt.Sprintf("%s-%d", name, i)
		ids = append(ids, id)
		entries = append(entries, fmt.Sprintf(`{"id":%q,"kind":"ENTRY_KIND_NOTE","occurTime":"2026-01-02T03:04:05Z","note":"all is well"}`, id))
	}
	b.mu.Lock()
	for _, id := range ids {
		b.unsure[id] = true
	}
	b.mu.Unlock()
	body := strings.NewReader(`{"entries":[` + strings.Join(entries, ",") + `]}`)
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, c.base+"/v1/jobs/"+job+"/entries:post", body)
	if err != nil {
		t.Error(err)
		return false
	}
	request.Header.Set("Authorization", "Bearer "+c.key)
	request.Header.Set("Content-Type", "application/json")
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return false
	}
	defer response.Body.Close()
	var text bytes.Buffer
	if _, err := text.ReadFrom(response.Body); err != nil {
		return false
	}
	var answer sitelogv1.PostEntriesResponse
	if response.StatusCode != http.StatusOK || protojson.Unmarshal(text.Bytes(), &answer) != nil {
		t.Errorf("post answers %d: %s", response.StatusCode, text.Bytes())
		return false
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, o := range answer.GetOutcomes() {
		if o.GetKind() != sitelogv1.OutcomeKind_OUTCOME_KIND_ACCEPTED {
			t.Errorf("entry %s: %v", o.GetId(), o)
		}
		b.acknowledged[o.GetId()] = true
		delete(b.unsure, o.GetId())
	}
	return true
}

// compare reads the whole log: every acknowledged entry is in it once, each position is taken
// once, and there is nothing that nobody sent.
func (b *book) compare(t *testing.T, c client, job string, round int) {
	t.Helper()
	times, positions := map[string]int{}, map[int32]string{}
	for token := ""; ; {
		var page sitelogv1.ListEntriesResponse
		c.get(t, "/v1/jobs/"+job+"/entries?pageSize=500&pageToken="+token, &page)
		for _, e := range page.GetEntries() {
			times[e.GetId()]++
			if other, taken := positions[e.GetPosition()]; taken {
				t.Errorf("round %d: entries %s and %s are both at %d", round, other, e.GetId(), e.GetPosition())
			}
			positions[e.GetPosition()] = e.GetId()
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	for id := range b.acknowledged {
		if times[id] != 1 {
			t.Errorf("round %d: acknowledged entry %s is there %d times", round, id, times[id])
		}
	}
	for id, n := range times {
		if n != 1 || (!b.acknowledged[id] && !b.unsure[id]) {
			t.Errorf("round %d: entry %s is there %d times, and was sent: %v", round, id, n, b.unsure[id])
		}
	}
	for n := int32(1); int(n) <= len(positions); n++ {
		if positions[n] == "" {
			t.Errorf("round %d: nothing is at position %d of %d", round, n, len(positions))
		}
	}
}

// TestCommitsAreSynced reads back what makes a commit reach the disk before it is acknowledged.
func TestCommitsAreSynced(t *testing.T) {
	t.Parallel()
	t.Run("SQLite", func(t *testing.T) {
		t.Parallel()
		db, err := store.Open(t.Context(), store.Config{URL: "sqlite:" + filepath.Join(t.TempDir(), "sitelog.db"), Schema: "sitelog"})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = db.Close() })
		settings, err := db.Settings(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		// https://www.sqlite.org/pragma.html: in WAL mode a commit is synced when synchronous is FULL.
		if settings["journal_mode"] != "wal" || settings["synchronous"] != "full" {
			t.Errorf("settings are %v", settings)
		}
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		t.Parallel()
		address := testkit.Database(t)
		db, err := store.Open(t.Context(), store.Config{URL: address, Schema: "sitelog"})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = db.Close() })
		settings, err := db.Settings(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		conn, err := pgx.Connect(t.Context(), address)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = conn.Close(t.Context()) })
		// https://www.postgresql.org/docs/15/runtime-config-wal.html: these two on, a commit waits for its record on disk.
		for _, name := range []string{"fsync", "synchronous_commit"} {
			var server string
			if err := conn.QueryRow(t.Context(), "SHOW "+name).Scan(&server); err != nil {
				t.Fatal(err)
			}
			if settings[name] != "on" || server != "on" {
				t.Errorf("%s is %q for the store, %q on the server", name, settings[name], server)
			}
		}
	})
}
