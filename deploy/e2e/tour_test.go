package e2e_test

import (
	"context"
	"fmt"
	"io"
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
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
