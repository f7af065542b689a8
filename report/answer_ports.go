package report

import (
	"io"
	"strings"

	"quietmount/survey/link"
)

// PortsAnswer is the answer of `ports`.
type PortsAnswer struct {
	Ports []portAnswer `json:"ports"`
}

type portAnswer struct {
	Name         string `json:"name"`
	USB          bool   `json:"usb"`
	VID          string `json:"vid,omitempty"`
	PID          string `json:"pid,omitempty"`
	SerialNumber string `json:"serial_number,omitempty"`
	Product      string `json:"product,omitempty"`
	Manufacturer string `json:"manufacturer,omitempty"`
}

// NewPortsAnswer lists ports.
func NewPortsAnswer(ports []link.PortInfo) PortsAnswer {
	a := PortsAnswer{Ports: []portAnswer{}}
	for _, p := range ports {
		a.Ports = append(a.Ports, portAnswer{p.Name, p.USB, p.VID, p.PID, p.SerialNumber, p.Product, p.Manufacturer})
	}
	return a
}

// Text prints a line a port.
func (a PortsAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	if len(a.Ports) == 0 {
		p.line("No serial port was found. Plug the board in with a cable that carries data, then look again.")
		p.line("A pseudo-terminal is never listed: name it with --port.")
	}
	for _, port := range a.Ports {
		what := strings.TrimSpace(port.Manufacturer + " " + port.Product)
		if port.USB {
			what += " (USB " + port.VID + ":" + port.PID + ")"
		}
		p.line("%-24s %s", port.Name, strings.TrimSpace(what))
	}
	return p.failed()
}
