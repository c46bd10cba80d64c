package gateway_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/pikepole/pikepole/gateway"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const makeSafePath = "/v1/jobs/job-a/frames/latest:makeSafe"

// safe asks for braces, accepting some media type.
func safe(accept string) request {
	return request{
		method: http.MethodPost, path: makeSafePath, body: `{"standing":["bent-1"],"gustMPerS":20}`, header: map[string]string{"Accept": accept},
	}
}

func TestASearchAnswersEventsToWhoeverAcceptsThem(t *testing.T) {
	t.Parallel()
	s := start(t)
	a := s.send(t, safe("text/event-stream"))
	if a.StatusCode != http.StatusOK || a.Header.Get("Content-Type") != "text/event-stream" || a.Header.Get("X-Accel-Buffering") != "no" {
		t.Fatalf("%d %v: %s", a.StatusCode, a.Header, a.Text)
	}
	events := strings.Split(strings.TrimSpace(a.Text), "\n\n")
	if len(events) != 2 || !strings.HasPrefix(events[0], "id: 1\nevent: better\ndata: {") || !strings.HasPrefix(events[1], "id: 2\nevent: final\ndata: {") {
		t.Fatalf("events %q, want a better one and the final one", events)
	}
	for i, text := range events {
		_, data, _ := strings.Cut(text, "data: ")
		var answer struct {
			Safe, Final  bool
			Add          []struct{ ID string }
			ComputedFrom struct{ Job string }
		}
		if err := json.Unmarshal([]byte(data), &answer); err != nil {
			t.Fatalf("event %d: %v", i, err)
		}
		if want := 3 - i; !answer.Safe || answer.Final != (i == 1) || len(answer.Add) != want || answer.ComputedFrom.Job != "job-a" {
			t.Errorf("event %d: %+v", i, answer)
		}
	}
	if got := last[*sequencingv1.MakeSafeRequest](t, s.backend, "MakeSafe"); got.GetJob() != "job-a" || got.GetRevision() != "latest" || got.GetGustMPerS() != 20 || len(got.GetStanding()) != 1 {
		t.Errorf("asked for %v", got)
	}
	if !s.deadlines["MakeSafe"] {
		t.Error("the search had no deadline")
	}
}

func TestASearchAnswersItsLastToAnyOther(t *testing.T) {
	t.Parallel()
	s := start(t)
	for _, accept := range []string{"", "*/*", "application/json", "text/event-stream;q=0.5, application/json"} {
		a := s.send(t, safe(accept))
		var answer struct {
			Final bool
			Add   []struct{ ID string }
		}
		if err := json.Unmarshal([]byte(a.Text), &answer); err != nil || a.Header.Get("Content-Type") != "application/json" {
			t.Fatalf("Accept %q: %d %s, %v", accept, a.StatusCode, a.Header.Get("Content-Type"), err)
		}
		if !answer.Final || len(answer.Add) != 2 {
			t.Errorf("Accept %q: %+v, want the last answer", accept, answer)
		}
	}
}

func TestSearchRefusals(t *testing.T) {
	t.Parallel()
	refused := start(t, func(b *backend, _ *gateway.Config) {
		b.fail["MakeSafe"] = fault.Invalid("standing[0]", "%q is neither the mark of a stick nor the id of an assembly of this frame", "bent-9").GRPCStatus().Err()
	})
	post := func(body, accept string) request {
		return request{method: http.MethodPost, path: makeSafePath, body: body, header: map[string]string{"Accept": accept}}
	}
	check(t, refused, map[string]refusal{
		"a piece that is none, as JSON":   {post(`{"standing":["bent-9"]}`, ""), 400, "INVALID_ARGUMENT", "standing[0]", "bent-9"},
		"a piece that is none, as events": {post(`{"standing":["bent-9"]}`, "text/event-stream"), 400, "INVALID_ARGUMENT", "standing[0]", "bent-9"},
	})
	s := start(t)
	check(t, s, map[string]refusal{
		"a field that is none": {post(`{"standings":["bent-9"]}`, "text/event-stream"), 400, "INVALID_ARGUMENT", "standings", "no field"},
		"no JSON":              {post(`{"standing":`, "text/event-stream"), 400, "INVALID_ARGUMENT", "", ""},
		"a picture":            {post(`{}`, "image/png"), 406, "NOT_ACCEPTABLE", "", "text/event-stream"},
		"nobody":               {request{method: http.MethodPost, path: makeSafePath, body: "{}", key: "-"}, 401, "CREDENTIALS_MISSING", "", ""},
		"a reader":             {request{path: makeSafePath}, 405, "METHOD_NOT_ALLOWED", "", "POST"},
	})
}

// A search that fails after an event says so in one more.
func TestASearchThatFailsOnItsWay(t *testing.T) {
	t.Parallel()
	s := start(t, func(b *backend, _ *gateway.Config) { b.lost = true })
	a := s.send(t, safe("text/event-stream"))
	events := strings.Split(strings.TrimSpace(a.Text), "\n\n")
	if len(events) != 2 || !strings.HasPrefix(events[1], "event: problem\ndata: {") || !strings.Contains(events[1], fault.ReasonUpstream) {
		t.Errorf("events %q, want a better answer and a problem", events)
	}
	if a = s.send(t, safe("application/json")); a.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("without events: %d %s", a.StatusCode, a.Text)
	}
}

// A search that takes its time shows that it is alive, and ends when the gateway does.
func TestASlowSearchShowsThatItIsAlive(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]struct {
		do   func(*suite)
		line string
	}{
		"until its answer":        {func(s *suite) { close(s.slow) }, "event: final"},
		"until the gateway stops": {func(s *suite) { s.gateway.Close() }, ": stopping"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := start(t, func(b *backend, c *gateway.Config) {
				c.Heartbeat = 5 * time.Millisecond
				b.slow = make(chan struct{})
			})
			lines := s.lines(t, safe("text/event-stream"))
			until(t, lines, ": here")
			end.do(s)
			until(t, lines, end.line)
			if name != "until its answer" {
				close(s.slow)
			}
		})
	}
}

// lines sends a request and gives the lines of its answer as they come.
func (s *suite) lines(t *testing.T, r request) <-chan string {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), r.method, s.server.URL+r.path, strings.NewReader(r.body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+leadKey)
	req.Header.Set("Content-Type", "application/json")
	for name, value := range r.header {
		req.Header.Set(name, value)
	}
	lines := make(chan string, 100)
	go func() {
		defer close(lines)
		response, err := http.DefaultClient.Do(req)
		if err != nil {
			lines <- err.Error()
			return
		}
		defer response.Body.Close()
		for scanner := bufio.NewScanner(response.Body); scanner.Scan(); {
			lines <- scanner.Text()
		}
	}()
	return lines
}
