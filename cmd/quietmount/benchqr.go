package main

import (
	"strings"

	"rsc.io/qr"
)

// sayLAN shows the address for a second screen, also as a QR code, and what it
// means to use it.
func sayLAN(sh shell, address string) {
	say(sh.Out, "For a second screen, within %.0f minutes: %s", lanValid.Minutes(), address)
	if code, err := qr.Encode(address, qr.L); err == nil {
		say(sh.Out, "%s", qrText(code))
	}
	say(sh.Err, "quietmount: warning: the link to a second screen is plain HTTP: everybody on that network can read it and,\n"+
		"quietmount: warning: who listens in can send commands too. Use it on a network that you trust.")
}

// quietZone is the light margin that a QR code needs, in modules (ISO/IEC 18004).
const quietZone = 4

// qrText draws a QR code with half blocks, two rows a line, dark on light
// whatever the terminal's colours are.
func qrText(code *qr.Code) string {
	const light = "\x1b[30;107m"
	var b strings.Builder
	for y := -quietZone; y < code.Size+quietZone; y += 2 {
		b.WriteString(light)
		for x := -quietZone; x < code.Size+quietZone; x++ {
			b.WriteString(halves(code.Black(x, y), code.Black(x, y+1)))
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String()
}

func halves(upper, lower bool) string {
	switch {
	case upper && lower:
		return "█"
	case upper:
		return "▀"
	case lower:
		return "▄"
	}
	return " "
}
