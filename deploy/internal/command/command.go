// Package command is the command line of the program: its grammar, and a Run for each command.
package command

import (
	"context"
	"fmt"
	"io"

	"github.com/alecthomas/kong"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/services/platform/build"
)

// Call is one call of the program.
type Call struct {
	// Args are the arguments without the program's name.
	Args []string
	// Environ is as os.Environ gives it.
	Environ []string
	// Stdout takes what the reader asked for, Stderr the log.
	Stdout, Stderr io.Writer
}

type grammar struct {
	Config string `help:"Settings file (YAML)." type:"existingfile" placeholder:"FILE"`

	Demo     demo    `cmd:"" help:"Run everything in this process with demo data, and print the address to open."`
	Serve    serve   `cmd:"" help:"Serve the services that are named, or everything."`
	Keys     keys    `cmd:"" help:"Companies, people, keys and sign-in links, for the operator at the access store."`
	Settings setting `cmd:"" name:"config" help:"Settings."`
	Version  version `cmd:"" help:"Print the version."`
}

// Run reads the command line and does what it says, until ctx ends.
func Run(ctx context.Context, call Call) error {
	leave := false
	parser, err := newParser(&grammar{}, call, kong.Exit(func(int) { leave = true }), kong.BindTo(ctx, (*context.Context)(nil)))
	if err != nil {
		return err
	}
	chosen, err := parser.Parse(call.Args)
	if leave { // help was asked for and given
		return nil
	}
	if err != nil {
		return err
	}
	return chosen.Run()
}

// newParser makes the parser of a command line, with the settings of environment and file.
func newParser(g *grammar, call Call, more ...kong.Option) (*kong.Kong, error) {
	source := config.NewSource(call.Environ)
	parser, err := kong.New(g, append([]kong.Option{
		kong.Name("pikepole"),
		kong.Description("Timber frames from the shop's drawing to the last peg."),
		kong.Writers(call.Stdout, call.Stderr),
		kong.Resolvers(source),
		kong.Bind(call, source),
	}, more...)...)
	if err != nil {
		return nil, err
	}
	for _, leaf := range parser.Model.Leaves(true) {
		for _, flag := range leaf.Flags {
			source.Know(flag.Name)
		}
	}
	return parser, nil
}

type version struct{}

// Run prints the version of the engine.
func (version) Run(call Call) error {
	_, err := fmt.Fprintln(call.Stdout, "pikepole engine", build.Version)
	return err
}

type setting struct {
	Print printer `cmd:"" help:"Show every setting of serve as it holds now and where it came from; secrets are masked."`
}

type printer struct{ config.Settings }

// Run prints the settings.
func (printer) Run(call Call, chosen *kong.Context, source *config.Source) error {
	return config.Print(call.Stdout, chosen.Selected().Flags, source)
}

// newLogger writes lines of JSON from the level on.
func newLogger(w io.Writer, level string) (*zap.Logger, error) {
	least, err := zapcore.ParseLevel(level)
	if err != nil {
		return nil, err
	}
	encoding := zap.NewProductionEncoderConfig()
	encoding.EncodeTime = zapcore.RFC3339NanoTimeEncoder
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(encoding), zapcore.Lock(zapcore.AddSync(w)), least)), nil
}
