package link

// maxLine is the longest line kept, in bytes. Nine labelled numbers with
// units take about 200; a longer line is noise or not text.
const maxLine = 1024

// lineBuffer assembles lines from bytes in any chunking. It strips NUL, a
// byte order mark and ANSI escape sequences; carriage return, line feed and
// any mix of them end a line. Empty lines are not reported. A line longer
// than maxLine is discarded and counted.
type lineBuffer struct {
	buf     [maxLine]byte
	n       int
	drop    bool // up to the next line end: the line began before we listened, or is too long
	esc     escState
	tooLong int
}

type escState uint8

const (
	escNone escState = iota
	escSeen          // after ESC
	escCSI           // after ESC [
)

// add takes one byte and reports whether a line is complete; the line is then
// in line() until reset.
func (l *lineBuffer) add(c byte) bool {
	switch {
	case c == '\n' || c == '\r':
		l.esc = escNone
		if l.drop {
			l.drop, l.n = false, 0
			return false
		}
		return l.n > 0
	case l.drop || c == 0:
		return false
	case l.escape(c):
		return false
	case l.n == maxLine:
		l.tooLong++
		l.drop, l.n = true, 0
		return false
	}
	l.buf[l.n] = c
	l.n++
	if l.n == 3 && l.buf[0] == 0xEF && l.buf[1] == 0xBB && l.buf[2] == 0xBF {
		l.n = 0
	}
	return false
}

// escape follows ANSI escape sequences (ECMA-48: ESC [ parameters final
// byte) and reports whether c belongs to one.
func (l *lineBuffer) escape(c byte) bool {
	switch l.esc {
	case escSeen:
		l.esc = escNone
		if c == '[' {
			l.esc = escCSI
		}
		return true
	case escCSI:
		if c >= 0x40 && c <= 0x7E {
			l.esc = escNone
		}
		return true
	}
	if c == 0x1B {
		l.esc = escSeen
		return true
	}
	return false
}

func (l *lineBuffer) line() []byte { return l.buf[:l.n] }

func (l *lineBuffer) reset() { l.n = 0 }

// restart discards an unfinished line and, with drop, all bytes up to the next
// line end.
func (l *lineBuffer) restart(drop bool) { l.n, l.drop, l.esc = 0, drop, escNone }

// trim removes white space from both ends.
func trim(b []byte) []byte {
	for len(b) > 0 && isSpace(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && isSpace(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}

func isSpace(c byte) bool  { return c == ' ' || c == '\t' || c == '\v' || c == '\f' }
func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' || c == '_' || c >= 0x80 }

// printable reports whether c occurs in text lines. Bytes over 0x7F count as
// unprintable: the few of a micro or degree sign do not matter.
func printable(c byte) bool { return c >= 0x20 && c < 0x7F || c == '\t' || c == '\r' || c == '\n' }
