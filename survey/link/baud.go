package link

import (
	"strconv"
	"strings"
)

// bauds are the rates that sketches use, the likely first.
var bauds = [...]int{115200, 9600, 57600, 38400, 230400, 921600}

func baudList() string {
	s := make([]string, len(bauds))
	for i, b := range bauds {
		s[i] = strconv.Itoa(b)
	}
	return strings.Join(s, ", ")
}
