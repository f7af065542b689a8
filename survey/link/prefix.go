package link

import "bytes"

// stripPrefix removes what programs put in front of a line: the clock of a
// terminal program ("12:31:24.615 -> "), a date and time, a log level in
// brackets ("[D][main:087]: ") or in the style "I (1234) name: ". It returns
// the rest and the clock as seconds of the day.
func stripPrefix(line []byte) (rest []byte, clock float64, hasClock bool) {
	line = trim(line)
	if n, s, ok := clockPrefix(line); ok {
		line, clock, hasClock = line[n:], s, true
	}
	line = stripBrackets(line)
	return trim(stripLevel(line)), clock, hasClock
}

// clockPrefix reads "[date ]hh:mm:ss[.fff]" followed by " -> ", a zone or a
// separator. n is the length with all that.
func clockPrefix(b []byte) (n int, seconds float64, ok bool) {
	i := 0
	bracket := len(b) > 0 && b[0] == '['
	if bracket {
		i++
	}
	if len(b) > i+11 && b[i+4] == '-' && b[i+7] == '-' && (b[i+10] == 'T' || b[i+10] == ' ') && digitsAt(b, i, 4) {
		i += 11
	}
	if len(b) < i+8 || b[i+2] != ':' || b[i+5] != ':' || !digitsAt(b, i, 2) || !digitsAt(b, i+3, 2) || !digitsAt(b, i+6, 2) {
		return 0, 0, false
	}
	seconds = float64(two(b, i))*3600 + float64(two(b, i+3))*60 + float64(two(b, i+6))
	i += 8
	if i < len(b) && (b[i] == '.' || b[i] == ',') && i+1 < len(b) && isDigit(b[i+1]) {
		i++
		for unit := 0.1; i < len(b) && isDigit(b[i]); i, unit = i+1, unit/10 {
			seconds += unit * float64(b[i]-'0')
		}
	}
	if i < len(b) && b[i] == 'Z' {
		i++
	}
	if i < len(b) && bracket && b[i] == ']' {
		i++
	}
	if i < len(b) && !isSpace(b[i]) && b[i] != ',' && b[i] != ';' {
		return 0, 0, false
	}
	for i < len(b) && (isSpace(b[i]) || b[i] == ',' || b[i] == ';') {
		i++
	}
	if bytes.HasPrefix(b[i:], []byte("->")) {
		i += 2
	}
	return i, seconds, true
}

func digitsAt(b []byte, at, n int) bool {
	for _, c := range b[at : at+n] {
		if !isDigit(c) {
			return false
		}
	}
	return true
}

func two(b []byte, at int) int { return int(b[at]-'0')*10 + int(b[at+1]-'0') }

// stripBrackets removes "[..][..]: " at the start; "[1, 2, 3]" is data and
// stays, since nothing follows it.
func stripBrackets(b []byte) []byte {
	for len(b) > 0 && b[0] == '[' {
		end := bytes.IndexByte(b, ']')
		if end < 0 || end > 40 || len(trim(b[end+1:])) == 0 {
			return b
		}
		b = trim(b[end+1:])
		if len(b) > 0 && b[0] == ':' {
			b = trim(b[1:])
		}
	}
	return b
}

// stripLevel removes "I (1234) name: ".
func stripLevel(b []byte) []byte {
	if len(b) < 6 || b[1] != ' ' || b[2] != '(' || !bytes.ContainsRune([]byte("EWIDV"), rune(b[0])) {
		return b
	}
	end := bytes.IndexByte(b, ')')
	if end < 4 || !digitsAt(b, 3, end-3) {
		return b
	}
	colon := bytes.Index(b[end:], []byte(": "))
	if colon < 0 {
		return b
	}
	return b[end+colon+2:]
}
