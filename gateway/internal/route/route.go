// Package route knows the paths of the REST face from its published description: which methods a
// path has, which query parameters an operation takes, and in which forms it answers.
package route

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Operation is one method on one path.
type Operation struct {
	// ID is the operation's id: FramesService_GetJob.
	ID string
	// Query has the names of the query parameters.
	Query map[string]bool
	// Formats has the values of the query parameter "format"; empty where there is none.
	Formats []string
	// Body says whether it reads a body.
	Body bool
	// Answers are the media types of its answer; empty for an answer without a body.
	Answers []string
}

// Path is one path with its operations.
type Path struct {
	// Template is the path as it is published: /v1/jobs/{job}.
	Template string
	// Operations are by HTTP method.
	Operations map[string]*Operation

	segments []segment
}

// Allow is the value of the Allow header.
func (p *Path) Allow() string {
	methods := slices.Collect(maps.Keys(p.Operations))
	if p.Operations[http.MethodGet] != nil {
		methods = append(methods, http.MethodHead)
	}
	methods = append(methods, http.MethodOptions)
	slices.Sort(methods)
	return strings.Join(methods, ", ")
}

// Table has the paths.
type Table struct {
	byLength map[int][]*Path
}

// segment is a part of a template between slashes: a literal, or a parameter with the verb behind it.
type segment struct {
	literal string
	param   bool
	verb    string
}

// weight orders templates that match the same path: a literal before a verb before a parameter.
func (s segment) weight() int {
	switch {
	case !s.param:
		return 2
	case s.verb != "":
		return 1
	}
	return 0
}

func (s segment) matches(text string) bool {
	if !s.param {
		return s.literal == text
	}
	name, ok := strings.CutSuffix(text, s.verb)
	return ok && name != ""
}

// Parse reads the table from an OpenAPI description.
func Parse(description []byte) (*Table, error) {
	var doc struct {
		Paths map[string]map[string]operation `json:"paths"`
	}
	if err := json.Unmarshal(description, &doc); err != nil {
		return nil, fmt.Errorf("read the description: %w", err)
	}
	table := &Table{byLength: map[int][]*Path{}}
	for _, template := range slices.Sorted(maps.Keys(doc.Paths)) {
		path := &Path{Template: template, Operations: map[string]*Operation{}, segments: segments(template)}
		for method, described := range doc.Paths[template] {
			path.Operations[strings.ToUpper(method)] = described.operation()
		}
		n := len(path.segments)
		table.byLength[n] = append(table.byLength[n], path)
	}
	for _, paths := range table.byLength {
		slices.SortStableFunc(paths, moreSpecific)
	}
	return table, nil
}

// Find gives the path that a URL is of.
func (t *Table) Find(u *url.URL) (*Path, bool) {
	parts := strings.Split(strings.TrimPrefix(u.EscapedPath(), "/"), "/")
	for i, part := range parts {
		plain, err := url.PathUnescape(part)
		if err != nil {
			return nil, false
		}
		parts[i] = plain
	}
	for _, path := range t.byLength[len(parts)] {
		if path.matches(parts) {
			return path, true
		}
	}
	return nil, false
}

func (p *Path) matches(parts []string) bool {
	for i, s := range p.segments {
		if !s.matches(parts[i]) {
			return false
		}
	}
	return true
}

func segments(template string) []segment {
	var result []segment
	for text := range strings.SplitSeq(strings.TrimPrefix(template, "/"), "/") {
		rest, isParam := strings.CutPrefix(text, "{")
		if !isParam {
			result = append(result, segment{literal: text})
			continue
		}
		_, verb, _ := strings.Cut(rest, "}")
		result = append(result, segment{param: true, verb: verb})
	}
	return result
}

func moreSpecific(a, b *Path) int {
	for i := range a.segments {
		if d := b.segments[i].weight() - a.segments[i].weight(); d != 0 {
			return d
		}
	}
	return 0
}

// operation is an operation as OpenAPI describes it, as far as it is needed here.
type operation struct {
	ID         string `json:"operationId"`
	Parameters []struct {
		Name   string `json:"name"`
		In     string `json:"in"`
		Schema struct {
			Enum []string `json:"enum"`
		} `json:"schema"`
	} `json:"parameters"`
	Body      json.RawMessage `json:"requestBody"`
	Responses map[string]struct {
		Content map[string]json.RawMessage `json:"content"`
	} `json:"responses"`
}

func (o operation) operation() *Operation {
	op := &Operation{ID: o.ID, Query: map[string]bool{}, Body: len(o.Body) > 0}
	for _, parameter := range o.Parameters {
		if parameter.In != "query" {
			continue
		}
		op.Query[parameter.Name] = true
		if parameter.Name == "format" {
			op.Formats = parameter.Schema.Enum
		}
	}
	for status, response := range o.Responses {
		if !strings.HasPrefix(status, "2") {
			continue
		}
		op.Answers = slices.Sorted(maps.Keys(response.Content))
	}
	return op
}
