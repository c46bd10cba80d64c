package testkit

import (
	"bufio"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/dial"
)

// What one address may ask of a suite under test: all that a test does comes from one.
const (
	testRate  = 5000
	testBurst = 20000
	// quiet is the least important log line that a test shows.
	quiet = zapcore.WarnLevel
	// comingUp and goingDown bound how long a process may take.
	comingUp  = 60 * time.Second
	goingDown = 30 * time.Second
)

// building lets one build run at a time: the first fills Go's cache, the others only link.
var building sync.Mutex

// Build builds the program and returns its path.
func Build(t testing.TB) string {
	t.Helper()
	building.Lock()
	defer building.Unlock()
	path := filepath.Join(t.TempDir(), "pikepole")
	build := exec.CommandContext(t.Context(), "go", "build", "-o", path, "github.com/pikepole/pikepole/deploy/pikepole")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build the program: %v\n%s", err, out)
	}
	return path
}

// Process is a running `pikepole serve`.
type Process struct {
	// URL, GRPC and AdminURL are its addresses; empty for what it does not serve.
	URL, GRPC, AdminURL string

	command *exec.Cmd
	log     *tail
	ended   chan error
}

// serving is the log line with which a process says that it answers.
type serving struct {
	Message  string `json:"msg"`
	URL      string `json:"url"`
	GRPC     string `json:"grpc"`
	AdminURL string `json:"admin_url"`
}

// Serve starts the program with free ports and waits until it answers. At the end of the
// test it is stopped as an operator stops it, and must end well; its log is shown when the
// test has failed.
func Serve(t testing.TB, program string, args ...string) *Process {
	t.Helper()
	args = append([]string{
		"serve", "--listen=127.0.0.1:0", "--grpc-listen=127.0.0.1:0", "--admin-listen=127.0.0.1:0",
		fmt.Sprintf("--request-rate=%d", testRate), fmt.Sprintf("--request-burst=%d", testBurst),
	}, args...)
	p := &Process{command: exec.Command(program, args...), log: &tail{}, ended: make(chan error, 1)}
	p.command.Env = environ()
	stderr, err := p.command.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	answers := make(chan serving, 1)
	go p.follow(stderr, answers)
	t.Cleanup(func() { p.Stop(t) })
	select {
	case s := <-answers:
		p.URL, p.GRPC, p.AdminURL = s.URL, s.GRPC, s.AdminURL
	case err := <-p.ended:
		p.ended <- err
		t.Fatalf("%v ended at once: %v\n%s", args, err, p.log)
	case <-time.After(comingUp):
		t.Fatalf("%v does not answer after %s\n%s", args, comingUp, p.log)
	}
	return p
}

// follow keeps the log and finds the line that says that the process answers.
func (p *Process) follow(stderr io.Reader, answers chan<- serving) {
	lines := bufio.NewReader(stderr)
	for {
		line, err := lines.ReadBytes('\n')
		p.log.add(string(line))
		var s serving
		if json.Unmarshal(line, &s) == nil && s.Message == "serving" {
			answers <- s
		}
		if err != nil {
			break
		}
	}
	p.ended <- p.command.Wait()
}

// Kill ends the process as kill -9 does, and waits until it is gone.
func (p *Process) Kill(t testing.TB) {
	t.Helper()
	if err := p.command.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-p.ended
	p.ended <- nil
}

// Stop ends the process as an operator does, and wants it to end well. A second call does nothing.
func (p *Process) Stop(t testing.TB) {
	t.Helper()
	// An error here says that it has ended already, which ended tells below.
	_ = p.command.Process.Signal(syscall.SIGTERM)
	select {
	case err := <-p.ended:
		p.ended <- nil
		if err != nil {
			t.Errorf("%v ended with %v", p.command.Args, err)
		}
	case <-time.After(goingDown):
		t.Errorf("%v did not end %s after it was told to", p.command.Args, goingDown)
		_ = p.command.Process.Kill()
	}
	if t.Failed() {
		t.Logf("log of %v:\n%s", p.command.Args, p.log)
	}
}

// environ is the environment without settings of the program.
func environ() []string {
	var kept []string
	for _, pair := range os.Environ() {
		if !strings.HasPrefix(pair, "PIKEPOLE_") {
			kept = append(kept, pair)
		}
	}
	return kept
}

// tail keeps the last lines of a log.
type tail struct {
	mu    sync.Mutex
	lines []string
}

func (l *tail) add(line string) {
	const kept = 200
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, line)
	if len(l.lines) > kept {
		l.lines = l.lines[len(l.lines)-kept:]
	}
}

func (l *tail) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.lines, "")
}

// Database makes a database in the PostgreSQL of the test command and returns its address.
func Database(t testing.TB) string {
	t.Helper()
	server := Need(t, PostgresEnv, "postgres")
	name := "pikepole_" + strings.ToLower(rand.Text())
	statement := func(ctx context.Context, sql string) error {
		conn, err := pgx.Connect(ctx, server)
		if err != nil {
			return err
		}
		_, err = conn.Exec(ctx, sql)
		return errors.Join(err, conn.Close(ctx))
	}
	if err := statement(t.Context(), "CREATE DATABASE "+name); err != nil {
		t.Fatalf("make a database: %v", err)
	}
	t.Cleanup(func() {
		if err := statement(context.Background(), "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Errorf("drop the database: %v", err)
		}
	})
	address, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	address.Path = "/" + name
	return address.String()
}

// StartProcesses starts each service and the gateway as a process of its own on PostgreSQL.
func StartProcesses(t testing.TB, program string) *Suite {
	t.Helper()
	database := Database(t)
	running := map[string]*Process{}
	s := &Suite{connect: func(service string, o dial.Options) (*grpc.ClientConn, error) {
		return dial.Conn(running[service].GRPC, o)
	}}
	for _, part := range config.Names() {
		args := []string{part}
		if part != "gateway" && part != "takeoff" {
			args = append(args, "--store="+database)
		}
		for _, callee := range append([]string{"access"}, config.Calls(part)...) {
			if callee != part && !strings.Contains(strings.Join(args, " "), "--"+callee+"=") {
				args = append(args, "--"+callee+"="+running[callee].GRPC)
			}
		}
		p := Serve(t, program, args...)
		running[part] = p
		s.AdminURLs = append(s.AdminURLs, p.AdminURL)
		s.URL = p.URL
	}
	db, err := run.OpenStore(t.Context(), config.Storage{Store: database}, "access", zap.NewNop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	operator, err := access.New(access.Config{DB: db})
	if err != nil {
		t.Fatal(err)
	}
	s.load(t, operator, t.TempDir(), time.Now)
	if err := operator.Close(); err != nil {
		t.Error(err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	return s
}
