package link

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

func listPorts() ([]PortInfo, error) { return sysfsPorts("/sys/class/tty") }

// sysfsPorts lists the terminals under root that have a device behind them,
// without those old UARTs that the kernel reserves but has not found.
func sysfsPorts(root string) ([]PortInfo, error) {
	entries, err := os.ReadDir(root)
	if err != nil {
		return nil, fmt.Errorf("list ports: %w", err)
	}
	var out []PortInfo
	for _, e := range entries {
		dir := filepath.Join(root, e.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(dir, "device"))
		if err != nil || attribute(dir, "type") == "0" {
			continue
		}
		p := PortInfo{Name: "/dev/" + e.Name()}
		p.readUSB(device)
		out = append(out, p)
	}
	return out, nil
}

// readUSB looks for the USB device a few levels up: the interface, the port
// of a converter, and the device itself.
func (p *PortInfo) readUSB(device string) {
	for range 4 {
		if vid := attribute(device, "idVendor"); vid != "" {
			p.USB = true
			p.VID, p.PID = strings.ToUpper(vid), strings.ToUpper(attribute(device, "idProduct"))
			p.SerialNumber = attribute(device, "serial")
			p.Product, p.Manufacturer = attribute(device, "product"), attribute(device, "manufacturer")
			return
		}
		device = filepath.Dir(device)
	}
}

func attribute(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}
