package e2e_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/pikepole/pikepole/deploy/testkit"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
)

// TestMarksDoNotCatchTheScript shows a job with sticks whose marks are the names of the page's own
// parts: rows carry their marks, for links from the drawings.
func TestMarksDoNotCatchTheScript(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	c := client{s.URL, s.Keys["lead"]}
	cabin := string(c.do(t, http.MethodGet, "/v1/jobs/"+s.Jobs["cabin"]+"/frames/latest", nil).body)
	frame := frameOf(t, cabin)
	job := &framesv1.Job{}
	c.send(t, http.MethodPost, "/v1/jobs", map[string]any{"job": map[string]any{"title": "Odd marks"}}, http.StatusCreated, job)
	for i, mark := range []string{"live", "live-state"} {
		timbers := frame["timbers"].([]any)
		old := timbers[i].(map[string]any)["mark"].(string)
		timbers[i].(map[string]any)["mark"] = mark
		for _, joint := range frame["joints"].([]any) {
			for _, end := range []string{"entering", "receiving"} {
				if joint.(map[string]any)[end] == old {
					joint.(map[string]any)[end] = mark
				}
			}
		}
		for _, item := range frame["hardware"].([]any) {
			if item.(map[string]any)["timber"] == old {
				item.(map[string]any)["timber"] = mark
			}
		}
	}
	c.send(t, http.MethodPost, "/v1/jobs/"+job.GetId()+"/frames", map[string]any{"frame": frame, "parentRevision": 0}, http.StatusCreated, nil)
	b := openBrowser(t, s.URL)
	b.do(t, chromedp.Navigate(s.URL+"/signin?code="+url.QueryEscape(s.SignInCode)))
	b.press(t, "the sign-in button", `e.matches("button.main-button")`)
	b.until(t, "the list of jobs", `location.pathname === "/jobs"`)
	b.do(t, chromedp.Navigate(s.URL+"/jobs/"+job.GetId()))
	b.until(t, "a row with such a mark", fmt.Sprintf(`location.pathname === %q && document.querySelector("tr#live, tr#live-state") !== null`, "/jobs/"+job.GetId()))
	b.until(t, "the live connection", `document.querySelector("p#live-state").innerText.includes("by themselves")`)
}

// frameOf gives the frame of an answered revision.
func frameOf(t *testing.T, answered string) map[string]any {
	t.Helper()
	var revision struct {
		Frame map[string]any `json:"frame"`
	}
	if err := json.Unmarshal([]byte(answered), &revision); err != nil || revision.Frame == nil {
		t.Fatalf("no frame in %.200s: %v", answered, err)
	}
	return revision.Frame
}
