package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"sort"
	"strings"

	"google.golang.org/protobuf/types/pluginpb"
)

// object is a JSON object.
type object = map[string]any

// description is an OpenAPI description under construction.
type description struct {
	Tags    []any
	Paths   object
	Schemas object
}

// document is the description as it is published, in the customary order of its parts.
type document struct {
	OpenAPI    string   `json:"openapi"`
	Info       object   `json:"info"`
	Servers    []object `json:"servers"`
	Security   []object `json:"security"`
	Tags       []any    `json:"tags"`
	Paths      object   `json:"paths"`
	Components object   `json:"components"`
}

// join puts the descriptions of the proto files into one. What two of them describe must be the
// same in both.
func join(parts []*pluginpb.CodeGeneratorResponse_File) (*description, error) {
	sort.Slice(parts, func(i, j int) bool { return parts[i].GetName() < parts[j].GetName() })
	joined := &description{Paths: object{}, Schemas: object{}}
	for _, part := range parts {
		var doc struct {
			Tags       []any  `json:"tags"`
			Paths      object `json:"paths"`
			Components struct {
				Schemas object `json:"schemas"`
			} `json:"components"`
		}
		if err := json.Unmarshal([]byte(part.GetContent()), &doc); err != nil {
			return nil, fmt.Errorf("%s: %w", part.GetName(), err)
		}
		joined.Tags = append(joined.Tags, doc.Tags...)
		if err := union(joined.Schemas, doc.Components.Schemas); err != nil {
			return nil, fmt.Errorf("%s: schema %w", part.GetName(), err)
		}
		if err := joined.addPaths(doc.Paths); err != nil {
			return nil, fmt.Errorf("%s: path %w", part.GetName(), err)
		}
	}
	return joined, nil
}

// union adds what from has to into.
func union(into, from object) error {
	for name, value := range from {
		if held, ok := into[name]; ok && !reflect.DeepEqual(held, value) {
			return fmt.Errorf("%s is described in two ways", name)
		}
		into[name] = value
	}
	return nil
}

// addPaths adds paths. Templates that differ only in the names of their parameters are one path
// to OpenAPI; the reading one, whose parameters are not fields of a body, gives the names.
func (d *description) addPaths(paths object) error {
	for _, path := range sortedKeys(paths) {
		item := paths[path].(object)
		name, renamed := published(path, paths)
		for old, replacement := range renamed {
			renameParameter(item, old, replacement)
		}
		held, ok := d.Paths[name].(object)
		if !ok {
			held = object{}
			d.Paths[name] = held
		}
		if err := union(held, item); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// published gives the name under which a path is described, and the parameters that it renames.
func published(path string, paths object) (string, map[string]string) {
	if !strings.Contains(path, ".") {
		return path, nil
	}
	segments := strings.Split(path, "/")
	for _, other := range sortedKeys(paths) {
		if other == path || strings.Contains(other, ".") {
			continue
		}
		if renamed, ok := sameTemplate(segments, strings.Split(other, "/")); ok {
			return other, renamed
		}
	}
	renamed := map[string]string{}
	for i, segment := range segments {
		if name, ok := parameterName(segment); ok && strings.Contains(name, ".") {
			renamed[name], _, _ = strings.Cut(name, ".")
			segments[i] = "{" + renamed[name] + "}"
		}
	}
	return strings.Join(segments, "/"), renamed
}

func sameTemplate(a, b []string) (map[string]string, bool) {
	if len(a) != len(b) {
		return nil, false
	}
	renamed := map[string]string{}
	for i := range a {
		left, leftIs := parameterName(a[i])
		right, rightIs := parameterName(b[i])
		switch {
		case leftIs && rightIs:
			renamed[left] = right
		case a[i] != b[i]:
			return nil, false
		}
	}
	return renamed, true
}

// parameterName gives the name in a segment that is a parameter.
func parameterName(segment string) (string, bool) {
	if strings.HasPrefix(segment, "{") && strings.HasSuffix(segment, "}") {
		return segment[1 : len(segment)-1], true
	}
	return "", false
}

func renameParameter(item object, old, replacement string) {
	for _, operation := range item {
		parameters, _ := operation.(object)["parameters"].([]any)
		for _, parameter := range parameters {
			if p := parameter.(object); p["in"] == "path" && p["name"] == old {
				p["name"] = replacement
			}
		}
	}
}

// encode writes the description with sorted keys, so that the same protos give the same bytes.
func encode(d *document) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(d); err != nil {
		return nil, fmt.Errorf("encode the description: %w", err)
	}
	return out.Bytes(), nil
}

func sortedKeys(o object) []string {
	keys := make([]string, 0, len(o))
	for key := range o {
		keys = append(keys, key)
	}
	sort.Strings(keys)
	return keys
}
