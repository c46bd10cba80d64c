package e2e_test

import (
	"encoding/json"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"gopkg.in/yaml.v3"

	"github.com/pikepole/pikepole/deploy/testkit"
)

// TestDashboardsAndAlertsNameRealMetrics compares what the dashboard and the alert rules ask
// for with what a running suite shows.
func TestDashboardsAndAlertsNameRealMetrics(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	exercise(t, s)
	shown := scrape(t, s)
	for place, expression := range expressions(t) {
		names := regexp.MustCompile(`\b(pikepole|go|process|promhttp)_[a-z0-9_]+\b`).FindAllString(expression, -1)
		if len(names) == 0 && !strings.Contains(expression, "up{") {
			t.Errorf("%s asks for no metric: %s", place, expression)
		}
		for _, name := range names {
			if !slices.Contains(shown, name) {
				t.Errorf("%s asks for %s, which the suite does not show", place, name)
			}
		}
	}
}

// exercise makes every kind of call once, so that metrics with labels have something to show.
func exercise(t *testing.T, s *testkit.Suite) {
	t.Helper()
	lead := client{s.URL, s.Keys["lead"]}
	for _, what := range []string{"takeoff", "picks", "raising", "takeoff"} {
		lead.do(t, http.MethodGet, "/v1/jobs/"+s.Jobs["house"]+"/frames/latest/"+what, nil)
	}
	refused(t, client{s.URL, "pk_no_key"}.do(t, http.MethodGet, "/v1/me", nil), http.StatusUnauthorized)
}

// scrape returns the names of all series that the suite shows, and lints them.
func scrape(t *testing.T, s *testkit.Suite) []string {
	t.Helper()
	var names []string
	for _, admin := range s.AdminURLs {
		a := (client{admin, ""}).do(t, http.MethodGet, "/metrics", nil)
		if a.status != http.StatusOK {
			t.Fatalf("/metrics answers %d", a.status)
		}
		problems, err := promlint.New(strings.NewReader(string(a.body))).Lint()
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			if strings.HasPrefix(p.Metric, "pikepole_") {
				t.Errorf("metric %s: %s", p.Metric, p.Text)
			}
		}
		for line := range strings.Lines(string(a.body)) {
			if name := regexp.MustCompile(`^[a-z_0-9]+`).FindString(line); name != "" {
				names = append(names, name)
			}
		}
	}
	return names
}

// expressions are all queries of the dashboard and of the alert rules, by where they stand.
func expressions(t *testing.T) map[string]string {
	t.Helper()
	found := map[string]string{}
	var dashboard struct {
		Panels []struct {
			Title   string `json:"title"`
			Targets []struct {
				Expr string `json:"expr"`
			} `json:"targets"`
		} `json:"panels"`
	}
	text, err := os.ReadFile("../grafana/pikepole.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &dashboard); err != nil {
		t.Fatal(err)
	}
	for _, p := range dashboard.Panels {
		for _, target := range p.Targets {
			found["panel "+p.Title+": "+target.Expr] = target.Expr
		}
	}
	var rules struct {
		Groups []struct {
			Rules []struct {
				Alert       string            `yaml:"alert"`
				Expr        string            `yaml:"expr"`
				Annotations map[string]string `yaml:"annotations"`
			} `yaml:"rules"`
		} `yaml:"groups"`
	}
	if text, err = os.ReadFile("../prometheus/alerts.yaml"); err != nil {
		t.Fatal(err)
	}
	if err := yaml.Unmarshal(text, &rules); err != nil {
		t.Fatal(err)
	}
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			found["alert "+r.Alert] = r.Expr
			if r.Annotations["summary"] == "" || r.Annotations["what_to_do"] == "" {
				t.Errorf("alert %s does not say what is wrong or what to do", r.Alert)
			}
		}
	}
	if len(found) < 20 {
		t.Errorf("only %d queries were found: the files are not read right", len(found))
	}
	return found
}
