package command_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/pikepole/pikepole/deploy/internal/command"
)

// call runs the program in this process and returns what it wrote.
func call(ctx context.Context, environ []string, args ...string) (string, error) {
	var out bytes.Buffer
	err := command.Run(ctx, command.Call{Args: args, Environ: environ, Stdout: &out, Stderr: &out})
	return strings.TrimSpace(out.String()), err
}

func must(t *testing.T, args ...string) string {
	t.Helper()
	out, err := call(t.Context(), nil, args...)
	if err != nil {
		t.Fatalf("%v: %v\n%s", args, err, out)
	}
	return out
}

func TestKeys(t *testing.T) {
	t.Parallel()
	data := "--data=" + t.TempDir()
	must(t, "keys", "company", "hazelbank", "Hazelbank Frames", data)
	person := must(t, "keys", "person", "hazelbank", "Perrin Oakes", "--role=lead,admin", data)
	key := must(t, "keys", "new", "hazelbank", person, "--label=office", data)
	if !regexp.MustCompile(`^pk_[^_]+_\S+$`).MatchString(key) {
		t.Fatalf("the key is %q, not pk_<id>_<secret>", key)
	}
	id := strings.Split(key, "_")[1]
	if out := must(t, "keys", "list", data); !strings.Contains(out, "Hazelbank Frames") {
		t.Errorf("companies:\n%s", out)
	}
	out := must(t, "keys", "list", "hazelbank", data)
	for _, want := range []string{person, "Perrin Oakes", "lead", "admin", id, "office"} {
		if !strings.Contains(out, want) {
			t.Errorf("the list does not say %q:\n%s", want, out)
		}
	}
	if strings.Contains(out, key) {
		t.Error("the list shows a secret")
	}
	link := must(t, "keys", "link", "hazelbank", person, "--public-url=https://frames.example/", data)
	if !regexp.MustCompile(`^https://frames\.example/signin\S+`).MatchString(link) {
		t.Errorf("the link is %q", link)
	}
	must(t, "keys", "revoke", "hazelbank", id, data)
	if again := must(t, "keys", "list", "hazelbank", data); again == out {
		t.Error("revoking changes nothing")
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	wrong := filepath.Join(folder, "wrong.yaml")
	if err := os.WriteFile(wrong, []byte("lissen: x\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	data := "--data=" + folder
	tests := map[string]struct {
		environ, args []string
		want          string
	}{
		"unknown command":           {nil, []string{"raise"}, "raise"},
		"unknown flag":              {nil, []string{"serve", "--port=1"}, "--port"},
		"unknown service":           {nil, []string{"serve", "crane", data}, `no service "crane"`},
		"unknown environment":       {[]string{"PIKEPOLE_PORT=1"}, []string{"config", "print"}, "PIKEPOLE_PORT"},
		"unknown setting in a file": {nil, []string{"config", "print", "--config=" + wrong}, "lissen"},
		"missing address":           {nil, []string{"serve", "takeoff", "--access=a:1", data}, "--frames"},
		"split services on SQLite":  {nil, []string{"serve", "frames", "--access=a:1", data}, "--store postgres://"},
		"no such company":           {nil, []string{"keys", "person", "nobody", "N. N.", "--role=lead", data}, "nobody"},
		"no such role":              {nil, []string{"keys", "person", "nobody", "N. N.", "--role=boss", data}, "role"},
		"no such level":             {nil, []string{"serve", "--log-level=loud", data}, "log-level"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			out, err := call(t.Context(), test.environ, test.args...)
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("got %v; want it to say %q\n%s", err, test.want, out)
			}
		})
	}
}

func TestConfigPrint(t *testing.T) {
	t.Parallel()
	out, err := call(t.Context(), []string{"PIKEPOLE_STORE=postgres://u:hush@h/db"}, "config", "print", "--cores=2")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"store: postgres://u:***@h/db # environment", `cores: "2" # flag`, "listen: 127.0.0.1:8080 # default"} {
		if !strings.Contains(out, want) {
			t.Errorf("it does not say %q:\n%s", want, out)
		}
	}
}

func TestHelpAndVersion(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"--help"}, {"serve", "--help"}, {"keys", "new", "--help"}, {"version"}} {
		if out := must(t, args...); out == "" {
			t.Errorf("%v says nothing", args)
		}
	}
}
