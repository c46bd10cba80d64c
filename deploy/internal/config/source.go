package config

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
	"gopkg.in/yaml.v3"
)

// The names of settings in the environment: PIKEPOLE_GRPC_LISTEN for --grpc-listen.
const (
	envPrefix = "PIKEPOLE_"
	// Names with this prefix belong to the tests, not to the program.
	envTestPrefix = "PIKEPOLE_TEST_"
)

// Origins of a setting, weakest first.
const (
	FromDefault     = "default"
	FromFile        = "file"
	FromEnvironment = "environment"
	FromFlag        = "flag"
)

// Source gives kong the settings of the environment and of the file that --config or
// PIKEPOLE_CONFIG names, and remembers which came from where. It serves one parse.
type Source struct {
	environ map[string]string
	known   map[string]bool
	file    map[string]string
	read    bool
	origin  map[string]string
}

// NewSource takes the environment as os.Environ gives it.
func NewSource(environ []string) *Source {
	s := &Source{environ: map[string]string{}, known: map[string]bool{}, origin: map[string]string{}}
	for _, pair := range environ {
		if name, value, ok := strings.Cut(pair, "="); ok && strings.HasPrefix(name, envPrefix) && !strings.HasPrefix(name, envTestPrefix) {
			s.environ[name] = value
		}
	}
	return s
}

// Know adds settings, as flag names, that may occur in the environment and in the file.
func (s *Source) Know(flags ...string) {
	for _, f := range flags {
		s.known[f] = true
	}
}

// EnvName is how a setting is called in the environment.
func EnvName(flag string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

// Validate refuses names in the environment that are no settings.
func (s *Source) Validate(*kong.Application) error {
	names := map[string]bool{EnvName("config"): true}
	for k := range s.known {
		names[EnvName(k)] = true
	}
	var unknown []error
	for _, name := range slices.Sorted(maps.Keys(s.environ)) {
		if !names[name] {
			unknown = append(unknown, fmt.Errorf("environment: there is no setting %s; `pikepole config print` lists them", name))
		}
	}
	return errors.Join(unknown...)
}

// Resolve is asked by kong for every flag that the command line does not set.
func (s *Source) Resolve(ctx *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	if err := s.load(ctx); err != nil {
		return nil, err
	}
	if value, ok := s.environ[EnvName(flag.Name)]; ok {
		s.origin[flag.Name] = FromEnvironment
		return value, nil
	}
	if value, ok := s.file[flag.Name]; ok {
		s.origin[flag.Name] = FromFile
		return value, nil
	}
	s.origin[flag.Name] = FromDefault
	return nil, nil
}

// Origin says where the value of a flag came from after the parse.
func (s *Source) Origin(flag *kong.Flag) string {
	if o, ok := s.origin[flag.Name]; ok {
		return o
	}
	return FromFlag // kong asks for all others
}

func (s *Source) load(ctx *kong.Context) error {
	if s.read {
		return nil
	}
	s.read = true
	path := s.environ[EnvName("config")]
	for _, flag := range ctx.Flags() {
		if flag.Name == "config" {
			if given, ok := ctx.FlagValue(flag).(string); ok && given != "" {
				path = given
			}
		}
	}
	if path == "" {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("settings file: %w", err)
	}
	defer f.Close()
	s.file, err = ReadFile(f, s.known)
	if err != nil {
		return fmt.Errorf("settings file %s: %w", path, err)
	}
	return nil
}

// ReadFile reads settings from YAML, one `name: value` a line, named as the flags are.
// Every name that is unknown, and every value that is not plain, is an error.
func ReadFile(r io.Reader, known map[string]bool) (map[string]string, error) {
	var doc map[string]yaml.Node
	if err := yaml.NewDecoder(r).Decode(&doc); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	values := make(map[string]string, len(doc))
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(doc)) {
		node := doc[name]
		switch {
		case !known[name]:
			faults = append(faults, fmt.Errorf("line %d: there is no setting %q; `pikepole config print` lists them", node.Line, name))
		case node.Kind != yaml.ScalarNode:
			faults = append(faults, fmt.Errorf("line %d: %s must be one plain value", node.Line, name))
		default:
			values[name] = node.Value
		}
	}
	return values, errors.Join(faults...)
}
