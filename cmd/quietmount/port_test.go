package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// inventedPort is a serial port in memory, for tests inside a bubble: what the
// board prints waits until it is read, and lines are lost once too many wait.
type inventedPort struct {
	name  string
	lines chan string
	gone  chan struct{}
	rest  string
}

var (
	inventedPorts sync.Map // by name
	inventedNames atomic.Int64
)

func newInventedPort() *inventedPort {
	p := &inventedPort{
		name: fmt.Sprintf("/dev/invented%d", inventedNames.Add(1)), lines: make(chan string, 200), gone: make(chan struct{}),
	}
	inventedPorts.Store(p.name, p)
	return p
}

// openInvented opens such a port and throws away what it holds from before, as
// the link does with a real one.
func openInvented(name string, _ int) (io.ReadCloser, error) {
	v, ok := inventedPorts.Load(name)
	if !ok {
		return nil, os.ErrNotExist
	}
	p := v.(*inventedPort)
	p.rest = ""
	for {
		select {
		case <-p.lines:
		default:
			return p, nil
		}
	}
}

func (p *inventedPort) print(line string) {
	select {
	case p.lines <- line:
	default:
	}
}

func (p *inventedPort) shut() {
	inventedPorts.Delete(p.name)
	close(p.gone)
}

func (p *inventedPort) Read(b []byte) (int, error) {
	if p.rest == "" {
		wait := time.NewTimer(100 * time.Millisecond)
		defer wait.Stop()
		select {
		case p.rest = <-p.lines:
		case <-p.gone:
			return 0, errors.New("unplugged")
		case <-wait.C:
			return 0, nil
		}
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// Close leaves the board printing: the next program may open the port again.
func (p *inventedPort) Close() error { return nil }
