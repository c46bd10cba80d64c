package e2e_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"
)

// patience bounds how long a test waits for something that others do.
const patience = 30 * time.Second

// stream is a live stream of server-sent events.
type stream struct{ events chan event }

type event struct{ id, name, data string }

// watch opens a live stream, after the last event that was seen when there is one.
func watch(t *testing.T, c client, path, lastEvent string) *stream {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, c.base+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+c.key)
	request.Header.Set("Accept", "text/event-stream")
	if lastEvent != "" {
		request.Header.Set("Last-Event-ID", lastEvent)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = response.Body.Close() })
	if media := response.Header.Get("Content-Type"); response.StatusCode != http.StatusOK || !strings.HasPrefix(media, "text/event-stream") {
		t.Fatalf("%s answers %d as %s", path, response.StatusCode, media)
	}
	s := &stream{events: make(chan event, 1000)}
	go func() {
		defer close(s.events)
		var e event
		lines := bufio.NewScanner(response.Body)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			name, value, _ := strings.Cut(lines.Text(), ":")
			value = strings.TrimPrefix(value, " ")
			switch {
			case lines.Text() == "":
				if e.data != "" {
					s.events <- e
				}
				e = event{}
			case name == "id":
				e.id = value
			case name == "event":
				e.name = value
			case name == "data":
				e.data += value
			}
		}
	}()
	return s
}

// take waits for some entries and returns their ids.
func (s *stream) take(t *testing.T, count int) []string {
	t.Helper()
	var ids []string
	late := time.After(patience)
	for len(ids) < count {
		select {
		case e, open := <-s.events:
			if !open {
				t.Fatalf("the stream ended after %v", ids)
			}
			var entry struct {
				ID    string `json:"id"`
				Entry struct {
					ID string `json:"id"`
				} `json:"entry"`
			}
			if err := json.Unmarshal([]byte(e.data), &entry); err != nil {
				t.Fatalf("event %+v: %v", e, err)
			}
			if e.id == "" {
				t.Errorf("an event has no id to resume from: %+v", e)
			}
			ids = append(ids, entry.ID+entry.Entry.ID)
		case <-late:
			t.Fatalf("only %v came, not %d entries", ids, count)
		}
	}
	return ids
}
