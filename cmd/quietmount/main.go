// Command quietmount helps the builder of a small radio-controlled or
// uncrewed craft choose where to mount a combined GPS/compass, and keeps the
// evidence.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"
	"time"
)

// gcPercent is the heap growth that starts a garbage collection, in per cent of
// the heap in use. The default of 100 gives a survey of hundreds of stations,
// whose matrices are few and large, a third more memory; here no difference in
// time could be measured.
const gcPercent = 40

// unused counts as memory in use but is never touched, so that it occupies none. With
// it some 26 MB are allocated before the memory is cleared: a command that uses 4 MB
// would otherwise clear it hundreds of times, a fifth of its processor time.
var unused = make([]byte, 64<<20)

func main() { os.Exit(realMain()) }

func realMain() int {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	defer runtime.KeepAlive(unused)
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
