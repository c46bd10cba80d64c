package check

import (
	"bytes"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// technology is what the domain knows nothing of.
func technology(dep string) bool {
	for _, prefix := range []string{
		"google.golang.org/grpc", "google.golang.org/protobuf", "google.golang.org/genproto", "database/sql",
		"modernc.org/", "github.com/jackc/", "github.com/pressly/", "net/http",
		Module + "/proto/gen",
	} {
		if strings.HasPrefix(dep, prefix) {
			return true
		}
	}
	return false
}

// adapters stand between the domain and a technology: frames from protos and over gRPC, sheets
// for documents, and the kit that the services' tests start their server with.
func adapters() []string {
	return []string{
		"services/internal/frame/framepb", "services/internal/framefetch", "services/internal/sheet", "services/internal/servicetest",
	}
}

func serviceNames() []string {
	return []string{"access", "frames", "takeoff", "rigging", "sequencing", "sitelog"}
}

// serviceOf is the service that a package belongs to; empty for none.
func serviceOf(pkg string) string {
	for _, s := range serviceNames() {
		if under(pkg, "services/"+s) {
			return s
		}
	}
	return ""
}

func walls() []rule {
	return []rule{
		{
			name:  "the gateway knows the protos and the platform alone",
			holds: func(pkg string) bool { return under(pkg, "gateway") },
			allows: func(_, dep string) bool {
				return !ours(dep) || under(dep, "gateway", "proto/gen", "services/platform")
			},
		},
		{
			name:  "no service knows another, nor gateway, nor deploy",
			holds: func(pkg string) bool { return serviceOf(pkg) != "" },
			allows: func(pkg, dep string) bool {
				return !ours(dep) || under(dep, "services/"+serviceOf(pkg), "services/internal", "services/platform", "proto/gen")
			},
		},
		{
			name:   "the platform knows no service and no domain",
			holds:  func(pkg string) bool { return under(pkg, "services/platform") },
			allows: func(_, dep string) bool { return !ours(dep) || under(dep, "services/platform", "proto/gen") },
		},
		{
			name: "the domain knows no technology",
			holds: func(pkg string) bool {
				return under(pkg, "services/internal") && !under(pkg, adapters()...)
			},
			allows: func(_, dep string) bool { return !technology(dep) },
		},
		{
			name: "the computations of a service know no technology",
			holds: func(pkg string) bool {
				s := serviceOf(pkg)
				return s != "" && pkg != Module+"/services/"+s
			},
			allows: func(_, dep string) bool { return !technology(dep) },
		},
		{
			name:  "the rooms of the domain know only those below them",
			holds: func(pkg string) bool { _, ok := rooms()[room(pkg)]; return ok },
			allows: func(pkg, dep string) bool {
				other := room(dep)
				return other == "" || other == room(pkg) || slices.Contains(rooms()[room(pkg)], other)
			},
		},
	}
}

// room is the first folder below services/internal that a package is in, or the adapter.
func room(pkg string) string {
	if under(pkg, adapters()...) {
		return strings.TrimPrefix(pkg, Module+"/services/internal/")
	}
	rest, ok := strings.CutPrefix(pkg, Module+"/services/internal/")
	if !ok {
		return ""
	}
	name, _, _ := strings.Cut(rest, "/")
	return name
}

// rooms lists for each room of the domain those that it may know, directly or not.
func rooms() map[string][]string {
	return map[string][]string{
		"natural":   {},
		"geom":      {},
		"wood":      {"geom"},
		"joinery":   {"geom", "wood"},
		"frame":     {"natural", "geom", "wood", "joinery"},
		"rough":     {"natural", "geom", "wood", "joinery", "frame"},
		"statics":   {"geom"},
		"model":     {"natural", "geom", "wood", "joinery", "frame", "statics"},
		"drawing":   {"geom"},
		"report":    {"geom", "drawing"},
		"framedraw": {"natural", "geom", "wood", "joinery", "frame", "drawing", "report"},
	}
}

func TestWalls(t *testing.T) {
	t.Parallel()
	list := exec.CommandContext(t.Context(), "go", "list", "-f", `{{.ImportPath}} {{join .Deps " "}}`, "./...")
	list.Dir = "../.."
	var stderr bytes.Buffer
	list.Stderr = &stderr
	out, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.Bytes())
	}
	deps := map[string][]string{}
	for line := range strings.Lines(string(out)) {
		if fields := strings.Fields(line); len(fields) > 0 {
			deps[fields[0]] = fields[1:]
		}
	}
	for _, name := range serviceNames() {
		if _, ok := deps[Module+"/services/"+name]; !ok {
			t.Errorf("service %s was not listed: the list is wrong", name)
		}
	}
	found := broken(walls(), deps)
	slices.Sort(found)
	for _, f := range found {
		t.Error(f)
	}
}

// A rule that nothing can break holds no wall.
func TestWallsAreHard(t *testing.T) {
	t.Parallel()
	tests := map[string]struct{ pkg, dep string }{
		"gateway knows a service":    {"gateway/page", "services/frames"},
		"gateway knows the domain":   {"gateway", "services/internal/frame"},
		"service knows another":      {"services/takeoff", "services/frames"},
		"service knows the gateway":  {"services/takeoff", "gateway"},
		"platform knows a service":   {"services/platform/server", "services/access"},
		"platform knows the domain":  {"services/platform/units", "services/internal/geom"},
		"domain knows protos":        {"services/internal/frame", "proto/gen/pikepole/frame/v1"},
		"computation knows protos":   {"services/takeoff/measure", "proto/gen/pikepole/frame/v1"},
		"a lower room knows a upper": {"services/internal/wood", "services/internal/frame"},
		"drawing knows frames":       {"services/internal/drawing", "services/internal/frame"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if len(broken(walls(), map[string][]string{Module + "/" + test.pkg: {Module + "/" + test.dep}})) == 0 {
				t.Errorf("%s may know %s", test.pkg, test.dep)
			}
		})
	}
	for _, dep := range []string{"google.golang.org/grpc", "database/sql"} {
		if len(broken(walls(), map[string][]string{Module + "/services/internal/frame": {dep}})) == 0 {
			t.Errorf("the domain may know %s", dep)
		}
	}
}
