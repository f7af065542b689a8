//go:build !linux && !darwin

package sim

// ptyPort does not exist on this system.
type ptyPort struct{}

func openPTY() (*ptyPort, error) { return nil, ErrNoTerminal }

// Name is never called: there is no port.
func (*ptyPort) Name() string { return "" }

// Send is never called: there is no port.
func (*ptyPort) Send([]byte) error { return ErrNoTerminal }

// Close is never called: there is no port.
func (*ptyPort) Close() error { return nil }
