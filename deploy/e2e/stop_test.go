package e2e_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/pikepole/pikepole/deploy/testkit"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
)

// TestStop stops the program while a live stream is open: the stream is ended rather than
// waited for, and the program ends well.
func TestStop(t *testing.T) {
	t.Parallel()
	program, data := testkit.Build(t), t.TempDir()
	key := letIn(t, program, data)
	p := testkit.Serve(t, program, "--data="+data)
	c := client{p.URL, key}
	var job framesv1.Job
	c.send(t, http.MethodPost, "/v1/jobs", `{"job":{"title":"Last call"}}`, http.StatusCreated, &job)
	live := watch(t, c, "/v1/jobs/"+job.GetId()+"/entries:watch", "")
	began := time.Now()
	p.Stop(t)
	for range live.events { // until the server ends the stream
	}
	if took := time.Since(began); took > stopsWithin {
		t.Errorf("with a stream open it took %s to stop", took)
	}
}

// stopsWithin is well below the time that calls under way may take.
const stopsWithin = 10 * time.Second
