package route_test

import (
	"net/url"
	"testing"

	"github.com/pikepole/pikepole/gateway/internal/route"
)

const description = `{"paths": {
	"/v1/jobs": {"get": {"operationId": "List", "parameters": [{"name": "pageSize", "in": "query"}]}, "post": {"operationId": "Create", "requestBody": {}}},
	"/v1/jobs/{job}": {"get": {"operationId": "Get"}},
	"/v1/jobs/{job}/entries": {"get": {"operationId": "Entries"}},
	"/v1/jobs/{job}/entries:watch": {"get": {"operationId": "Watch"}},
	"/v1/jobs/{job}/frames/{revision}": {"get": {"operationId": "Frame"}},
	"/v1/jobs/{job}/frames/{revision}:compare": {"get": {"operationId": "Compare"}}
}}`

func TestFind(t *testing.T) {
	t.Parallel()
	table, err := route.Parse([]byte(description))
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		"/v1/jobs":                       "/v1/jobs",
		"/v1/jobs/a":                     "/v1/jobs/{job}",
		"/v1/jobs/a%2Fb":                 "/v1/jobs/{job}",
		"/v1/jobs/a/entries":             "/v1/jobs/{job}/entries",
		"/v1/jobs/a/entries:watch":       "/v1/jobs/{job}/entries:watch",
		"/v1/jobs/a/frames/3":            "/v1/jobs/{job}/frames/{revision}",
		"/v1/jobs/a/frames/3:compare":    "/v1/jobs/{job}/frames/{revision}:compare",
		"/v1/jobs/a/frames/3:compareNot": "/v1/jobs/{job}/frames/{revision}",
		"/v1/jobs/":                      "",
		"/v1/jobs/a/frames":              "",
		"/v1":                            "",
	} {
		u, err := url.Parse(path)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if found, ok := table.Find(u); ok {
			got = found.Template
		}
		if got != want {
			t.Errorf("%s is found as %q, want %q", path, got, want)
		}
	}
}

func TestAllow(t *testing.T) {
	t.Parallel()
	table, err := route.Parse([]byte(description))
	if err != nil {
		t.Fatal(err)
	}
	found, _ := table.Find(&url.URL{Path: "/v1/jobs"})
	if got, want := found.Allow(), "GET, HEAD, OPTIONS, POST"; got != want {
		t.Errorf("Allow = %q, want %q", got, want)
	}
	if !found.Operations["POST"].Body || found.Operations["GET"].Body {
		t.Error("which method reads a body is not known")
	}
}
