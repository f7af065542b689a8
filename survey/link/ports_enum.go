//go:build !linux && (!darwin || cgo)

package link

import (
	"fmt"

	"go.bug.st/serial/enumerator"
)

func listPorts() ([]PortInfo, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list ports: %w", err)
	}
	out := make([]PortInfo, 0, len(details))
	for _, d := range details {
		out = append(out, PortInfo{d.Name, d.IsUSB, d.VID, d.PID, d.SerialNumber, d.Product, d.Manufacturer})
	}
	return out, nil
}
