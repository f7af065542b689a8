package main

import (
	"strings"

	"rsc.io/qr"
)

// sayLAN shows the address for a second screen, on a terminal also as a QR code,
// and says what it means to use it.
func sayLAN(sh shell, address string) {
	say(sh.Out, "For a second screen, within %.0f minutes: %s", lanValid.Minutes(), address)
	if code, err := qr.Encode(address, qr.L); err == nil && sh.Terminal.Out {
		say(sh.Out, "%s", qrText(code))
	}
	say(sh.Err, "quietmount: warning: the link to a second screen is plain HTTP: everybody on that network can read it, and who\n"+
		"quietmount: warning: listens in can send commands too; use it on a network that you trust")
}

// quietZone is the light margin that a QR code needs, in modules (ISO/IEC
// 18004; from memory).
const quietZone = 4

// qrText draws a QR code with half blocks, two rows a line. Dark on light is set
// whatever the terminal's colours are, also where colour is unwanted: the code
// cannot be read otherwise.
func qrText(code *qr.Code) string {
	const dark, plain = "\x1b[30;107m", "\x1b[0m"
	var b strings.Builder
	for y := -quietZone; y < code.Size+quietZone; y += 2 {
		b.WriteString(dark)
		for x := -quietZone; x < code.Size+quietZone; x++ {
			b.WriteString(halves(code.Black(x, y), code.Black(x, y+1)))
		}
		b.WriteString(plain + "\n")
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
