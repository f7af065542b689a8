package link

import (
	"cmp"
	"errors"
	"path/filepath"
	"slices"
	"strings"
)

// PortInfo is a serial port. Unknown fields are empty.
type PortInfo struct {
	Name         string
	USB          bool
	VID, PID     string // four hexadecimal digits, upper case
	SerialNumber string
	Product      string
	Manufacturer string
}

// Ports lists the serial ports, USB first. Pseudo-terminals are not listed. On
// Linux it reads sysfs and opens no port, since opening would set an old UART
// that is in use to 9600 baud. On macOS it lists only the cu devices, since the
// tty ones wait for a carrier.
func Ports() ([]PortInfo, error) {
	ps, err := listPorts()
	if err != nil {
		return nil, err
	}
	return tidyPorts(ps), nil
}

// tidyPorts removes unusable ports and sorts the rest.
func tidyPorts(ps []PortInfo) []PortInfo {
	ps = slices.DeleteFunc(ps, func(p PortInfo) bool {
		return p.Name == "" || strings.HasPrefix(p.Name, "/dev/tty.")
	})
	slices.SortFunc(ps, func(a, b PortInfo) int {
		if a.USB != b.USB {
			if a.USB {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(len(a.Name), len(b.Name)), cmp.Compare(a.Name, b.Name))
	})
	return ps
}

// sameBoard compares USB identities.
func (p PortInfo) sameBoard(q PortInfo) bool {
	return p.USB && q.USB && p.VID == q.VID && p.PID == q.PID && p.SerialNumber == q.SerialNumber
}

// identify returns the USB identity of the port called name, nil if it has none.
func identify(list func() ([]PortInfo, error), name string) *PortInfo {
	ps, err := list()
	if err != nil {
		return nil
	}
	name = realName(name)
	for _, p := range ps {
		if p.USB && p.Name == name {
			return &p
		}
	}
	return nil
}

// find returns the present name of the board's port, empty if it is not plugged
// in.
func find(list func() ([]PortInfo, error), board PortInfo) string {
	ps, err := list()
	if err != nil {
		return ""
	}
	for _, p := range ps {
		if p.sameBoard(board) {
			return p.Name
		}
	}
	return ""
}

var errWaited = errors.New("waited long enough")

// realName follows links such as /dev/serial/by-id/...
func realName(name string) string {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		return real
	}
	return name
}
