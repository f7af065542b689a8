package link

import (
	"slices"
	"strconv"
	"strings"
)

// bauds are the rates that sketches and modules use, the likely first.
var bauds = [...]int{115200, 9600, 57600, 38400, 230400, 921600, 460800, 19200, 4800}

// Bauds are the usual baud rates, in rising order.
func Bauds() []int {
	all := bauds
	slices.Sort(all[:])
	return all[:]
}

func baudList() string {
	s := make([]string, len(bauds))
	for i, b := range bauds {
		s[i] = strconv.Itoa(b)
	}
	return strings.Join(s, ", ")
}
