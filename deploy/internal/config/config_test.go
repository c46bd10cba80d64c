package config_test

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/google/go-cmp/cmp"

	"github.com/pikepole/pikepole/deploy/internal/config"
)

func TestServes(t *testing.T) {
	t.Parallel()
	all, err := config.Serves(nil)
	if err != nil || !slices.Equal(all, config.Names()) {
		t.Errorf("no names serve %v, %v; want everything", all, err)
	}
	some, err := config.Serves([]string{"gateway", "access", "access"})
	if want := []string{"access", "gateway"}; err != nil || !slices.Equal(some, want) {
		t.Errorf("got %v, %v; want %v", some, err, want)
	}
	if _, err := config.Serves([]string{"crane"}); err == nil || !strings.Contains(err.Error(), "sitelog") {
		t.Errorf("an unknown service gives %v; want the list of services", err)
	}
}

func settings(change func(*config.Settings)) config.Settings {
	s := config.Settings{
		Storage: config.Storage{Data: "data"}, Listen: ":8080", GRPCListen: ":7000", AdminListen: ":9090", StopTimeout: time.Second,
		RequestRate: 50, RequestBurst: 300,
	}
	change(&s)
	return s
}

func TestCheck(t *testing.T) {
	t.Parallel()
	const postgres = "postgres://u@h/db"
	tests := map[string]struct {
		parts  []string
		change func(*config.Settings)
		want   []string // parts of the error; none for no error
	}{
		"everything":               {config.Names(), func(*config.Settings) {}, nil},
		"everything on PostgreSQL": {config.Names(), func(s *config.Settings) { s.Store = postgres }, nil},
		"frames alone":             {[]string{"frames"}, func(s *config.Settings) { s.Store, s.Access = postgres, "a:1" }, nil},
		"frames without access": {
			[]string{"frames"}, func(s *config.Settings) { s.Store = postgres }, []string{"frames calls access", "--access"},
		},
		"takeoff and rigging without frames": {
			[]string{"takeoff", "rigging"}, func(s *config.Settings) { s.Store, s.Access = postgres, "a:1" }, []string{"takeoff calls frames", "--frames"},
		},
		"site log without two": {
			[]string{"sitelog"}, func(s *config.Settings) { s.Store, s.Access = postgres, "a:1" }, []string{"--frames", "--sequencing"},
		},
		"gateway without any": {
			[]string{"gateway"},
			func(*config.Settings) {},
			[]string{"--access", "--frames", "--takeoff", "--rigging", "--sequencing", "--sitelog"},
		},
		"takeoff keeps nothing": {[]string{"takeoff"}, func(s *config.Settings) { s.Access, s.Frames = "a:1", "f:1" }, nil},
		"split on SQLite": {
			[]string{"frames"}, func(s *config.Settings) { s.Access = "a:1" }, []string{"--store postgres://"},
		},
		"another database": {config.Names(), func(s *config.Settings) { s.Store = "mysql://h/db" }, []string{"postgres://"}},
		"address of what is served here": {
			config.Names(), func(s *config.Settings) { s.Frames = "f:1" }, []string{"leave --frames out"},
		},
		"addresses without ports": {
			config.Names(), func(s *config.Settings) { s.Listen, s.AdminListen = "8080", "x" }, []string{"--listen", "--admin-listen"},
		},
		"numbers out of range": {
			config.Names(), func(s *config.Settings) { s.Cores, s.StopTimeout = -1, 0 }, []string{"--cores", "--stop-timeout"},
		},
		"networks":       {config.Names(), func(s *config.Settings) { s.TrustedProxies = []string{"10.0.0.1"} }, []string{"--trusted-proxies"}},
		"public address": {config.Names(), func(s *config.Settings) { s.PublicURL = "pikepole.example" }, []string{"--public-url"}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			err := settings(test.change).Check(test.parts)
			if len(test.want) == 0 {
				if err != nil {
					t.Errorf("refused: %v", err)
				}
				return
			}
			for _, want := range test.want {
				if err == nil || !strings.Contains(err.Error(), want) {
					t.Errorf("got %v; want it to say %q", err, want)
				}
			}
		})
	}
}

// Whoever is called is there before the caller: a cycle could never start.
func TestCallsHaveNoCycle(t *testing.T) {
	t.Parallel()
	names := config.Names()
	for i, name := range names {
		for _, callee := range config.Calls(name) {
			if at := slices.Index(names, callee); at < 0 || at >= i {
				t.Errorf("%s calls %s, which is not started before it", name, callee)
			}
		}
	}
}

// parse reads settings as the program does.
func parse(t *testing.T, args, environ []string) (*config.Settings, *config.Source, *kong.Kong, error) {
	t.Helper()
	var grammar struct {
		Config string
		config.Settings
	}
	source := config.NewSource(environ)
	parser, err := kong.New(&grammar, kong.Resolvers(source))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range parser.Model.Flags {
		source.Know(f.Name)
	}
	_, err = parser.Parse(args)
	return &grammar.Settings, source, parser, err
}

func TestPrecedence(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "pikepole.yaml")
	if err := os.WriteFile(file, []byte("listen: file:1\ngrpc-listen: file:2\nadmin-listen: file:3\ncores: 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	environ := []string{"PIKEPOLE_GRPC_LISTEN=env:2", "PIKEPOLE_ADMIN_LISTEN=env:3", "HOME=/", "PIKEPOLE_TEST_POSTGRES=x"}
	for name, args := range map[string][]string{"flag": {"--config", file}, "environment": nil} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			env := environ
			if args == nil {
				env = append(slices.Clone(env), "PIKEPOLE_CONFIG="+file)
			}
			got, source, parser, err := parse(t, append(args, "--admin-listen=flag:3"), env)
			if err != nil {
				t.Fatal(err)
			}
			want := config.Settings{
				Storage: config.Storage{Data: "data"}, Listen: "file:1", GRPCListen: "env:2", AdminListen: "flag:3",
				RequestRate: 50, RequestBurst: 300, Cores: 3, StopTimeout: 20 * time.Second, LogLevel: "info",
			}
			if diff := cmp.Diff(want, *got); diff != "" {
				t.Errorf("settings (-want +got):\n%s", diff)
			}
			origins := map[string]string{}
			for _, f := range parser.Model.Flags {
				origins[f.Name] = source.Origin(f)
			}
			for flag, origin := range map[string]string{
				"listen": config.FromFile, "grpc-listen": config.FromEnvironment, "admin-listen": config.FromFlag, "log-level": config.FromDefault,
			} {
				if origins[flag] != origin {
					t.Errorf("%s comes from %s, not %s", flag, origins[flag], origin)
				}
			}
		})
	}
}

func TestUnknownSettingsAreRefused(t *testing.T) {
	t.Parallel()
	if _, _, _, err := parse(t, nil, []string{"PIKEPOLE_LISTEM=x", "PIKEPOLE_GRPCLISTEN=y"}); err == nil ||
		!strings.Contains(err.Error(), "PIKEPOLE_LISTEM") || !strings.Contains(err.Error(), "PIKEPOLE_GRPCLISTEN") {
		t.Errorf("unknown names in the environment give %v", err)
	}
	if _, _, _, err := parse(t, []string{"--config=/nowhere/at/all.yaml"}, nil); err == nil {
		t.Error("a settings file that is not there was taken")
	}
	known := map[string]bool{"listen": true, "cores": true}
	tests := map[string]struct{ text, want string }{
		"unknown name": {"listen: x\nlisten-at: y\n", `line 2: there is no setting "listen-at"`},
		"not plain":    {"listen: [a, b]\n", "listen must be one plain value"},
		"twice":        {"listen: a\nlisten: b\n", "listen"},
		"not a map":    {"- listen\n", "unmarshal"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if _, err := config.ReadFile(strings.NewReader(test.text), known); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v; want it to say %q", err, test.want)
			}
		})
	}
	if values, err := config.ReadFile(strings.NewReader(""), known); err != nil || len(values) != 0 {
		t.Errorf("an empty file gives %v, %v", values, err)
	}
}

func TestPrintRoundTrips(t *testing.T) {
	t.Parallel()
	_, source, parser, err := parse(t, []string{"--store=postgres://u:secret@h/db?sslmode=disable", "--stop-timeout=1m"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := config.Print(&out, parser.Model.Flags, source); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(out.String(), "secret") {
		t.Errorf("a secret is shown:\n%s", out.String())
	}
	known := map[string]bool{}
	for _, f := range parser.Model.Flags {
		known[f.Name] = true
	}
	values, err := config.ReadFile(&out, known)
	if err != nil {
		t.Fatalf("what was printed is no settings file: %v", err)
	}
	if values["stop-timeout"] != "1m0s" || values["store"] != "postgres://u:***@h/db?sslmode=disable" {
		t.Errorf("printed %v", slices.Sorted(maps.Keys(values)))
	}
}

func TestMask(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"":                               "",
		"postgres://u@h/db":              "postgres://u@h/db",
		"postgres://u:p@h/db":            "postgres://u:***@h/db",
		"postgres://h/db?password=p&a=b": "postgres://h/db?a=b&password=***",
		"host=h password=p":              "***",
	} {
		if got := config.Mask(in); got != want {
			t.Errorf("Mask(%q) = %q, want %q", in, got, want)
		}
	}
}
