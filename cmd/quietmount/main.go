// Command quietmount helps the builder of a small radio-controlled or
// uncrewed craft choose where to mount a combined GPS/compass, and keeps the
// evidence.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() { os.Exit(realMain()) }

func realMain() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// After the first interrupt a second one ends the program at once.
	context.AfterFunc(ctx, stop)
	return run(ctx, os.Args[1:], shell{
		In:     os.Stdin,
		Out:    os.Stdout,
		Err:    os.Stderr,
		Now:    time.Now,
		Getenv: os.Getenv,
		Terminal: terminals{
			In:  isTerminal(os.Stdin),
			Out: isTerminal(os.Stdout),
			Err: isTerminal(os.Stderr),
		},
	})
}
