package e2e_test

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// client speaks REST in the name of a key.
type client struct {
	base, key string
}

type answer struct {
	status int
	header http.Header
	body   []byte
}

// problem is what the tests read of a problem document.
type problem struct {
	Status int    `json:"status"`
	Reason string `json:"reason"`
	Detail string `json:"detail"`
	Errors []struct {
		Field   string `json:"field"`
		Message string `json:"message"`
	} `json:"errors"`
}

// do sends a request; headers are name, value, name, value.
func (c client) do(t testing.TB, method, path string, body []byte, headers ...string) answer {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), method, c.base+path, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if c.key != "" {
		request.Header.Set("Authorization", "Bearer "+c.key)
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	return answer{response.StatusCode, response.Header, text}
}

// get reads a resource into a message.
func (c client) get(t testing.TB, path string, into proto.Message) {
	t.Helper()
	c.read(t, c.do(t, http.MethodGet, path, nil), path, http.StatusOK, into)
}

// send sends JSON and reads the answer into a message.
func (c client) send(t testing.TB, method, path string, body any, want int, into proto.Message) answer {
	t.Helper()
	a := c.do(t, method, path, toJSON(t, body))
	c.read(t, a, path, want, into)
	return a
}

func (c client) read(t testing.TB, a answer, path string, want int, into proto.Message) {
	t.Helper()
	if a.status != want {
		t.Fatalf("%s answers %d, want %d:\n%s", path, a.status, want, clip(a.body))
	}
	if into == nil {
		return
	}
	if err := protojson.Unmarshal(a.body, into); err != nil {
		t.Fatalf("%s: %v\n%s", path, err, clip(a.body))
	}
}

// refused wants a problem document with the status, and returns it.
func refused(t testing.TB, a answer, status int) problem {
	t.Helper()
	var p problem
	if a.status != status {
		t.Errorf("answers %d, want %d:\n%s", a.status, status, clip(a.body))
		return p
	}
	if media := a.header.Get("Content-Type"); !strings.HasPrefix(media, "application/problem+json") {
		t.Errorf("a refusal comes as %q, not as a problem document", media)
	}
	if err := json.Unmarshal(a.body, &p); err != nil {
		t.Errorf("problem document: %v\n%s", err, clip(a.body))
	}
	if p.Status != status || p.Reason == "" || p.Detail == "" {
		t.Errorf("the problem document is incomplete: %s", a.body)
	}
	return p
}

// toJSON writes a body: a message as protobuf has it, text as it is, anything else as
// encoding/json has it.
func toJSON(t testing.TB, body any) []byte {
	t.Helper()
	var text []byte
	var err error
	switch b := body.(type) {
	case proto.Message:
		text, err = protojson.Marshal(b)
	case string:
		text = []byte(b)
	default:
		text, err = json.Marshal(b)
	}
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// raw is a message inside a body that is otherwise made by hand.
func raw(t testing.TB, m proto.Message) json.RawMessage {
	t.Helper()
	return toJSON(t, m)
}

func clip(text []byte) string {
	const most = 800
	if len(text) > most {
		return string(text[:most]) + " …"
	}
	return string(text)
}
