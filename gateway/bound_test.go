package gateway_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/pikepole/pikepole/gateway"
)

func TestOnePersonDoesNotTakeAllLiveLogs(t *testing.T) {
	t.Parallel()
	const most = 20 // of one person
	s := start(t, func(b *backend, c *gateway.Config) { c.MaxStreams, b.watch = most+1, notes(1) })
	for range most {
		_, lines := s.watch(t.Context(), t, "", nil)
		until(t, lines, "id: 1")
	}
	again := s.send(t, request{path: "/v1/jobs/job-a/entries:watch"})
	if p := problemOf(t, again); p.Status != http.StatusServiceUnavailable || p.Reason != "TOO_MANY_STREAMS" || again.Header.Get("Retry-After") == "" {
		t.Errorf("one stream too many gets %d %s", p.Status, p.Reason)
	}
	response, lines := s.watch(t.Context(), t, "", map[string]string{"Authorization": "Bearer " + viewerKey})
	if response.StatusCode != http.StatusOK {
		t.Fatalf("somebody else gets %d", response.StatusCode)
	}
	until(t, lines, "id: 1")
}

func TestPartsOfABodyAreBounded(t *testing.T) {
	t.Parallel()
	s := start(t)
	for name, list := range map[string]string{
		"objects": strings.Repeat("{},", 1_000_000) + "{}",
		"values":  strings.Repeat("1,", 3_000_001) + "1",
	} {
		a := s.send(t, request{method: http.MethodPost, path: "/v1/frames:check", body: `{"frame":{"timbers":[` + list + `]}}`})
		if p := problemOf(t, a); p.Status != http.StatusRequestEntityTooLarge || p.Reason != "BODY_TOO_LARGE" {
			t.Errorf("too many %s: %d %s", name, p.Status, p.Reason)
		}
	}
}

// deadlined notes until when its answer may be written.
type deadlined struct {
	*httptest.ResponseRecorder
	end time.Time
}

func (w *deadlined) SetWriteDeadline(end time.Time) error {
	w.end = end
	return nil
}

func TestAnswersAreBoundInTime(t *testing.T) {
	t.Parallel()
	s := start(t)
	for _, path := range []string{"/openapi.json", "/style.css", "/v1/jobs", "/nowhere"} {
		w := &deadlined{ResponseRecorder: httptest.NewRecorder()}
		s.gateway.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		if left := time.Until(w.end); left <= 0 || left > 5*time.Minute {
			t.Errorf("%s may be written for %s", path, left)
		}
	}
}
