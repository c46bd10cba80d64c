package gateway_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
)

type described struct {
	OpenAPI    string
	Paths      map[string]map[string]operation
	Components struct {
		Schemas   map[string]json.RawMessage
		Responses map[string]json.RawMessage
	}
}

type operation struct {
	OperationID string
	RequestBody json.RawMessage
	Responses   map[string]struct {
		Content map[string]json.RawMessage
	}
	Security *[]json.RawMessage
}

func description(t *testing.T, s *suite) described {
	t.Helper()
	var d described
	if err := json.Unmarshal([]byte(s.send(t, request{path: "/openapi.json", key: "-"}).Text), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

// Every operation that is published is served, needs credentials, and succeeds with a status and a
// media type that it publishes.
func TestWhatIsPublishedIsServed(t *testing.T) {
	t.Parallel()
	s := start(t)
	d := description(t, s)
	if !strings.HasPrefix(d.OpenAPI, "3.1") || len(d.Paths) < 20 {
		t.Fatalf("OpenAPI %q with %d paths", d.OpenAPI, len(d.Paths))
	}
	fill := strings.NewReplacer("{job}", "job-a", "{revision}", "latest", "{person}", "p-2", "{key}", "k-2", "{crane}", "c", "{item}", "i", "{move}", "1")
	for path, methods := range d.Paths {
		for method, op := range methods {
			t.Run(strings.ToUpper(method)+" "+path, func(t *testing.T) {
				t.Parallel()
				content := op.Responses["200"].Content
				if _, streams := content["text/event-stream"]; streams && len(content) == 1 {
					// A stream does not end by itself; TestLiveEntries reads it.
					return
				}
				r := request{method: strings.ToUpper(method), path: fill.Replace(path)}
				if len(op.RequestBody) > 0 {
					r.body = "{}"
				}
				a := s.send(t, r)
				if a.StatusCode == http.StatusNotImplemented {
					// The backend of these tests does not have it, but the gateway asked it.
					return
				}
				published, ok := op.Responses[statusText(a.StatusCode)]
				if !ok || a.StatusCode >= 300 {
					t.Fatalf("answers %d: %s", a.StatusCode, a.Text)
				}
				mediaType, _, _ := strings.Cut(a.Header.Get("Content-Type"), ";")
				if _, ok := published.Content[mediaType]; !ok && mediaType != "" {
					t.Errorf("answers %s, which it does not publish", mediaType)
				}
				r.key = "-"
				want := http.StatusUnauthorized
				if op.Security != nil && len(*op.Security) == 0 {
					want = http.StatusOK
				}
				if got := s.send(t, r).StatusCode; got != want {
					t.Errorf("without credentials: %d, want %d", got, want)
				}
			})
		}
	}
}

func statusText(status int) string {
	text, err := json.Marshal(status)
	if err != nil {
		return ""
	}
	return string(text)
}

// Every reference leads somewhere, and every id is there once.
func TestTheDescriptionIsWhole(t *testing.T) {
	t.Parallel()
	s := start(t)
	text := s.send(t, request{path: "/openapi.json", key: "-"}).Text
	d := description(t, s)
	for rest := text; ; {
		_, after, found := strings.Cut(rest, `"$ref": "#/components/`)
		if !found {
			break
		}
		ref, tail, _ := strings.Cut(after, `"`)
		rest = tail
		kind, name, _ := strings.Cut(ref, "/")
		held := d.Components.Schemas
		if kind == "responses" {
			held = d.Components.Responses
		}
		if held[name] == nil {
			t.Errorf("%s is referred to and not there", ref)
		}
	}
	ids := map[string]bool{}
	for _, methods := range d.Paths {
		for _, op := range methods {
			if ids[op.OperationID] || op.OperationID == "" {
				t.Errorf("operation id %q stands twice or is empty", op.OperationID)
			}
			ids[op.OperationID] = true
		}
	}
}
