//go:build linux || darwin

package link

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
)

// board is the far end of a pseudo-terminal.
type board struct {
	master, slave *os.File
}

func newBoard(t *testing.T) *board {
	t.Helper()
	m, s, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	b := &board{m, s}
	t.Cleanup(b.unplug)
	return b
}

func (b *board) print(t *testing.T, text string) {
	t.Helper()
	if _, err := b.master.WriteString(text); err != nil {
		t.Errorf("board prints: %v", err)
	}
}

func (b *board) unplug() {
	b.master.Close()
	b.slave.Close()
}

func TestPortBurstsAndSingleBytes(t *testing.T) {
	b := newBoard(t)
	src := open(t, PortOptions{Name: b.slave.Name()})
	vs := vectors(300)
	until(t, src, isRemark("link.opened"))
	go func() {
		b.print(t, "5,3\r\nBoard ready, firmware 3\r\n")
		b.print(t, lines(vs[:200], "\r\n"))
		for _, c := range lines(vs[200:], "\n\r") {
			b.print(t, string(c))
		}
	}()
	near(t, samplesOf(until(t, src, readings(300))), vs, 0.002)
	m := src.(Monitor)
	if g, ok := m.Guess(); !ok || g.Columns != "x,y,z" || g.Unit != "uT" {
		t.Errorf("guess %+v", g)
	}
	if c := m.Counters(); c.Bad != 0 || c.Samples != 300 {
		t.Errorf("counters %+v", c)
	}
}

// A named link that is pointed to another terminal plays a board that is
// pulled and plugged in again.
func TestUnplugAndReplug(t *testing.T) {
	first := newBoard(t)
	name := filepath.Join(t.TempDir(), "port")
	if err := os.Symlink(first.slave.Name(), name); err != nil {
		t.Fatal(err)
	}
	src := open(t, PortOptions{Name: name, PollBack: 20 * time.Millisecond})
	vs := vectors(200)
	first.print(t, "1,2\n"+lines(vs[:100], "\n"))
	before := until(t, src, readings(100))
	first.print(t, "12.5,-3.")
	first.unplug()
	until(t, src, isKind(Lost))

	second := newBoard(t)
	if err := os.Remove(name); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(second.slave.Name(), name); err != nil {
		t.Fatal(err)
	}
	until(t, src, isKind(Back))
	second.print(t, "3.25,40.1,7\n"+ // the rest of a longer line
		lines(vs[100:], "\n"))
	after := until(t, src, readings(100))
	near(t, samplesOf(after), vs[100:], 0.002)
	if last := before[len(before)-1]; samplesOf(after)[0].TS < last.TS {
		t.Error("time ran backwards over the gap")
	}
}

func TestOpenErrors(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		reason Reason
	}{{filepath.Join(t.TempDir(), "ttyNONE"), NotFound}, {"/dev/null", NotSerial}, {file, NotSerial}, {t.TempDir(), NotSerial}} {
		_, err := Open(t.Context(), PortOptions{Name: c.name, Now: time.Now})
		e, ok := errors.AsType[*OpenError](err)
		if !ok || e.Reason != c.reason {
			t.Errorf("%s: %v, want %s", c.name, err, c.reason)
		}
	}
}
