package link

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"syscall"

	"go.bug.st/serial"
)

// openSerial opens a port with 8 data bits, no parity, one stop bit, and discards
// the system's buffered input. Measured with v1.8.0 of the
// library on Linux: a read that times out returns 0, nil; an unplugged device
// and our own Close give the same error.
func openSerial(name string, baud int) (rawPort, error) {
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud})
	if err != nil {
		return nil, err
	}
	if err := p.SetReadTimeout(readWait); err != nil {
		p.Close()
		return nil, err
	}
	if err := p.ResetInputBuffer(); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

// Reason is the reason why a port did not open.
type Reason string

// The reasons.
const (
	NotFound  Reason = "not found"
	Busy      Reason = "busy"
	Denied    Reason = "no permission"
	NotSerial Reason = "not a serial port"
	BadBaud   Reason = "baud rate not possible"
	Failed    Reason = "failed"
)

// OpenError is the error of a port that did not open.
type OpenError struct {
	Name   string
	Reason Reason
	Group  string // Denied: the group that may use the port, where the system has one
	Err    error
}

func (e *OpenError) Error() string {
	s := fmt.Sprintf("open %s: %s", e.Name, e.Reason)
	if e.Reason == Failed {
		s += fmt.Sprintf(" (%v)", e.Err)
	}
	return s
}

func (e *OpenError) Unwrap() error { return e.Err }

// openError returns the OpenError for an error of the library. A missing port is
// ENOENT on Unix and a code of the library's on Windows.
func openError(name string, err error) *OpenError {
	e := &OpenError{Name: name, Reason: Failed, Err: err}
	var pe *serial.PortError
	switch {
	case errors.Is(err, os.ErrNotExist):
		e.Reason = NotFound
	case errors.Is(err, os.ErrPermission):
		e.Reason = Denied
	case errors.Is(err, syscall.EISDIR), errors.Is(err, syscall.ENOTDIR):
		e.Reason = NotSerial
	case errors.As(err, &pe):
		e.Reason = reasonOf(pe.Code())
	}
	if e.Reason == Denied {
		e.Group = permittedGroup(name)
	}
	return e
}

func reasonOf(code serial.PortErrorCode) Reason {
	switch code {
	case serial.PortBusy:
		return Busy
	case serial.PortNotFound:
		return NotFound
	case serial.PermissionDenied:
		return Denied
	case serial.InvalidSerialPort:
		return NotSerial
	case serial.InvalidSpeed:
		return BadBaud
	}
	return Failed
}

// bauds are the rates that sketches and modules use, the likeliest first.
var bauds = [...]int{115200, 9600, 57600, 38400, 230400, 921600, 460800, 19200, 4800}

// Bauds returns the usual baud rates, bits a second, in rising order; the slice is
// the caller's.
func Bauds() []int {
	all := bauds
	slices.Sort(all[:])
	return all[:]
}

// BaudNames returns the usual baud rates as text, in rising order.
func BaudNames() []string {
	var s []string
	for _, b := range Bauds() {
		s = append(s, strconv.Itoa(b))
	}
	return s
}
