package main

import (
	"slices"
	"strings"
)

const (
	schemaPrefix   = "#/components/schemas/"
	responsePrefix = "#/components/responses/"
)

// problemSchema is the problem document of RFC 9457 with the members that the gateway adds.
func problemSchema() object {
	text := func(description string) object { return object{"type": "string", "description": description} }
	return object{
		"type":        "object",
		"description": "A problem document (RFC 9457).",
		"required":    []string{"type", "title", "status", "reason"},
		"properties": object{
			"type":       text("urn:pikepole:problem: and the reason in lower case with hyphens."),
			"title":      text("The kind of problem in a few words."),
			"status":     object{"type": "integer", "description": "The HTTP status."},
			"detail":     text("What is wrong and what to do, as a sentence."),
			"instance":   text("The id of this request, also in X-Request-Id and in the log."),
			"reason":     text("The reason from the closed list of the service, in upper case with underscores."),
			"retryAfter": object{"type": "integer", "description": "Seconds to wait before another try; also in Retry-After."},
			"errors": object{
				"type":        "array",
				"description": "The fields at fault.",
				"items": object{
					"type":     "object",
					"required": []string{"field", "message"},
					"properties": object{
						"field":   text("Path of the field, such as frame.timbers[3].widthMm."),
						"message": text("What is wrong and what to do, as a sentence."),
					},
				},
			},
		},
	}
}

// problemResponses are the answers that operations refer to by name.
func problemResponses() object {
	responses := object{}
	for name, description := range map[string]string{
		"Problem":         "Something else went wrong.",
		"Invalid":         "The request is at fault; errors names the fields.",
		"Unauthenticated": "A key or a session is missing, unknown or ended.",
		"Forbidden":       "The caller's roles do not allow it.",
		"NotFound":        "There is no such thing in the caller's company.",
		"NotAcceptable":   "It cannot be had in a form that Accept or format names.",
		"Conflict":        "It clashes with what is there; detail says how.",
		"Mismatch":        "The etag in If-Match is not the newest.",
		"TooLarge":        "The body is too large.",
		"WrongType":       "The body is not application/json.",
		"Reused":          "The request id was used before with another body.",
		"TooMany":         "Too many requests; Retry-After says how long to wait.",
	} {
		responses[name] = object{
			"description": description,
			"content":     object{"application/problem+json": object{"schema": object{"$ref": schemaPrefix + "Problem"}}},
		}
	}
	return responses
}

// describeProblems says how an operation can fail.
func describeProblems(operation object, path, method string) {
	names := map[string]string{
		"400": "Invalid", "401": "Unauthenticated", "403": "Forbidden",
		"406": "NotAcceptable", "429": "TooMany", "default": "Problem",
	}
	if strings.Contains(path, "{") {
		names["404"] = "NotFound"
	}
	if operation["requestBody"] != nil {
		names["413"], names["415"] = "TooLarge", "WrongType"
	}
	if hasParameter(operation, "Idempotency-Key") {
		names["409"], names["422"] = "Conflict", "Reused"
	}
	if hasParameter(operation, "If-Match") && method != "post" {
		names["409"], names["412"] = "Conflict", "Mismatch"
	}
	responses := operation["responses"].(object)
	for status, name := range names {
		responses[status] = object{"$ref": responsePrefix + name}
	}
}

func hasParameter(operation object, name string) bool {
	parameters, _ := operation["parameters"].([]any)
	return slices.ContainsFunc(parameters, func(p any) bool { return p.(object)["name"] == name })
}

// prune drops the schemas that nothing refers to any more.
func (d *description) prune() {
	used := map[string]bool{"Problem": true}
	d.mark(d.Paths, used)
	for name := range d.Schemas {
		if !used[name] {
			delete(d.Schemas, name)
		}
	}
}

// mark notes every schema that value refers to, directly or through another.
func (d *description) mark(value any, used map[string]bool) {
	switch v := value.(type) {
	case object:
		if ref, ok := v["$ref"].(string); ok {
			name, isSchema := strings.CutPrefix(ref, schemaPrefix)
			if isSchema && !used[name] {
				used[name] = true
				d.mark(d.Schemas[name], used)
			}
		}
		for _, member := range v {
			d.mark(member, used)
		}
	case []any:
		for _, member := range v {
			d.mark(member, used)
		}
	}
}
