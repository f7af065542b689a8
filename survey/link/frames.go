package link

import "bytes"

// isNMEA reports whether line is a sentence of NMEA 0183: '$', two letters of the
// talker, three of the type, a comma. Proprietary sentences ('$P...') too.
func isNMEA(line []byte) bool {
	if len(line) < 7 || line[0] != '$' {
		return false
	}
	comma := bytes.IndexByte(line, ',')
	if comma < 4 || comma > 8 {
		return false
	}
	for _, c := range line[1:comma] {
		if (c < 'A' || c > 'Z') && !isDigit(c) {
			return false
		}
	}
	return true
}

// isFramed reports whether b holds a chain of at least three packets of the
// MAVLink framing, version 1 (0xFE, length, payload, 8 bytes in all besides)
// or 2 (0xFD, 12 bytes besides).
// Source: MAVLink developer guide, "Packet Serialization".
func isFramed(b []byte) bool {
	for at := range b {
		if chain(b[at:]) >= 3 {
			return true
		}
	}
	return false
}

func chain(b []byte) int {
	n := 0
	for len(b) >= 2 {
		size := int(b[1])
		switch b[0] {
		case 0xFE:
			size += 8
		case 0xFD:
			size += 12
			if len(b) > 2 && b[2]&1 != 0 {
				size += 13
			}
		default:
			return n
		}
		if size > len(b) {
			return n
		}
		n++
		b = b[size:]
	}
	return n
}
