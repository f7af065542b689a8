package link

import (
	"slices"
	"strconv"
)

// bauds are the rates that sketches and modules use, the likely first.
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
