package gateway_test

import (
	"net/http"
	"strings"
	"testing"

	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

func TestDocuments(t *testing.T) {
	t.Parallel()
	s := start(t)
	const frame = "/v1/jobs/job-a/frames/latest/"
	for name, tc := range map[string]struct{ path, accept, want string }{
		"a drawing is a picture":           {frame + "drawing?view=bent:2", "", "image/svg+xml"},
		"also when anything will do":       {frame + "drawing?view=plan", "*/*", "image/svg+xml"},
		"a takeoff is JSON":                {frame + "takeoff", "", "application/json"},
		"or CSV by format":                 {frame + "takeoff?format=csv", "", "text/csv; charset=utf-8"},
		"or CSV by Accept":                 {frame + "takeoff", "text/csv", "text/csv; charset=utf-8"},
		"format wins over Accept":          {frame + "takeoff?format=json", "text/csv", "application/json"},
		"a browser gets HTML":              {frame + "takeoff", "text/html,*/*;q=0.8", "text/html; charset=utf-8"},
		"a layout can be a picture":        {frame + "layout", "image/svg+xml", "image/svg+xml"},
		"or a table":                       {frame + "layout?format=csv", "", "text/csv; charset=utf-8"},
		"picks as a table":                 {frame + "picks?format=csv", "", "text/csv; charset=utf-8"},
		"the raising order as a table":     {frame + "raising?format=csv", "", "text/csv; charset=utf-8"},
		"the raising order of a revision":  {"/v1/jobs/job-a/frames/2/raising", "", "application/json"},
		"whether it stands is JSON":        {frame + "standing", "", "application/json"},
		"or a table for programs":          {frame + "standing?format=csv", "", "text/csv; charset=utf-8"},
		"or a page for people":             {frame + "standing", "text/html", "text/html; charset=utf-8"},
		"a brace sheet is a page":          {frame + "standing/3/braces", "", "text/html; charset=utf-8"},
		"or a list to cut from":            {frame + "standing/3/braces?format=csv", "", "text/csv; charset=utf-8"},
		"a state is a picture":             {frame + "standing/3/drawing?view=sway", "", "image/svg+xml"},
		"what is not a document stays one": {"/v1/jobs/job-a/progress", "application/json", "application/json"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := s.send(t, request{path: tc.path, header: map[string]string{"Accept": tc.accept}})
			if got := a.Header.Get("Content-Type"); a.StatusCode != http.StatusOK || got != tc.want {
				t.Errorf("%d %s, want 200 %s (%s)", a.StatusCode, got, tc.want, a.Text)
			}
		})
	}
	check(t, s, map[string]refusal{
		"a format that cannot be had":     {request{path: frame + "takeoff?format=xlsx"}, 406, "NOT_ACCEPTABLE", "format", "json, csv, html"},
		"a drawing as JSON":               {request{path: frame + "drawing?format=json"}, 406, "NOT_ACCEPTABLE", "format", "svg"},
		"a drawing as a raster":           {request{path: frame + "drawing", header: map[string]string{"Accept": "image/png"}}, 406, "NOT_ACCEPTABLE", "", "image/svg+xml"},
		"a brace sheet as JSON":           {request{path: frame + "standing/3/braces?format=json"}, 406, "NOT_ACCEPTABLE", "format", "html, csv"},
		"a move that is no number":        {request{path: frame + "standing/last/braces"}, 400, "INVALID_ARGUMENT", "move", "number of a move"},
		"a move before the first":         {request{path: frame + "standing/0/drawing"}, 400, "INVALID_ARGUMENT", "move", "number of a move"},
		"a drawing of a job that is none": {request{path: "/v1/jobs/job-x/frames/latest/drawing?view=plan"}, 404, "JOB_NOT_FOUND", "", "job-x"},
	})
}

func TestADocumentOfAMove(t *testing.T) {
	t.Parallel()
	s := start(t)
	s.send(t, request{path: "/v1/jobs/job-a/frames/2/standing/7/drawing?view=axial"})
	s.send(t, request{path: "/v1/jobs/job-a/frames/2/standing/8/braces?format=csv"})
	if got := last[*sequencingv1.DrawStandRequest](t, s.backend, "DrawStand"); got.GetMove() != 7 || got.GetView() != "axial" || got.GetRevision() != "2" {
		t.Errorf("asked for %v", got)
	}
	if got := last[*sequencingv1.RenderBracesRequest](t, s.backend, "RenderBraces"); got.GetMove() != 8 || got.GetFormat() != "csv" {
		t.Errorf("asked for %v", got)
	}
}

func TestADocumentIsSafeAndCanBeKept(t *testing.T) {
	t.Parallel()
	s := start(t)
	const path = "/v1/jobs/job-a/frames/2/drawing?view=bent:2"
	a := s.send(t, request{path: path})
	if policy := a.Header.Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") || !strings.Contains(policy, "sandbox") {
		t.Errorf("policy %q lets a drawing do something", policy)
	}
	if got, want := a.Header.Get("Content-Disposition"), "inline; filename=bent-2.svg"; got != want {
		t.Errorf("disposition %q, want %q", got, want)
	}
	etag := a.Header.Get("ETag")
	again := s.send(t, request{path: path, header: map[string]string{"If-None-Match": etag}})
	if again.StatusCode != http.StatusNotModified || again.Text != "" {
		t.Errorf("the same again: %d with %d bytes, want 304", again.StatusCode, len(again.Text))
	}
	csv := s.send(t, request{path: "/v1/jobs/job-a/frames/2/takeoff?format=csv"})
	if got := csv.Header.Get("Content-Disposition"); got != "attachment; filename=takeoff.csv" {
		t.Errorf("disposition of a table: %q", got)
	}
	if got := last[*takeoffv1.RenderTakeoffRequest](t, s.backend, "RenderTakeoff").GetRevision(); got != "2" {
		t.Errorf("revision %q, want 2", got)
	}
}
