package answer

import (
	"io"
	"strings"

	"quietmount/report/text"
	"quietmount/survey/link"
)

// Ports is the answer of `ports`.
type Ports struct {
	Ports []port `json:"ports"`
}

type port struct {
	Name         string `json:"name"`
	USB          bool   `json:"usb"`
	VID          string `json:"vid,omitempty"`
	PID          string `json:"pid,omitempty"`
	SerialNumber string `json:"serial_number,omitempty"`
	Product      string `json:"product,omitempty"`
	Manufacturer string `json:"manufacturer,omitempty"`
}

// NewPorts lists ports.
func NewPorts(ports []link.PortInfo) Ports {
	a := Ports{Ports: []port{}}
	for _, p := range ports {
		a.Ports = append(a.Ports, port{p.Name, p.USB, p.VID, p.PID, p.SerialNumber, p.Product, p.Manufacturer})
	}
	return a
}

// Text prints a line a port.
func (a Ports) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	if len(a.Ports) == 0 {
		p.Line("No serial port was found. Plug the board in with a cable that carries data, then look again.")
		p.Line("A pseudo-terminal is never listed: name it with --port.")
	}
	for _, port := range a.Ports {
		what := strings.TrimSpace(port.Manufacturer + " " + port.Product)
		if port.USB {
			what += " (USB " + port.VID + ":" + port.PID + ")"
		}
		p.Line("%-24s %s", port.Name, strings.TrimSpace(what))
	}
	return p.Err()
}
