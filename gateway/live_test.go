package gateway_test

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/pikepole/pikepole/gateway"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

func notes(n int32) []*sitelogv1.Entry {
	var entries []*sitelogv1.Entry
	for i := range n {
		entries = append(entries, &sitelogv1.Entry{Id: "e", Kind: sitelogv1.EntryKind_ENTRY_KIND_NOTE, Note: "line one\nline two", Position: i + 1})
	}
	return entries
}

// watch opens the live log and gives its lines until it ends.
func (s *suite) watch(ctx context.Context, t *testing.T, query string, header map[string]string) (*http.Response, <-chan string) {
	t.Helper()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.server.URL+"/v1/jobs/job-a/entries:watch"+query, nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+leadKey)
	req.Header.Set("Accept", "text/event-stream")
	for name, value := range header {
		req.Header.Set(name, value)
		if name == "Cookie" {
			req.Header.Del("Authorization")
		}
	}
	response, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	lines := make(chan string, 100)
	go func() {
		defer close(lines)
		defer response.Body.Close()
		for scanner := bufio.NewScanner(response.Body); scanner.Scan(); {
			lines <- scanner.Text()
		}
	}()
	return response, lines
}

// until reads lines up to one that begins so.
func until(t *testing.T, lines <-chan string, start string) []string {
	t.Helper()
	var read []string
	for {
		select {
		case line, open := <-lines:
			if !open {
				t.Fatalf("the stream ended before %q; it said %q", start, read)
			}
			read = append(read, line)
			if strings.HasPrefix(line, start) {
				return read
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("no %q; the stream said %q", start, read)
		}
	}
}

func TestLiveEntries(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		query  string
		header map[string]string
		first  string
	}{
		"from the start":           {"", nil, "id: 1"},
		"after a position":         {"?afterPosition=2", nil, "id: 3"},
		"where a browser left off": {"?afterPosition=0", map[string]string{"Last-Event-ID": "3"}, "id: 4"},
		"with a session":           {"", map[string]string{"Cookie": "session=" + handle}, "id: 1"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := start(t, func(b *backend, _ *gateway.Config) { b.watch = notes(4) })
			response, lines := s.watch(t.Context(), t, tc.query, tc.header)
			if got := response.Header.Get("Content-Type"); got != "text/event-stream" {
				t.Fatalf("%d %s", response.StatusCode, got)
			}
			if response.Header.Get("X-Accel-Buffering") != "no" || response.Header.Get("Cache-Control") != "no-store" {
				t.Errorf("headers %v", response.Header)
			}
			before := until(t, lines, "id: ")
			if before[0] != "retry: 3000" || before[len(before)-1] != tc.first {
				t.Errorf("it begins %q, want retry and then %s", before, tc.first)
			}
			event := until(t, lines, "data: ")
			if event[0] != "event: entry" || !strings.Contains(event[1], `line one\nline two`) {
				t.Errorf("the event is %q", event)
			}
			if tc.first != "id: 4" {
				until(t, lines, "id: 4")
			}
			s.gateway.Close()
			until(t, lines, ": stopping")
		})
	}
}

func TestALiveLogShowsThatItIsAlive(t *testing.T) {
	t.Parallel()
	s := start(t, func(_ *backend, c *gateway.Config) { c.Heartbeat = 5 * time.Millisecond })
	_, lines := s.watch(t.Context(), t, "", nil)
	until(t, lines, ": here")
	until(t, lines, ": here")
}

func TestALiveLogThatEndsSaysToConnectAgain(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.watch, b.ends = notes(1), true })
	_, lines := s.watch(t.Context(), t, "", nil)
	until(t, lines, ": connect again")
}

func TestLiveLogRefusals(t *testing.T) {
	t.Parallel()
	s := start(t)
	check(t, s, map[string]refusal{
		"another company's job":    {request{path: "/v1/jobs/job-x/entries:watch"}, 404, "JOB_NOT_FOUND", "", "job-x"},
		"a position that is none":  {request{path: "/v1/jobs/job-a/entries:watch?afterPosition=soon"}, 400, "INVALID_ARGUMENT", "afterPosition", "position"},
		"an event id that is none": {request{path: "/v1/jobs/job-a/entries:watch", header: map[string]string{"Last-Event-ID": "-5"}}, 400, "INVALID_ARGUMENT", "Last-Event-ID", "position"},
		"nobody":                   {request{path: "/v1/jobs/job-a/entries:watch", key: "-"}, 401, "CREDENTIALS_MISSING", "", ""},
		"JSON instead of a stream": {request{path: "/v1/jobs/job-a/entries:watch", header: map[string]string{"Accept": "application/json"}}, 406, "NOT_ACCEPTABLE", "", "text/event-stream"},
	})
	head := s.send(t, request{method: http.MethodHead, path: "/v1/jobs/job-a/entries:watch"})
	if head.StatusCode != http.StatusOK || head.Header.Get("Content-Type") != "text/event-stream" {
		t.Errorf("HEAD: %d %s", head.StatusCode, head.Header.Get("Content-Type"))
	}
}

func TestLiveLogsAreBounded(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, c *gateway.Config) { c.MaxStreams, b.watch = 1, notes(1) })
	_, lines := s.watch(t.Context(), t, "", nil)
	until(t, lines, "id: 1")
	a := s.send(t, request{path: "/v1/jobs/job-a/entries:watch"})
	if p := problemOf(t, a); p.Status != 503 || p.Reason != "TOO_MANY_STREAMS" || a.Header.Get("Retry-After") == "" {
		t.Errorf("the second gets %d %s", p.Status, p.Reason)
	}
}
