package e2e_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/pikepole/pikepole/deploy/testkit"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
)

// ready is the ready file of the demonstration.
type ready struct {
	URL      string            `json:"url"`
	AdminURL string            `json:"adminUrl"`
	GRPC     string            `json:"grpc"`
	Keys     map[string]string `json:"keys"`
	OtherKey string            `json:"otherCompanyKey"`

	link string
}

// demo runs the demonstration in a data folder until the test or stop ends it.
func demo(t *testing.T, program, data string) (r ready, stop func()) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "ready.json")
	run := exec.Command(program, "demo", "--listen=127.0.0.1:0", "--ready-file="+file, "--data="+data)
	run.Env = []string{"HOME=" + data}
	run.Stderr = os.Stderr
	stdout, err := run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	ended := false
	stop = func() {
		if ended {
			return
		}
		ended = true
		_ = run.Process.Signal(syscall.SIGTERM) // the error below tells when it has ended already
		if err := run.Wait(); err != nil {
			t.Errorf("the demonstration ended with %v", err)
		}
	}
	t.Cleanup(stop)
	lines := bufio.NewScanner(stdout)
	for r.link == "" && lines.Scan() {
		r.link = regexp.MustCompile(`http://\S+/signin\S+`).FindString(lines.Text())
	}
	// The link is printed after the file is whole.
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("no ready file: %v", err)
	}
	if err := json.Unmarshal(text, &r); err != nil {
		t.Fatalf("ready file: %v\n%s", err, text)
	}
	return r, stop
}

// TestDemo runs the demonstration as a user does: every GET route that the description lists
// answers for all three jobs, and a second start in the same folder loads nothing twice.
func TestDemo(t *testing.T) {
	t.Parallel()
	program, data := testkit.Build(t), t.TempDir()
	r, stop := demo(t, program, data)
	for _, role := range []string{"lead", "viewer", "estimator", "shop", "field", "admin"} {
		if a := (client{r.URL, r.Keys[role]}).do(t, http.MethodGet, "/v1/me", nil); a.status != http.StatusOK || !strings.Contains(string(a.body), "ROLE_"+strings.ToUpper(role)) {
			t.Errorf("the key of %s: %d %s", role, a.status, a.body)
		}
	}
	if r.OtherKey == "" || r.GRPC == "" || r.AdminURL == "" || !strings.HasPrefix(r.link, r.URL) {
		t.Errorf("the ready file is incomplete: %+v", r)
	}
	jobs := demoJobs(t, r)
	if len(jobs) != 3 {
		t.Fatalf("the demonstration has %d jobs, not three", len(jobs))
	}
	everyRoute(t, r, jobs)
	everyPick(t, client{r.URL, r.Keys["viewer"]}, jobs)
	stop()
	again, _ := demo(t, program, data)
	if got := demoJobs(t, again); !slices.Equal(got, jobs) {
		t.Errorf("after a second start the jobs are %v, not %v", got, jobs)
	}
	refused(t, client{again.URL, r.Keys["lead"]}.do(t, http.MethodGet, "/v1/me", nil), http.StatusUnauthorized)
}

// everyPick finds every piece of the demonstration's frames on the hook, each within every limit.
func everyPick(t *testing.T, c client, jobs []string) {
	t.Helper()
	for _, job := range jobs {
		var picks riggingv1.Picks
		var takeoff takeoffv1.Takeoff
		c.get(t, "/v1/jobs/"+job+"/frames/latest/picks", &picks)
		c.get(t, "/v1/jobs/"+job+"/frames/latest/takeoff", &takeoff)
		pieces := 0
		for _, p := range picks.GetPicks() {
			pieces += len(p.GetMarks())
			if !p.GetAccepted() {
				t.Errorf("job %s: the pick of %s is refused: %v", job, p.GetId(), p.GetRefusals())
			}
		}
		if want := len(takeoff.GetSticks()); pieces != want {
			t.Errorf("job %s: %d pieces are picked of %d", job, pieces, want)
		}
	}
}

func demoJobs(t *testing.T, r ready) []string {
	t.Helper()
	var listed framesv1.ListJobsResponse
	client{r.URL, r.Keys["viewer"]}.get(t, "/v1/jobs", &listed)
	var ids []string
	for _, j := range listed.GetJobs() {
		ids = append(ids, j.GetId())
	}
	return ids
}

// everyRoute asks every GET route of the published description, and what is not in it.
func everyRoute(t *testing.T, r ready, jobs []string) {
	t.Helper()
	admin := client{r.URL, r.Keys["admin"]}
	var description struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal(admin.do(t, http.MethodGet, "/openapi.json", nil).body, &description); err != nil {
		t.Fatalf("openapi.json: %v", err)
	}
	asked := map[string]bool{}
	for path, operations := range description.Paths {
		if operations["get"] == nil {
			continue
		}
		asked[path] = true
		for _, job := range jobs {
			for _, concrete := range concretely(path, job) {
				if strings.HasSuffix(path, ":watch") {
					watchAny(t, admin, concrete)
				} else if a := admin.do(t, http.MethodGet, concrete, nil); a.status != http.StatusOK || len(a.body) == 0 {
					t.Errorf("%s answers %d: %s", concrete, a.status, clip(a.body))
				}
			}
		}
	}
	for _, path := range foundation() {
		if !asked[path] {
			t.Errorf("%s is not in the published description", path)
		}
	}
	for _, path := range []string{"/healthz", "/readyz", "/openapi.json"} {
		if a := (client{r.URL, ""}).do(t, http.MethodGet, path, nil); a.status != http.StatusOK {
			t.Errorf("%s answers %d", path, a.status)
		}
	}
	for _, path := range []string{"/healthz", "/readyz", "/metrics", "/debug/pprof/"} {
		if a := (client{r.AdminURL, ""}).do(t, http.MethodGet, path, nil); a.status != http.StatusOK {
			t.Errorf("admin port: %s answers %d", path, a.status)
		}
	}
}

// foundation are the GET routes that there must be.
func foundation() []string {
	const frame = "/v1/jobs/{job}/frames/{revision}"
	return []string{
		"/v1/me", "/v1/people", "/v1/keys", "/v1/jobs", "/v1/jobs/{job}", "/v1/jobs/{job}/frames", frame,
		frame + "/drawing", frame + "/layout", frame + "/takeoff", frame + "/picks", frame + "/raising",
		frame + "/standing", frame + "/standing/{move}/braces", frame + "/standing/{move}/drawing",
		"/v1/cranes", "/v1/cranes/{crane}", "/v1/gear", "/v1/gear/{item}", "/v1/work", "/v1/standRules", "/v1/braceStock",
		"/v1/jobs/{job}/entries", "/v1/jobs/{job}/entries:watch", "/v1/jobs/{job}/progress",
	}
}

// concretely puts real ids into a path, and adds the forms that a document can be had in.
func concretely(path, job string) []string {
	concrete := strings.NewReplacer("{job}", job, "{revision}", "latest", "{crane}", "crane-1", "{item}", "spreader-4m", "{move}", "1").Replace(path)
	switch {
	case strings.HasSuffix(path, "/{move}/drawing"):
		var views []string
		for _, view := range []string{"braces", "unbraced", "sway", "bending", "axial", "use"} {
			views = append(views, concrete+"?view="+view)
		}
		return append(views, concrete)
	case strings.HasSuffix(path, "/standing"), strings.HasSuffix(path, "/{move}/braces"):
		return []string{concrete, concrete + "?format=csv", concrete + "?format=html"}
	case strings.HasSuffix(path, "/drawing"):
		return []string{concrete + "?view=plan", concrete + "?view=axon", concrete + "?view=bent:2", concrete + "?view=wall:A"}
	case strings.HasSuffix(path, "/layout"):
		return []string{concrete, concrete + "?format=csv", concrete + "?format=svg"}
	case strings.HasSuffix(path, "/takeoff"), strings.HasSuffix(path, "/picks"), strings.HasSuffix(path, "/raising"):
		return []string{concrete, concrete + "?format=csv"}
	}
	return []string{concrete}
}

// watchAny opens a live stream from the start and reads what the log has already.
func watchAny(t *testing.T, c client, path string) {
	t.Helper()
	var listed sitelogv1.ListEntriesResponse
	c.get(t, strings.TrimSuffix(path, ":watch")+"?pageSize=500", &listed)
	watch(t, c, path, "").take(t, len(listed.GetEntries()))
}
