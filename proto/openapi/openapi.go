// Command openapi is the protoc plugin that writes the published description of the REST face.
// It takes the REST mapping from gateway/rest.yaml, puts it on the methods of the request as
// google.api.http options, lets protoc-gen-openapiv3 describe each proto file, joins the
// descriptions into one, and adds what no proto says: bearer keys, problem documents, media
// types of documents, server-sent events, created and deleted answers, and the probes.
//
// buf runs it from the root of the repository: see proto/buf.gen.yaml.
package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/pluginpb"
)

const (
	restFile  = "gateway/rest.yaml"
	modFile   = "proto/plugins.mod"
	outName   = "openapi.json"
	generator = "protoc-gen-openapiv3"
)

func main() {
	if err := run(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "openapi:", err)
		os.Exit(1)
	}
}

// run reads a CodeGeneratorRequest and writes a CodeGeneratorResponse with the one file.
func run(in io.Reader, out io.Writer) error {
	raw, err := io.ReadAll(in)
	if err != nil {
		return fmt.Errorf("read request: %w", err)
	}
	request := &pluginpb.CodeGeneratorRequest{}
	if err := proto.Unmarshal(raw, request); err != nil {
		return fmt.Errorf("parse request: %w", err)
	}
	rest, err := os.ReadFile(restFile)
	if err != nil {
		return fmt.Errorf("read the REST mapping: %w", err)
	}
	rules, err := parseRules(rest)
	if err != nil {
		return fmt.Errorf("%s: %w", restFile, err)
	}
	if err := rules.apply(request.GetProtoFile()); err != nil {
		return fmt.Errorf("%s: %w", restFile, err)
	}
	request.FileToGenerate = withServices(request)
	request.Parameter = proto.String("disable_default_errors=true")
	parts, err := generate(request)
	if err != nil {
		return err
	}
	joined, err := join(parts)
	if err != nil {
		return err
	}
	published, err := enrich(joined)
	if err != nil {
		return err
	}
	text, err := encode(published)
	if err != nil {
		return err
	}
	return respond(out, text)
}

// withServices names the files that have a service: the generator describes messages of the
// others where they are used.
func withServices(request *pluginpb.CodeGeneratorRequest) []string {
	var names []string
	for _, file := range request.GetProtoFile() {
		if len(file.GetService()) > 0 && strings.HasPrefix(file.GetName(), "pikepole/") {
			names = append(names, file.GetName())
		}
	}
	return names
}

// generate runs the pinned generator on the request.
func generate(request *pluginpb.CodeGeneratorRequest) ([]*pluginpb.CodeGeneratorResponse_File, error) {
	raw, err := proto.Marshal(request)
	if err != nil {
		return nil, fmt.Errorf("encode request: %w", err)
	}
	command := exec.Command("go", "tool", "-modfile="+modFile, generator)
	command.Stdin = bytes.NewReader(raw)
	command.Stderr = os.Stderr
	answer, err := command.Output()
	if err != nil {
		return nil, fmt.Errorf("run %s: %w", generator, err)
	}
	response := &pluginpb.CodeGeneratorResponse{}
	if err := proto.Unmarshal(answer, response); err != nil {
		return nil, fmt.Errorf("parse the answer of %s: %w", generator, err)
	}
	if response.Error != nil {
		return nil, errors.New(generator + ": " + response.GetError())
	}
	return response.GetFile(), nil
}

func respond(out io.Writer, text []byte) error {
	response := &pluginpb.CodeGeneratorResponse{
		SupportedFeatures: proto.Uint64(uint64(pluginpb.CodeGeneratorResponse_FEATURE_PROTO3_OPTIONAL)),
		File: []*pluginpb.CodeGeneratorResponse_File{{
			Name:    proto.String(outName),
			Content: proto.String(string(text)),
		}},
	}
	raw, err := proto.Marshal(response)
	if err != nil {
		return fmt.Errorf("encode response: %w", err)
	}
	if _, err := out.Write(raw); err != nil {
		return fmt.Errorf("write response: %w", err)
	}
	return nil
}
