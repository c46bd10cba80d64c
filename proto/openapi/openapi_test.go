package main

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/pluginpb"
)

const mapping = `type: google.api.Service
config_version: 3
http:
  rules:
    - selector: a.v1.S.Get
      get: /v1/a/{a}
`

func TestParseRules(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ text, want string }{
		"good":                {mapping, ""},
		"a key that is none":  {mapping + "      bodyy: \"*\"\n", "bodyy"},
		"a rule without path": {strings.Replace(mapping, "      get: /v1/a/{a}\n", "", 1), "no path"},
		"a rule twice":        {mapping + "    - selector: a.v1.S.Get\n      get: /v1/b\n", "twice"},
	} {
		_, err := parseRules([]byte(tc.text))
		if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
			t.Errorf("%s: %v, want an error with %q", name, err, tc.want)
		}
	}
}

func TestARuleForNoMethodIsAnError(t *testing.T) {
	t.Parallel()
	rs, err := parseRules([]byte(mapping))
	if err != nil {
		t.Fatal(err)
	}
	file := &descriptorpb.FileDescriptorProto{
		Package: proto.String("a.v1"),
		Service: []*descriptorpb.ServiceDescriptorProto{{
			Name: proto.String("S"), Method: []*descriptorpb.MethodDescriptorProto{{Name: proto.String("Get")}},
		}},
	}
	if err := rs.apply([]*descriptorpb.FileDescriptorProto{file}); err != nil {
		t.Error(err)
	}
	file.Service[0].Method[0].Name = proto.String("Fetch")
	if err := rs.apply([]*descriptorpb.FileDescriptorProto{file}); err == nil {
		t.Error("a rule that names no method was taken")
	}
}

func TestPathsThatDifferInNamesOnlyAreOne(t *testing.T) {
	t.Parallel()
	part := func(name, paths string) *pluginpb.CodeGeneratorResponse_File {
		return &pluginpb.CodeGeneratorResponse_File{Name: proto.String(name), Content: proto.String(`{"paths":{` + paths + `}}`)}
	}
	operation := func(method, parameter string) string {
		return `{"` + method + `":{"parameters":[{"in":"path","name":"` + parameter + `"}]}}`
	}
	joined, err := join([]*pluginpb.CodeGeneratorResponse_File{part("a",
		`"/v1/a/{a}":`+operation("get", "a")+`,"/v1/a/{a.id}":`+operation("patch", "a.id")+`,"/v1/b/{b.id}":`+operation("put", "b.id"))})
	if err != nil {
		t.Fatal(err)
	}
	named := func(parameter string) object {
		return object{"parameters": []any{object{"in": "path", "name": parameter}}}
	}
	want := object{
		"/v1/a/{a}": object{"get": named("a"), "patch": named("a")},
		"/v1/b/{b}": object{"put": named("b")},
	}
	if diff := cmp.Diff(want, joined.Paths); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if _, err := join([]*pluginpb.CodeGeneratorResponse_File{
		part("a", `"/v1/a":`+operation("get", "a")), part("b", `"/v1/a":`+operation("get", "b")),
	}); err == nil {
		t.Error("one operation described in two ways was taken")
	}
}
