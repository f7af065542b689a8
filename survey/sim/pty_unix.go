//go:build linux || darwin

package sim

import (
	"errors"
	"os"
	"syscall"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// ptyPort is the module's end of a pseudo-terminal. The other end is held
// open too, so that the terminal stays when a reader comes and goes.
type ptyPort struct {
	master, slave *os.File
}

func openPTY() (*ptyPort, error) {
	opened, slave, err := pty.Open()
	if err != nil {
		return nil, err
	}
	// Without raw mode the terminal would echo our own lines back and change
	// line ends until somebody opens it as a serial port.
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		return nil, errors.Join(err, opened.Close(), slave.Close())
	}
	master, err := unblocked(opened)
	if err != nil {
		return nil, errors.Join(err, opened.Close(), slave.Close())
	}
	return &ptyPort{master: master, slave: slave}, nil
}

// unblocked reopens the master so that write deadlines are honoured: the
// library leaves it in blocking mode.
func unblocked(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(err, syscall.Close(fd))
	}
	if err := f.Close(); err != nil {
		return nil, errors.Join(err, syscall.Close(fd))
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}

// Name returns the path to open as a serial port.
func (p *ptyPort) Name() string { return p.slave.Name() }

// sendFor is how long Send waits for a reader before it drops the rest.
const sendFor = 5 * time.Millisecond

// Send writes what the terminal takes and drops the rest.
func (p *ptyPort) Send(b []byte) error {
	if err := p.master.SetWriteDeadline(time.Now().Add(sendFor)); err != nil {
		return err
	}
	_, err := p.master.Write(b)
	if errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, syscall.EAGAIN) {
		return nil
	}
	return err
}

// Close pulls the plug.
func (p *ptyPort) Close() error { return errors.Join(p.slave.Close(), p.master.Close()) }
