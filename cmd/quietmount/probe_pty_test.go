//go:build linux || darwin

package main

import (
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// newTerminalProbe is a probe at a pseudo-terminal.
func newTerminalProbe(t *testing.T, o probeOptions) *probe {
	t.Helper()
	p := o.probe()
	p.plug(t)
	p.begin(t)
	return p
}

// plug makes a pseudo-terminal in raw mode. A full buffer loses lines, as a
// board's does.
func (p *probe) plug(t *testing.T) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		t.Fatal(err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.path = slave.Name()
	p.out = func(line string) {
		_ = master.SetWriteDeadline(time.Now().Add(20 * time.Millisecond))
		_, _ = master.WriteString(line)
	}
	p.shut = func() { slave.Close(); master.Close() }
}
