//go:build darwin && !cgo

package link

import (
	"fmt"

	"go.bug.st/serial"
)

// listPorts returns names only: the detailed list needs cgo on macOS.
func listPorts() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list ports: %w", err)
	}
	out := make([]PortInfo, 0, len(names))
	for _, n := range names {
		out = append(out, PortInfo{Name: n})
	}
	return out, nil
}
