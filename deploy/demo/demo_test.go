package demo_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/zap/zaptest"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/deploy/demo"
	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// TestLoadGoesOnWhereItWasCutOff fails a first load in the middle: the next one completes it
// and makes nothing twice.
func TestLoadGoesOnWhereItWasCutOff(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	suite, err := run.Start(t.Context(), run.Config{Logger: zaptest.NewLogger(t), Settings: config.Settings{
		Storage: config.Storage{Data: folder}, Listen: "127.0.0.1:0", GRPCListen: "127.0.0.1:0", AdminListen: "127.0.0.1:0",
		RequestRate: 50, RequestBurst: 300, StopTimeout: 10 * time.Second, LogLevel: "warn",
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := suite.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	cut := errors.New("the line is cut")
	target := demo.Target{
		Operator: suite.Access(), State: filepath.Join(folder, "demo.json"), Now: time.Now,
		Connect: func(service string, o dial.Options) (*grpc.ClientConn, error) {
			if service == "sitelog" {
				return nil, cut
			}
			return suite.Conn(o)
		},
	}
	if _, err := demo.Load(t.Context(), target); !errors.Is(err, cut) {
		t.Fatalf("got %v; want the cut line", err)
	}
	target.Connect = func(_ string, o dial.Options) (*grpc.ClientConn, error) { return suite.Conn(o) }
	var keys []string
	for range 2 {
		loaded, err := demo.Load(t.Context(), target)
		if err != nil {
			t.Fatal(err)
		}
		if len(loaded.Jobs) != 4 || loaded.OtherKey == "" || loaded.SignInCode == "" {
			t.Errorf("loaded is %+v", loaded)
		}
		keys = append(keys, loaded.Keys["lead"])
		if got := jobs(t, suite, loaded.Keys["lead"]); got != 3 {
			t.Errorf("there are %d jobs, not three", got)
		}
	}
	access := accessv1.NewAccessServiceClient(connect(t, suite, dial.Options{}))
	if _, err := access.ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: keys[0]}); err == nil {
		t.Error("the key of the load before is still good")
	}
}

func connect(t *testing.T, suite *run.Suite, o dial.Options) *grpc.ClientConn {
	t.Helper()
	conn, err := suite.Conn(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func jobs(t *testing.T, suite *run.Suite, key string) int {
	t.Helper()
	access := accessv1.NewAccessServiceClient(connect(t, suite, dial.Options{}))
	conn := connect(t, suite, dial.Options{PerRPC: identity.Credentials(access, key)})
	listed, err := framesv1.NewFramesServiceClient(conn).ListJobs(t.Context(), &framesv1.ListJobsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return len(listed.GetJobs())
}

func TestWriteFileLeavesTheOldOneWhenItFails(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	file := filepath.Join(folder, "ready.json")
	for _, content := range []string{"old", "new"} {
		if err := demo.WriteFile(file, []byte(content)); err != nil {
			t.Fatal(err)
		}
	}
	if err := demo.WriteFile(filepath.Join(folder, "nowhere", "ready.json"), nil); err == nil {
		t.Error("a file in a folder that is not there was written")
	}
	text, err := os.ReadFile(file)
	if err != nil || string(text) != "new" {
		t.Errorf("the file says %q, %v", text, err)
	}
	left, err := os.ReadDir(folder)
	if err != nil || len(left) != 1 {
		t.Errorf("left behind are %v, %v", left, err)
	}
	info, err := os.Stat(file)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("its mode is %v, %v: keys are for their owner alone", info.Mode(), err)
	}
}
