package e2e_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strings"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/pikepole/pikepole/deploy/testkit"
	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
)

// bad is a request that must be refused. field and says are parts of what the problem
// document must name; says may also be in its detail.
type bad struct {
	method, path string
	body         any
	headers      []string
	key          string // of a role; lead when empty
	status       int
	field, says  string
}

// changed is the frame with one thing changed.
func changed(f *framev1.Frame, change func(*framev1.Frame)) *framev1.Frame {
	c := proto.CloneOf(f)
	change(c)
	return c
}

// textually is the frame's JSON with one number replaced by text that a message cannot hold.
func textually(t *testing.T, f *framev1.Frame, value string) json.RawMessage {
	t.Helper()
	marked := toJSON(t, changed(f, func(f *framev1.Frame) { f.Timbers[3].WidthMm = 123456.75 }))
	return bytes.Replace(marked, []byte("123456.75"), []byte(value), 1)
}

func issuing(frame any) string {
	text, err := json.Marshal(map[string]any{"frame": frame, "parentRevision": 1})
	if err != nil {
		panic(err) // the parts are JSON already
	}
	return string(text)
}

// badFrames are frames that must not be issued.
func badFrames(t *testing.T, f *framev1.Frame, job string) map[string]bad {
	t.Helper()
	post := func(frame any, field, says string) bad {
		return bad{method: http.MethodPost, path: "/v1/jobs/" + job + "/frames", body: issuing(frame), status: http.StatusBadRequest, field: field, says: says}
	}
	with := func(change func(*framev1.Frame), field, says string) bad {
		return post(raw(t, changed(f, change)), field, says)
	}
	mark := f.GetTimbers()[3].GetMark()
	return map[string]bad{
		"NaN":                      post(textually(t, f, `"NaN"`), "timbers[3].widthMm", mark),
		"infinity":                 post(textually(t, f, `"Infinity"`), "timbers[3].widthMm", mark),
		"minus infinity":           post(textually(t, f, `"-Infinity"`), "timbers[3].widthMm", mark),
		"beyond a double":          post(textually(t, f, `1e999`), "", ""),
		"text for a number":        post(textually(t, f, `"wide"`), "widthMm", ""),
		"negative size":            with(func(f *framev1.Frame) { f.Timbers[3].WidthMm = -200 }, "timbers[3].widthMm", mark),
		"no size":                  with(func(f *framev1.Frame) { f.Timbers[3].DepthMm = 0 }, "timbers[3].depthMm", mark),
		"huge size":                with(func(f *framev1.Frame) { f.Timbers[3].WidthMm = 1e9 }, "timbers[3].widthMm", mark),
		"huge place":               with(func(f *framev1.Frame) { f.Timbers[3].End.ZMm = 1e300 }, "timbers[3].end", mark),
		"duplicate mark":           with(func(f *framev1.Frame) { f.Timbers[4].Mark = f.Timbers[3].Mark }, "timbers[4].mark", mark),
		"duplicate joint":          with(func(f *framev1.Frame) { f.Joints[1].Id = f.Joints[0].Id }, "joints[1].id", f.GetJoints()[0].GetId()),
		"unknown receiving timber": with(func(f *framev1.Frame) { f.Joints[5].Receiving = "NOBODY" }, "joints[5].receiving", "NOBODY"),
		"unknown entering timber":  with(func(f *framev1.Frame) { f.Joints[5].Entering = "NOBODY" }, "joints[5].entering", "NOBODY"),
		"unknown assembly":         with(func(f *framev1.Frame) { f.Timbers[3].Assembly = "NOWHERE" }, "timbers[3].assembly", "NOWHERE"),
		"unknown species":          with(func(f *framev1.Frame) { f.Timbers[3].Species = "marble" }, "timbers[3].species", "marble"),
		"no role":                  with(func(f *framev1.Frame) { f.Timbers[3].Role = 0 }, "timbers[3].role", mark),
		"moisture":                 with(func(f *framev1.Frame) { f.Timbers[3].MoisturePercent = 900 }, "timbers[3].moisturePercent", mark),
		"empty frame":              post(json.RawMessage(`{}`), "timbers", ""),
		"50,000 sticks": with(func(f *framev1.Frame) {
			for n := len(f.GetTimbers()); n < 50_000; n++ {
				f.Timbers = append(f.Timbers, &framev1.Timber{Mark: fmt.Sprint("X", n)})
			}
		}, "timbers", "20000"),
		"stale parent": {
			method: http.MethodPost, path: "/v1/jobs/" + job + "/frames", body: map[string]any{"frame": raw(t, f), "parentRevision": 0},
			status: http.StatusConflict, says: "1",
		},
		"parent of the future": {
			method: http.MethodPost, path: "/v1/jobs/" + job + "/frames", body: map[string]any{"frame": raw(t, f), "parentRevision": 7},
			status: http.StatusConflict, says: "1",
		},
		"job of another company": {
			method: http.MethodPost, path: "/v1/jobs/" + job + "/frames", body: issuing(raw(t, f)), key: "other", status: http.StatusNotFound, says: job,
		},
	}
}

// badRequests are requests that are wrong before anyone looks at the frame.
func badRequests(job string) map[string]bad {
	at := "/v1/jobs/" + job
	garbage := make([]byte, 10<<20)
	for i := range garbage {
		garbage[i] = byte('!' + rand.IntN(90)) // printable; any will do
	}
	whole := `{"job":{"title":"x"}}`
	return map[string]bad{
		"10 MB of garbage":      {method: http.MethodPost, path: at + "/frames", body: string(garbage), status: http.StatusBadRequest},
		"10 MB where 1 will do": {method: http.MethodPost, path: "/v1/jobs", body: string(garbage), status: http.StatusRequestEntityTooLarge},
		"wrong content type":    {method: http.MethodPost, path: "/v1/jobs", body: whole, headers: []string{"Content-Type", "text/xml"}, status: http.StatusUnsupportedMediaType, says: "application/json"},
		"truncated JSON":        {method: http.MethodPost, path: "/v1/jobs", body: whole[:len(whole)-4], status: http.StatusBadRequest},
		"no body":               {method: http.MethodPost, path: "/v1/jobs", body: "", status: http.StatusBadRequest},
		"unknown field":         {method: http.MethodPost, path: "/v1/jobs", body: `{"job":{"title":"x","colour":"red"}}`, status: http.StatusBadRequest, field: "job.colour"},
		"wrong kind":            {method: http.MethodPost, path: "/v1/jobs", body: `{"job":{"title":7}}`, status: http.StatusBadRequest, field: "title"},
		"no title":              {method: http.MethodPost, path: "/v1/jobs", body: `{"job":{}}`, status: http.StatusBadRequest, field: "job.title"},
		"long title":            {method: http.MethodPost, path: "/v1/jobs", body: map[string]any{"job": map[string]any{"title": strings.Repeat("x", 201)}}, status: http.StatusBadRequest, field: "job.title"},
		"place off the earth":   {method: http.MethodPost, path: "/v1/jobs", body: `{"job":{"title":"x","site":{"latitudeDeg":91}}}`, status: http.StatusBadRequest, field: "latitudeDeg"},
		"unknown time zone":     {method: http.MethodPost, path: "/v1/jobs", body: `{"job":{"title":"x","site":{"timeZone":"Mars/Olympus"}}}`, status: http.StatusBadRequest, field: "timeZone"},
		"wrong method":          {method: http.MethodDelete, path: "/v1/jobs", status: http.StatusMethodNotAllowed},
		"no such address":       {method: http.MethodGet, path: "/v1/cathedrals", status: http.StatusNotFound},
		"unknown parameter":     {method: http.MethodGet, path: "/v1/jobs?sort=up", status: http.StatusBadRequest, field: "sort"},
		"page size":             {method: http.MethodGet, path: "/v1/jobs?pageSize=-1", status: http.StatusBadRequest, field: "pageSize"},
		"page size in words":    {method: http.MethodGet, path: "/v1/jobs?pageSize=many", status: http.StatusBadRequest, field: "pageSize"},
		"page token of none":    {method: http.MethodGet, path: "/v1/jobs?pageToken=abc", status: http.StatusBadRequest, field: "pageToken"},
		"unknown job":           {method: http.MethodGet, path: "/v1/jobs/job-nowhere", status: http.StatusNotFound, says: "job-nowhere"},
		"another company's job": {method: http.MethodGet, path: at, key: "other", status: http.StatusNotFound, says: job},
		"unknown revision":      {method: http.MethodGet, path: at + "/frames/99", status: http.StatusNotFound, says: "99"},
		"revision in words":     {method: http.MethodGet, path: at + "/frames/newest/takeoff", status: http.StatusBadRequest, field: "revision"},
		"unknown view":          {method: http.MethodGet, path: at + "/frames/1/drawing?view=bent:77", status: http.StatusBadRequest, field: "view", says: "77"},
		"unknown format":        {method: http.MethodGet, path: at + "/frames/1/takeoff?format=docx", status: http.StatusNotAcceptable, field: "format"},
		"unknown crane":         {method: http.MethodGet, path: "/v1/cranes/crane-99", status: http.StatusNotFound, says: "crane-99"},
		"chart upside down": {
			method: http.MethodPut, path: "/v1/cranes/crane-9", body: `{"name":"x","chart":[{"boomLengthMm":-5,"radiusMm":3000,"ratedKg":100}]}`,
			status: http.StatusBadRequest, field: "chart[0].boomLengthMm",
		},
		"gear of unknown mass": {
			method: http.MethodPut, path: "/v1/gear/sling-9", body: `{"kind":"GEAR_KIND_SLING","name":"x","count":2,"lengthMm":3000,"ratedVerticalKg":1000}`,
			status: http.StatusBadRequest, field: "massKg",
		},
		"rules of 200 m/s": {
			method: http.MethodPut, path: "/v1/standRules", body: `{"workingGustMPerS":200}`, status: http.StatusBadRequest, field: "rules.workingGustMPerS",
		},
		"stock of nothing": {method: http.MethodPut, path: "/v1/braceStock", body: `{}`, status: http.StatusBadRequest, field: "stock.lumber"},
		"a piece that stands nowhere": {
			method: http.MethodPost, path: at + "/frames/1:checkStand", body: `{"standing":["bent-1","P-99"]}`, status: http.StatusBadRequest, field: "standing[1]", says: "P-99",
		},
		"a gust of 200 m/s": {
			method: http.MethodPost, path: at + "/frames/1:checkStand", body: `{"standing":["bent-1"],"gustMPerS":200}`, status: http.StatusBadRequest, field: "gustMPerS", says: "200",
		},
		"a gust that is no number": {
			method: http.MethodPost, path: at + "/frames/1:makeSafe", body: `{"standing":["bent-1"],"gustMPerS":"NaN"}`, status: http.StatusBadRequest, field: "gustMPerS",
		},
		"a brace of no lumber": {
			method: http.MethodPost, path: at + "/frames/1:makeSafe", body: `{"afterMove":1,"braces":[{"id":"T1","mark":"P-1A"}]}`, status: http.StatusBadRequest, field: "braces[0].lumber",
		},
		"a lift of nothing":       {method: http.MethodPost, path: at + "/frames/1:checkLift", body: `{"assembly":"bent-99"}`, status: http.StatusBadRequest, field: "assembly", says: "bent-99"},
		"braces of no move":       {method: http.MethodGet, path: at + "/frames/1/standing/first/braces", status: http.StatusBadRequest, field: "move"},
		"unknown view of a state": {method: http.MethodGet, path: at + "/frames/1/standing/1/drawing?view=red", status: http.StatusBadRequest, field: "view", says: "sway"},
		"two bents of none":       {method: http.MethodPost, path: "/v1/frames:roughOut", body: `{"rough":{"bentCount":-2}}`, status: http.StatusBadRequest, field: "rough.bentCount"},
		"endless batch": {
			method: http.MethodPost, path: at + "/entries:post", body: map[string]any{"entries": make([]struct{}, 501)}, status: http.StatusBadRequest, field: "entries", says: "500",
		},
		"no credentials": {method: http.MethodGet, path: at, key: "none", status: http.StatusUnauthorized},
		"altered key":    {method: http.MethodGet, path: at, key: "altered", status: http.StatusUnauthorized},
	}
}

// TestBadInput sends what must be refused: each gets a problem document that names the field
// or piece, and nothing is written.
func TestBadInput(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	lead := client{s.URL, s.Keys["lead"]}
	keys := map[string]string{"": s.Keys["lead"], "other": s.OtherKey, "none": "", "altered": s.Keys["lead"][:len(s.Keys["lead"])-3] + "xyz"}
	job := s.Jobs["house"]
	var revision framesv1.FrameRevision
	lead.get(t, "/v1/jobs/"+job+"/frames/latest", &revision)
	before := everything(t, lead, job)
	t.Run("requests", func(t *testing.T) {
		tables := badRequests(job)
		for name, b := range badFrames(t, revision.GetFrame(), job) {
			tables["frame: "+name] = b
		}
		for name, b := range tables {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				var body []byte
				if b.body != nil {
					body = toJSON(t, b.body)
				}
				a := client{s.URL, keys[b.key]}.do(t, b.method, b.path, body, b.headers...)
				b.judge(t, refused(t, a, b.status))
			})
		}
	})
	if after := everything(t, lead, job); after != before {
		t.Errorf("something was written:\n%s\n\n%s", clip([]byte(before)), clip([]byte(after)))
	}
}

func (b bad) judge(t *testing.T, p problem) {
	t.Helper()
	named, said := b.field == "", strings.Contains(p.Detail, b.says)
	for _, e := range p.Errors {
		if e.Field == "" || e.Message == "" {
			t.Errorf("a field or its message is empty: %+v", p)
		}
		if strings.Contains(e.Field, b.field) {
			named = true
			said = said || strings.Contains(e.Message, b.says)
		}
	}
	if !named {
		t.Errorf("the problem document does not name %s: %+v", b.field, p)
	}
	if !said {
		t.Errorf("the problem document does not speak of %q: %+v", b.says, p)
	}
}

// everything is what could have been written, as text.
func everything(t *testing.T, c client, job string) string {
	t.Helper()
	var text strings.Builder
	for _, path := range []string{"/v1/jobs", "/v1/jobs/" + job + "/frames", "/v1/jobs/" + job + "/entries", "/v1/cranes", "/v1/gear", "/v1/work", "/v1/standRules", "/v1/braceStock"} {
		text.Write(c.do(t, http.MethodGet, path, nil).body)
	}
	return text.String()
}

// TestPageTokens takes a token of one list to another, and to other arguments of the same.
func TestPageTokens(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	lead := client{s.URL, s.Keys["lead"]}
	var jobs framesv1.ListJobsResponse
	lead.get(t, "/v1/jobs?pageSize=1", &jobs)
	token := jobs.GetNextPageToken()
	if token == "" {
		t.Fatal("three jobs fit on a page of one")
	}
	var rest framesv1.ListJobsResponse
	lead.get(t, "/v1/jobs?pageSize=2&pageToken="+token, &rest)
	if len(rest.GetJobs()) != 2 {
		t.Errorf("the second page has %d jobs, not two", len(rest.GetJobs()))
	}
	var entries sitelogv1.ListEntriesResponse
	lead.get(t, "/v1/jobs/"+s.Jobs["cabin"]+"/entries?pageSize=1", &entries)
	for name, path := range map[string]string{
		"token of another list":          "/v1/cranes?pageToken=" + token,
		"token of other arguments":       "/v1/jobs/" + s.Jobs["house"] + "/entries?pageToken=" + entries.GetNextPageToken(),
		"token of other kinds":           "/v1/jobs/" + s.Jobs["cabin"] + "/entries?kinds=ENTRY_KIND_NOTE&pageToken=" + entries.GetNextPageToken(),
		"altered token":                  "/v1/jobs?pageToken=" + token[:len(token)-2] + "zz",
		"token of a list, to the people": "/v1/people?pageToken=" + token,
	} {
		c := lead
		if strings.HasPrefix(path, "/v1/people") {
			c = client{s.URL, s.Keys["admin"]}
		}
		p := refused(t, c.do(t, http.MethodGet, path, nil), http.StatusBadRequest)
		if len(p.Errors) == 0 || p.Errors[0].Field != "pageToken" {
			t.Errorf("%s: %+v", name, p)
		}
	}
}

// TestTwoIssuesAtOnce issues many revisions on the same parent at the same time: one wins.
func TestTwoIssuesAtOnce(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	job := s.Jobs["cabin"]
	lead := client{s.URL, s.Keys["lead"]}
	var revision framesv1.FrameRevision
	lead.get(t, "/v1/jobs/"+job+"/frames/latest", &revision)
	const rivals = 8
	var racing sync.WaitGroup
	answers := make([]answer, rivals)
	for i := range rivals {
		body := toJSON(t, map[string]any{"frame": raw(t, revision.GetFrame()), "parentRevision": 1, "note": fmt.Sprint("rival ", i)})
		racing.Go(func() { answers[i] = lead.do(t, http.MethodPost, "/v1/jobs/"+job+"/frames", body) })
	}
	racing.Wait()
	won := 0
	for _, a := range answers {
		if a.status == http.StatusCreated {
			won++
			continue
		}
		refused(t, a, http.StatusConflict)
	}
	var listed framesv1.ListFramesResponse
	lead.get(t, "/v1/jobs/"+job+"/frames", &listed)
	if won != 1 || len(listed.GetFrames()) != 2 {
		t.Errorf("%d of %d won, and there are %d revisions", won, rivals, len(listed.GetFrames()))
	}
}
