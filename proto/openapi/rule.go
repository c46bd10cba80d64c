package main

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"
	"gopkg.in/yaml.v3"
)

// rule is one line of the REST mapping, in the words of the gRPC API configuration.
type rule struct {
	Selector string `yaml:"selector"`
	Get      string `yaml:"get"`
	Put      string `yaml:"put"`
	Post     string `yaml:"post"`
	Patch    string `yaml:"patch"`
	Delete   string `yaml:"delete"`
	Body     string `yaml:"body"`
}

// rules is the REST mapping in the order of the file.
type rules []rule

func parseRules(text []byte) (rules, error) {
	var file struct {
		Type          string `yaml:"type"`
		ConfigVersion int    `yaml:"config_version"`
		HTTP          struct {
			Rules rules `yaml:"rules"`
		} `yaml:"http"`
	}
	decoder := yaml.NewDecoder(bytes.NewReader(text))
	decoder.KnownFields(true)
	if err := decoder.Decode(&file); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, r := range file.HTTP.Rules {
		if _, path := r.route(); path == "" {
			return nil, fmt.Errorf("%s has no path", r.Selector)
		}
		if seen[r.Selector] {
			return nil, fmt.Errorf("%s stands twice", r.Selector)
		}
		seen[r.Selector] = true
	}
	return file.HTTP.Rules, nil
}

// route gives the HTTP method and path.
func (r rule) route() (method, path string) {
	for _, choice := range []struct{ method, path string }{
		{http.MethodGet, r.Get},
		{http.MethodPut, r.Put},
		{http.MethodPost, r.Post},
		{http.MethodPatch, r.Patch},
		{http.MethodDelete, r.Delete},
	} {
		if choice.path != "" {
			return choice.method, choice.path
		}
	}
	return "", ""
}

func (r rule) option() *annotations.HttpRule {
	option := &annotations.HttpRule{Body: r.Body}
	switch method, path := r.route(); method {
	case http.MethodGet:
		option.Pattern = &annotations.HttpRule_Get{Get: path}
	case http.MethodPut:
		option.Pattern = &annotations.HttpRule_Put{Put: path}
	case http.MethodPost:
		option.Pattern = &annotations.HttpRule_Post{Post: path}
	case http.MethodPatch:
		option.Pattern = &annotations.HttpRule_Patch{Patch: path}
	case http.MethodDelete:
		option.Pattern = &annotations.HttpRule_Delete{Delete: path}
	}
	return option
}

// apply sets google.api.http on every method that the mapping names; a name that no file has is
// an error, so that the mapping cannot outlive a method.
func (rs rules) apply(files []*descriptorpb.FileDescriptorProto) error {
	bySelector := map[string]rule{}
	for _, r := range rs {
		bySelector[r.Selector] = r
	}
	for _, file := range files {
		for _, service := range file.GetService() {
			for _, method := range service.GetMethod() {
				selector := strings.Join([]string{file.GetPackage(), service.GetName(), method.GetName()}, ".")
				r, ok := bySelector[selector]
				if !ok {
					continue
				}
				delete(bySelector, selector)
				if method.Options == nil {
					method.Options = &descriptorpb.MethodOptions{}
				}
				proto.SetExtension(method.Options, annotations.E_Http, r.option())
			}
		}
	}
	for selector := range bySelector {
		return fmt.Errorf("%s is no method of any service", selector)
	}
	return nil
}
