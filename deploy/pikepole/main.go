// Command pikepole runs the services, the gateway, or both, and the commands around them.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // sites have time zones, and the image has no zone files

	"github.com/pikepole/pikepole/deploy/internal/command"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := command.Run(ctx, command.Call{
		Args: os.Args[1:], Environ: os.Environ(), Stdout: os.Stdout, Stderr: os.Stderr,
	})
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "pikepole:", err)
		os.Exit(1)
	}
}
