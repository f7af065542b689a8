package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"quietmount/report/words"
	"quietmount/survey/link"
)

// shell is a command's access to the system: nothing below main reads the
// process's own streams, clock or environment.
type shell struct {
	In       io.Reader
	Out      io.Writer // answers
	Err      io.Writer // diagnostics and progress
	Now      func() time.Time
	Getenv   func(string) string
	Terminal terminals
	OpenPort link.Opener // nil: the serial ports of this machine
}

// terminals are the streams that are terminals.
type terminals struct{ In, Out, Err bool }

func isTerminal(f *os.File) bool { return term.IsTerminal(int(f.Fd())) }

// The exit statuses, as the manual lists them.
const (
	exitDone        = 0
	exitFailed      = 1
	exitWrongCall   = 2
	exitNo          = 3 // done, but the answer is no
	exitInterrupted = 130
)

// wrongCall is the error of an invalid call.
type wrongCall struct{ what, hint string }

func (e *wrongCall) Error() string { return e.what }

func wrong(hint, format string, args ...any) error {
	return &wrongCall{fmt.Sprintf(format, args...), hint}
}

// hinted is an error with a hint on what to try next.
type hinted struct {
	err  error
	hint string
}

func (e *hinted) Error() string { return e.err.Error() }
func (e *hinted) Unwrap() error { return e.err }

func withHint(err error, format string, args ...any) error {
	if err == nil {
		return nil
	}
	return &hinted{err, fmt.Sprintf(format, args...)}
}

// errNo reports that the command has printed its answer and that it is no.
var errNo = errors.New("the answer is no")

// status prints err and returns its exit status.
func status(ctx context.Context, err error, w io.Writer) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, errNo) {
		return exitNo
	}
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		fmt.Fprintln(w, "quietmount: interrupted; what was saved stays saved")
		return exitInterrupted
	}
	fmt.Fprintf(w, "quietmount: error: %v\n", err)
	if h, ok := errors.AsType[*hinted](err); ok && !strings.Contains(err.Error(), h.hint) {
		fmt.Fprintf(w, "quietmount: hint: %s\n", h.hint)
	}
	if hint := words.Hint(words.Terminal, err); hint != "" {
		fmt.Fprintf(w, "quietmount: hint: %s\n", hint)
	}
	if c, ok := errors.AsType[*wrongCall](err); ok {
		if c.hint != "" {
			fmt.Fprintf(w, "quietmount: hint: %s\n", c.hint)
		}
		return exitWrongCall
	}
	return exitFailed
}
