package command

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/grpc"

	data "github.com/pikepole/pikepole/deploy/demo"
	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/dial"
)

type demo struct {
	Listen      string        `help:"Where pages and REST are served." default:"127.0.0.1:8080" placeholder:"ADDR"`
	GRPCListen  string        `name:"grpc-listen" help:"Where gRPC is served; port 0 takes a free one." default:"127.0.0.1:0" placeholder:"ADDR"`
	AdminListen string        `help:"Where metrics, health and profiles are served; port 0 takes a free one." default:"127.0.0.1:0" placeholder:"ADDR"`
	Data        string        `help:"Folder to keep the data in; without it the data is gone at the end." placeholder:"DIR"`
	ReadyFile   string        `help:"File (JSON) to write addresses and keys to once everything answers." placeholder:"FILE"`
	StopTimeout time.Duration `help:"How long calls under way may take when the program is stopped." default:"5s"`
	LogLevel    string        `help:"Least important log lines to write: debug, info, warn or error." default:"warn" enum:"debug,info,warn,error"`
}

// What one address may ask of a demonstration: much, since everybody comes from this machine.
const (
	demoRate  = 500
	demoBurst = 2000
)

// Ready is what the ready file says.
type Ready struct {
	URL      string            `json:"url"`
	AdminURL string            `json:"adminUrl"`
	GRPC     string            `json:"grpc"`
	Keys     map[string]string `json:"keys"`
	OtherKey string            `json:"otherCompanyKey"`
}

// Run runs the demonstration until ctx ends.
func (d *demo) Run(ctx context.Context, call Call) error {
	folder, remove, err := d.folder()
	if err != nil {
		return err
	}
	defer remove()
	logger, err := newLogger(call.Stderr, d.LogLevel)
	if err != nil {
		return err
	}
	settings := config.Settings{
		Storage: config.Storage{Data: folder}, Listen: d.Listen, GRPCListen: d.GRPCListen, AdminListen: d.AdminListen,
		RequestRate: demoRate, RequestBurst: demoBurst, StopTimeout: d.StopTimeout, LogLevel: d.LogLevel,
	}
	suite, err := run.Start(ctx, run.Config{Settings: settings, Logger: logger})
	if err != nil {
		return err
	}
	if err := d.open(ctx, call, suite, folder); err != nil {
		stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), d.StopTimeout)
		defer cancel()
		return errors.Join(err, suite.Stop(stopping))
	}
	return untilStopped(ctx, suite, settings, logger)
}

// folder is the named data folder, or a temporary one that remove takes away.
func (d *demo) folder() (folder string, remove func(), err error) {
	if d.Data != "" {
		return d.Data, func() {}, os.MkdirAll(d.Data, 0o700)
	}
	folder, err = os.MkdirTemp("", "pikepole-demo-")
	return folder, func() { _ = os.RemoveAll(folder) }, err
}

// open loads the data and tells where everything is.
func (d *demo) open(ctx context.Context, call Call, suite *run.Suite, folder string) error {
	loaded, err := data.Load(ctx, data.Target{
		Operator: suite.Access(), State: filepath.Join(folder, "demo.json"), Now: time.Now,
		Connect: func(_ string, o dial.Options) (*grpc.ClientConn, error) { return suite.Conn(o) },
	})
	if err != nil {
		return err
	}
	if d.ReadyFile != "" {
		text, err := json.MarshalIndent(Ready{
			URL: suite.URL, AdminURL: suite.AdminURL, GRPC: suite.GRPC, Keys: loaded.Keys, OtherKey: loaded.OtherKey,
		}, "", "  ")
		if err != nil {
			return err
		}
		if err := data.WriteFile(d.ReadyFile, append(text, '\n')); err != nil {
			return fmt.Errorf("ready file: %w", err)
		}
	}
	kept := "The data is gone when this ends; keep it with --data DIR."
	if d.Data != "" {
		kept = "The data is kept in " + d.Data + "."
	}
	_, err = fmt.Fprintf(call.Stdout, "Pages and REST  %s\ngRPC            %s\nAdmin           %s\n\nSign in once as the lead:\n  %s\n\n%s Ctrl-C ends it.\n",
		suite.URL, suite.GRPC, suite.AdminURL, suite.URL+access.SignInPath(loaded.SignInCode), kept)
	return err
}
