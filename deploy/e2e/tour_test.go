package e2e_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"github.com/pikepole/pikepole/deploy/testkit"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// tour is what the README shows of the Go client.
func tour(ctx context.Context, w io.Writer, address, key string) error {
	plain := grpc.WithTransportCredentials(insecure.NewCredentials())
	door, err := grpc.NewClient(address, plain)
	if err != nil {
		return err
	}
	defer door.Close()
	login := identity.Credentials(accessv1.NewAccessServiceClient(door), key)
	conn, err := grpc.NewClient(address, plain, grpc.WithPerRPCCredentials(login))
	if err != nil {
		return err
	}
	defer conn.Close()
	jobs, err := framesv1.NewFramesServiceClient(conn).ListJobs(ctx, &framesv1.ListJobsRequest{})
	if err != nil {
		return err
	}
	for _, job := range jobs.GetJobs() {
		t, err := takeoffv1.NewTakeoffServiceClient(conn).GetTakeoff(ctx, &takeoffv1.GetTakeoffRequest{Job: job.GetId(), Revision: "latest"})
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s: %d sticks, %.0f kg\n", job.GetTitle(), t.GetTotal().GetCount(), t.GetTotal().GetMassKg())
	}
	return nil
}

// TestTour runs the tour of the README against the demonstration, and holds the README to it.
func TestTour(t *testing.T) {
	t.Parallel()
	r, _ := demo(t, testkit.Build(t), t.TempDir())
	var out strings.Builder
	if err := tour(t.Context(), &out, r.GRPC, r.Keys["viewer"]); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(out.String(), " sticks, "); n != 3 {
		t.Errorf("the tour lists %d takeoffs, not three:\n%s", n, out.String())
	}
	readme, source := read(t, "../../README.md"), read(t, "tour_test.go")
	_, source, _ = strings.Cut(source, "key string) error {\n")
	source, _, _ = strings.Cut(source, "\n}\n")
	for line := range strings.Lines(source) {
		if !strings.Contains(readme, strings.TrimSpace(line)) {
			t.Errorf("the README does not show this line of the tour: %s", line)
		}
	}
	curled(t, r, readme)
}

// curled sends what the README sends with curl to ask whether a bent stands, to the job that it takes.
func curled(t *testing.T, r ready, readme string) {
	t.Helper()
	lead := client{r.URL, r.Keys["lead"]}
	var first framesv1.ListJobsResponse
	lead.get(t, "/v1/jobs?pageSize=1", &first)
	for _, verb := range []string{":checkStand", ":makeSafe"} {
		_, rest, found := strings.Cut(readme, verb)
		_, rest, _ = strings.Cut(rest, "-d '")
		body, _, ended := strings.Cut(rest, "'")
		if !found || !ended {
			t.Errorf("the README does not show %s", verb)
			continue
		}
		a := lead.do(t, http.MethodPost, "/v1/jobs/"+first.GetJobs()[0].GetId()+"/frames/latest"+verb, []byte(body))
		if a.status != http.StatusOK || !strings.Contains(string(a.body), "qualified person") {
			t.Errorf("%s with %s answers %d: %s", verb, body, a.status, clip(a.body))
		}
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
