package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"github.com/pikepole/pikepole/deploy/internal/config"
)

// started is one container that a file of the deploy folder starts.
type started struct {
	name    string
	args    []string
	environ []string
}

// check parses the container's command line as the program would, and has the settings
// checked for the parts that it serves. It returns those parts.
func (s started) check(t *testing.T) []string {
	t.Helper()
	var g grammar
	parser, err := newParser(&g, Call{Environ: append(imageEnviron(t), s.environ...), Stdout: io.Discard, Stderr: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := parser.Parse(s.args)
	if err != nil {
		t.Errorf("%s: %v", s.name, err)
		return nil
	}
	if !strings.HasPrefix(chosen.Command(), "serve") {
		t.Errorf("%s runs %q, not serve", s.name, chosen.Command())
	}
	parts, err := config.Serves(g.Serve.Services)
	if err != nil {
		t.Errorf("%s: %v", s.name, err)
	}
	if err := g.Serve.Check(parts); err != nil {
		t.Errorf("%s: %v", s.name, err)
	}
	for service, target := range map[string]string{
		"access": g.Serve.Access, "frames": g.Serve.Frames, "takeoff": g.Serve.Takeoff,
		"rigging": g.Serve.Rigging, "sequencing": g.Serve.Sequencing, "sitelog": g.Serve.Sitelog,
	} {
		if want := "dns:///" + service + ":7000"; target != "" && target != want {
			t.Errorf("%s reaches %s at %s, not at %s", s.name, service, target, want)
		}
	}
	return parts
}

// imageEnviron is the environment that the image sets.
func imageEnviron(t *testing.T) []string {
	t.Helper()
	text, err := os.ReadFile("../../Dockerfile")
	if err != nil {
		t.Fatal(err)
	}
	environ := regexp.MustCompile(`PIKEPOLE_[A-Z_]+=\S+`).FindAllString(string(text), -1)
	if len(environ) == 0 {
		t.Fatal("the Dockerfile sets nothing")
	}
	return environ
}

func TestComposeStartsEveryPart(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Services map[string]struct {
			Image       string            `yaml:"image"`
			Command     any               `yaml:"command"`
			Environment map[string]string `yaml:"environment"`
		} `yaml:"services"`
	}
	// What the one who starts it must set, such as ${POSTGRES_PASSWORD:?set a password}.
	text = regexp.MustCompile(`\$\{[A-Z_]+:\?[^}]*\}`).ReplaceAll(text, []byte("hush"))
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	var parts []string
	for name, s := range file.Services {
		if s.Image != "pikepole" {
			continue
		}
		c := started{name: name, environ: environOf(s.Environment)}
		args, ok := s.Command.([]any)
		if !ok {
			t.Errorf("%s: the command is %T, not a list", name, s.Command)
		}
		for _, a := range args {
			c.args = append(c.args, fmt.Sprint(a))
		}
		served := c.check(t)
		if !slices.Equal(served, []string{name}) {
			t.Errorf("%s serves %v", name, served)
		}
		parts = append(parts, served...)
	}
	everyPart(t, parts)
}

func environOf(values map[string]string) []string {
	var environ []string
	for name, value := range values {
		environ = append(environ, name+"="+value)
	}
	return environ
}

func everyPart(t *testing.T, parts []string) {
	t.Helper()
	slices.Sort(parts)
	if want := slices.Sorted(slices.Values(config.Names())); !slices.Equal(parts, want) {
		t.Errorf("served are %v, not %v", parts, want)
	}
}

// object is what this test reads of a Kubernetes object.
type object struct {
	Kind     string `yaml:"kind"`
	Metadata struct {
		Name string `yaml:"name"`
	} `yaml:"metadata"`
	Data       map[string]string `yaml:"data"`
	StringData map[string]string `yaml:"stringData"`
	Spec       struct {
		ClusterIP string `yaml:"clusterIP"`
		Ports     []struct {
			Port       int    `yaml:"port"`
			TargetPort string `yaml:"targetPort"`
		} `yaml:"ports"`
		Template struct {
			Spec struct {
				EnableServiceLinks *bool       `yaml:"enableServiceLinks"`
				Containers         []container `yaml:"containers"`
			} `yaml:"spec"`
		} `yaml:"template"`
	} `yaml:"spec"`
}

type container struct {
	Name    string   `yaml:"name"`
	Args    []string `yaml:"args"`
	EnvFrom []struct {
		ConfigMapRef *struct{ Name string } `yaml:"configMapRef"`
		SecretRef    *struct{ Name string } `yaml:"secretRef"`
	} `yaml:"envFrom"`
	Ports []struct {
		Name          string `yaml:"name"`
		ContainerPort int    `yaml:"containerPort"`
	} `yaml:"ports"`
	ReadinessProbe probe `yaml:"readinessProbe"`
	LivenessProbe  probe `yaml:"livenessProbe"`
}

type probe struct {
	HTTPGet struct {
		Path string `yaml:"path"`
		Port string `yaml:"port"`
	} `yaml:"httpGet"`
}

func readObjects(t *testing.T) []object {
	t.Helper()
	files, err := filepath.Glob("../../kubernetes/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no files: %v", err)
	}
	var objects []object
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		decoder := yaml.NewDecoder(bytes.NewReader(text))
		for {
			var o object
			err := decoder.Decode(&o)
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", f, err)
			}
			objects = append(objects, o)
		}
	}
	return objects
}

func TestKubernetesStartsEveryPart(t *testing.T) {
	t.Parallel()
	settings := map[string]map[string]string{} // by kind and name
	services, deployments, budgets := map[string]object{}, map[string]object{}, map[string]bool{}
	for _, o := range readObjects(t) {
		switch o.Kind {
		case "ConfigMap":
			settings["map/"+o.Metadata.Name] = o.Data
		case "Secret":
			settings["secret/"+o.Metadata.Name] = o.StringData
		case "Service":
			services[o.Metadata.Name] = o
		case "Deployment":
			deployments[o.Metadata.Name] = o
		case "PodDisruptionBudget":
			budgets[o.Metadata.Name] = true
		}
	}
	var parts []string
	for name, d := range deployments {
		if links := d.Spec.Template.Spec.EnableServiceLinks; links == nil || *links {
			t.Errorf("%s: names of services get into the environment, where unknown settings are refused", name)
		}
		for _, c := range d.Spec.Template.Spec.Containers {
			checkProbes(t, c)
			s := started{name: name, args: c.Args}
			for _, from := range c.EnvFrom {
				if from.ConfigMapRef != nil {
					s.environ = append(s.environ, environOf(settings["map/"+from.ConfigMapRef.Name])...)
				}
				if from.SecretRef != nil {
					s.environ = append(s.environ, environOf(settings["secret/"+from.SecretRef.Name])...)
				}
			}
			parts = append(parts, s.check(t)...)
		}
		if service, ok := services[name]; !ok || (name != "gateway" && service.Spec.ClusterIP != "None") {
			t.Errorf("%s has no headless service", name)
		}
		if !budgets[name] {
			t.Errorf("%s has no disruption budget", name)
		}
	}
	everyPart(t, parts)
	if got := slices.Sorted(maps.Keys(services)); len(got) != len(deployments) {
		t.Errorf("services %v do not match deployments %v", got, slices.Sorted(maps.Keys(deployments)))
	}
}

func checkProbes(t *testing.T, c container) {
	t.Helper()
	ports := map[string]int{}
	for _, p := range c.Ports {
		ports[p.Name] = p.ContainerPort
	}
	for path, p := range map[string]probe{"/readyz": c.ReadinessProbe, "/healthz": c.LivenessProbe} {
		if p.HTTPGet.Path != path || ports[p.HTTPGet.Port] != 9090 {
			t.Errorf("%s: %s is asked at %s on port %d, not on the admin port", c.Name, path, p.HTTPGet.Path, ports[p.HTTPGet.Port])
		}
	}
}

// TestPrometheusScrapesEveryPart compares the scrape file with the parts, and finds its rules.
func TestPrometheusScrapesEveryPart(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../prometheus/prometheus.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		RuleFiles []string `yaml:"rule_files"`
		Scrape    []struct {
			Name   string `yaml:"job_name"`
			Static []struct {
				Targets []string `yaml:"targets"`
			} `yaml:"static_configs"`
		} `yaml:"scrape_configs"`
	}
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, rules := range file.RuleFiles {
		if _, err := os.Stat(filepath.Join("../../prometheus", rules)); err != nil {
			t.Error(err)
		}
	}
	var parts []string
	for _, job := range file.Scrape {
		for _, static := range job.Static {
			for _, target := range static.Targets {
				part, found := strings.CutSuffix(target, ":9090")
				if !found {
					t.Errorf("%s is not an admin port", target)
				}
				parts = append(parts, part)
			}
		}
	}
	everyPart(t, parts)
}
