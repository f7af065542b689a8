package link

import "bytes"

// role is what a number in a line is.
type role uint8

const (
	roleNone role = iota // unknown or to be skipped
	roleX                // magnetic field
	roleY
	roleZ
	roleAX // acceleration
	roleAY
	roleAZ
	roleT
	roleCurrent
	roleOn
	roleID // number of the sensor
	roleGyro
	roleHeading
	roleMagnitude
	roleBareX // an axis whose quantity the label does not tell
	roleBareY
	roleBareZ
	roleList // a label of the field before a list of numbers: "mag: 1, 2, 3"
	nRoles
)

// group is the quantity that a word before some numbers names.
type group uint8

const (
	groupNone group = iota
	groupMag
	groupAcc
	groupOther
)

// parseGroup returns the quantity by the first letters of a word.
func parseGroup(word []byte) group {
	var buf [8]byte
	w := lower(buf[:0], word)
	switch {
	case hasAny(w, "mag", "compass"), string(w) == "m":
		return groupMag
	case hasAny(w, "acc"), string(w) == "a":
		return groupAcc
	case hasAny(w, "gyr", "rot", "angular", "linear", "grav", "euler", "quat", "orient"), string(w) == "q":
		return groupOther
	}
	return groupNone
}

func hasAny(w []byte, prefixes ...string) bool {
	for _, p := range prefixes {
		if len(w) >= len(p) && string(w[:len(p)]) == p {
			return true
		}
	}
	return false
}

// lower appends word in lower case to buf, up to its capacity.
func lower(buf, word []byte) []byte {
	for _, c := range word {
		if len(buf) == cap(buf) {
			break
		}
		if c >= 'A' && c <= 'Z' {
			c |= 0x20
		}
		buf = append(buf, c)
	}
	return buf
}

// parseLabel returns the role of a number by its label or the name of its column
// ("magX", "Mx", "bx_ut", "t_ms", "load_on"), and the unit if the name
// ends in one.
func parseLabel(label []byte) (role, unit) {
	u := unitNone
	if i := bytes.LastIndexByte(label, '_'); i > 0 {
		if v := parseUnit(label[i+1:]); v != unitNone {
			label, u = label[:i], v
		}
	}
	var buf [24]byte
	s := buf[:0]
	for _, c := range label {
		if c == '_' || c == '.' || c == '-' || c == '|' || len(s) == cap(s) {
			continue
		}
		if c >= 'A' && c <= 'Z' {
			c |= 0x20
		}
		s = append(s, c)
	}
	r, own := namedRole(s)
	if r == roleNone {
		r = axisRole(s)
	}
	if own != unitNone {
		u = own
	}
	return r, u
}

// namedRole returns the role of a name other than an axis.
func namedRole(s []byte) (role, unit) {
	switch string(s) {
	case "t", "time", "ts", "timestamp", "clock":
		return roleT, unitNone
	case "sec", "seconds", "secs":
		return roleT, unitS
	case "millis", "ms", "msec", "timems", "milliseconds", "timestampms":
		return roleT, unitMS
	case "micros", "us", "usec", "timeus", "microseconds", "timestampus":
		return roleT, unitUS
	case "current", "currenta", "amps", "amp", "amperes":
		return roleCurrent, unitA
	case "loadon", "on", "load":
		return roleOn, unitNone
	case "id", "sensor", "idx", "index", "channel", "sensorid":
		return roleID, unitNone
	case "heading", "hdg", "yaw", "azimuth", "bearing":
		return roleHeading, unitNone
	case "magnitude", "norm", "total", "abs", "bmag", "btotal":
		return roleMagnitude, unitNone
	case "mag", "magnetometer", "magnetic", "m", "compass", "magn", "b":
		return roleList, unitNone
	}
	return roleNone, unitNone
}

// axisRole splits "magx", "mx", "xmag" into quantity and axis.
func axisRole(s []byte) role {
	if len(s) == 0 {
		return roleNone
	}
	if r := axisOf(s[len(s)-1], s[:len(s)-1]); r != roleNone {
		return r
	}
	return axisOf(s[0], s[1:])
}

func axisOf(axis byte, quantity []byte) role {
	if axis < 'x' || axis > 'z' {
		return roleNone
	}
	i := role(axis - 'x')
	switch string(quantity) {
	case "", "raw", "r", "cal", "axis":
		return roleBareX + i
	case "m", "mag", "magn", "magnet", "magnetic", "magneto", "magnetometer", "magfield", "magraw", "rawmag", "magcal",
		"b", "h", "field", "compass", "bfield", "cmps":
		return roleX + i
	case "a", "acc", "accel", "acceleration", "accelerometer", "accl":
		return roleAX + i
	case "g", "gyr", "gyro", "gyroscope", "w":
		return roleGyro
	}
	return roleNone
}
