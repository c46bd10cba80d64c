package main

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
)

// documentForms are the operations that answer with a document: their media types by format.
// An operation without "json" never answers with JSON.
func documentForms() map[string]map[string]string {
	table := map[string]string{
		"json": "application/json",
		"csv":  "text/csv",
		"html": "text/html",
	}
	return map[string]map[string]string{
		"FramesService_DrawFrame":        {"svg": "image/svg+xml"},
		"FramesService_GetLayout":        {"json": "application/json", "csv": "text/csv", "svg": "image/svg+xml"},
		"TakeoffService_GetTakeoff":      table,
		"RiggingService_GetPicks":        table,
		"SequencingService_GetRaising":   table,
		"SequencingService_GetStanding":  table,
		"SequencingService_RenderBraces": {"csv": "text/csv", "html": "text/html"},
		"SequencingService_DrawStand":    {"svg": "image/svg+xml"},
	}
}

// createdOperations answer 201 with the place of what they made.
func createdOperations() map[string]bool {
	return map[string]bool{
		"AccessService_CreatePerson": true,
		"AccessService_CreateKey":    true,
		"FramesService_CreateJob":    true,
		"FramesService_IssueFrame":   true,
	}
}

// enrich adds what the protos do not say and gives the whole document.
func enrich(d *description) (*document, error) {
	documents, created := documentForms(), createdOperations()
	for path, item := range d.Paths {
		for method, raw := range item.(object) {
			operation := raw.(object)
			id, _ := operation["operationId"].(string)
			switch forms, isDocument := documents[id]; {
			case isDocument:
				describeDocument(operation, forms)
				delete(documents, id)
			case id == "SitelogService_WatchEntries":
				describeWatch(operation)
			case id == "SequencingService_MakeSafe":
				describeSearch(operation)
			case created[id]:
				describeCreated(operation)
				delete(created, id)
			case method == "delete":
				operation["responses"] = object{"204": object{"description": "It is gone."}}
			}
			d.describeHeaders(operation)
			describeProblems(operation, path, method)
		}
	}
	for id := range documents {
		return nil, fmt.Errorf("%s answers with a document but is no operation", id)
	}
	for id := range created {
		return nil, fmt.Errorf("%s makes something but is no operation", id)
	}
	d.describeProbes()
	d.Schemas["Problem"] = problemSchema()
	d.prune()
	return &document{
		OpenAPI: "3.1.0",
		Info: object{
			"title":   "Pikepole",
			"version": "1",
			"description": "Timber frames from the shop's drawing to the last peg: takeoff, picks, raising order, whether it stands meanwhile, and the log of what happened. " +
				"Lengths are millimetres, masses kilograms, angles degrees. Unknown fields and parameters are refused. " +
				"Results are aids to a competent person: local codes, the crane's own chart, the sling's tag and licensed practice come first.",
		},
		Servers:  []object{{"url": "/"}},
		Security: []object{{"key": []string{}}, {"session": []string{}}},
		Tags:     d.Tags,
		Paths:    d.Paths,
		Components: object{
			"schemas":   d.Schemas,
			"responses": problemResponses(),
			"securitySchemes": object{
				"key": object{
					"type": "http", "scheme": "bearer", "bearerFormat": "pk_ID_SECRET",
					"description": "A key of the company.",
				},
				"session": object{
					"type": "apiKey", "in": "cookie", "name": "__Host-session",
					"description": "The session of a person who signed in to the pages (named \"session\" where the pages are not served over https). Anything but a read also carries the session's CSRF token in X-CSRF-Token.",
				},
			},
		},
	}, nil
}

func describeDocument(operation object, forms map[string]string) {
	success := operation["responses"].(object)["200"].(object)
	plain, _ := success["content"].(object)["application/json"].(object)
	content := object{}
	formats := object{}
	for format, mediaType := range forms {
		formats[format] = true
		switch format {
		case "json":
			content[mediaType] = plain
		default:
			content[mediaType] = object{"schema": object{"type": "string"}}
		}
	}
	success["content"] = content
	success["headers"] = object{
		"Content-Disposition": object{
			"description": "A file name to save a document under.",
			"schema":      object{"type": "string"},
		},
	}
	// Where the document is all that there is, its own request names the format already, with any value.
	parameters, _ := operation["parameters"].([]any)
	operation["parameters"] = slices.DeleteFunc(parameters, func(p any) bool { return p.(object)["name"] == "format" })
	addParameter(operation, object{
		"name": "format", "in": "query",
		"description": "The form of the answer; wins over Accept.",
		"schema":      object{"type": "string", "enum": sortedKeys(formats)},
	})
}

func describeWatch(operation object) {
	addParameter(operation, object{
		"name": "Last-Event-ID", "in": "header",
		"description": "Position of the last entry that was seen; wins over afterPosition.",
		"schema":      object{"type": "integer", "format": "int32"},
	})
	operation["responses"] = object{"200": object{
		"description": "Server-sent events named \"entry\": the id is the entry's position, the data is the entry as JSON (pikepole.sitelog.v1.Entry). " +
			"A comment comes at least every fifteen seconds. The stream ends when the credentials must be looked at again; a client reconnects with Last-Event-ID and misses nothing.",
		"content": object{"text/event-stream": object{"schema": object{"type": "string"}}},
	}}
}

// describeSearch tells of an operation that sends each better answer to a client that accepts events, and only the last
// to any other.
func describeSearch(operation object) {
	success := operation["responses"].(object)["200"].(object)
	answer := success["content"].(object)["application/json"].(object)
	if streamed, ok := answer["schema"].(object)["properties"].(object); ok {
		answer["schema"] = streamed["result"]
	}
	success["description"] = "The best answer. To a client that accepts text/event-stream: server-sent events named \"better\", each with a better answer " +
		"as JSON, and at last one named \"final\". A search that fails on its way ends in an event named \"problem\", with a problem document."
	success["content"] = object{
		"application/json":  answer,
		"text/event-stream": object{"schema": object{"type": "string"}},
	}
}

func describeCreated(operation object) {
	responses := operation["responses"].(object)
	success := responses["200"].(object)
	delete(responses, "200")
	success["headers"] = object{"Location": object{
		"description": "Where it is.",
		"schema":      object{"type": "string", "format": "uri-reference"},
	}}
	responses["201"] = success
}

// describeHeaders adds Idempotency-Key where a body has a request id, and If-Match where it has
// an etag.
func (d *description) describeHeaders(operation object) {
	fields := d.bodyFields(operation)
	if fields["requestId"] != nil {
		addParameter(operation, object{
			"name": "Idempotency-Key", "in": "header",
			"description": "The same as requestId in the body; equal when both are given.",
			"schema":      object{"type": "string"},
		})
	}
	if fields["etag"] != nil {
		addParameter(operation, object{
			"name": "If-Match", "in": "header",
			"description": "The etag that was read, in quotes; the same as etag in the body. A mismatch answers 412.",
			"schema":      object{"type": "string"},
		})
	}
}

// bodyFields gives the fields of an operation's request body.
func (d *description) bodyFields(operation object) object {
	body, ok := operation["requestBody"].(object)
	if !ok {
		return nil
	}
	schema := body["content"].(object)["application/json"].(object)["schema"].(object)
	if ref, ok := schema["$ref"].(string); ok {
		schema, _ = d.Schemas[strings.TrimPrefix(ref, schemaPrefix)].(object)
	}
	fields, _ := schema["properties"].(object)
	return fields
}

func addParameter(operation, parameter object) {
	parameters, _ := operation["parameters"].([]any)
	operation["parameters"] = append(parameters, parameter)
}

// describeProbes adds the paths that belong to no service and ask for no credentials.
func (d *description) describeProbes() {
	probe := func(id, summary, yes string) object {
		return object{
			"get": object{
				"operationId": id, "summary": summary, "tags": []string{"Operation"}, "security": []any{},
				"responses": object{
					"200":     object{"description": yes, "content": object{"text/plain": object{"schema": object{"type": "string"}}}},
					"default": object{"$ref": responsePrefix + "Problem"},
				},
			},
		}
	}
	d.Paths["/healthz"] = probe("Healthz", "Whether the gateway runs.", "It runs.")
	d.Paths["/readyz"] = probe("Readyz", "Whether the gateway reaches every service.", "Every service answers.")
	description := probe("OpenAPI", "This description.", "An OpenAPI 3.1 description.")
	description["get"].(object)["responses"].(object)[fmt.Sprint(http.StatusOK)] = object{
		"description": "An OpenAPI 3.1 description.",
		"content":     object{"application/json": object{"schema": object{"type": "object"}}},
	}
	d.Paths["/openapi.json"] = description
	d.Tags = append(d.Tags, object{"name": "Operation", "description": "Probes and this description."})
}
