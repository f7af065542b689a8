package link

import (
	"math"
	"strconv"
)

// maxFields is the largest number of numbers read in one line.
const maxFields = 32

// maxNumber bounds a number's length and size: a larger one is noise, and squares
// stay finite.
const (
	maxNumberBytes = 32
	maxNumber      = 1e12
)

// field is one number of a line with its label and unit.
type field struct {
	value float64
	role  role
	unit  unit
	group group
	label bool // a label stands before it, known or not
	list  int8 // position after the last label, 0 at the label itself
	bad   bool // not a number: nan, inf, ovf, 0x1f, 1.2.3, 1_000
	glued bool // letters that are no unit are stuck to it: "2Hello"
	frac  bool // written with a point or an exponent
}

// scanned is a scanned line.
type scanned struct {
	fields [maxFields]field
	n      int
	words  int  // words that are neither labels nor units
	more   bool // there were more numbers than fit
	labels int  // fields with a label
}

// scanner scans one line. It allocates nothing.
type scanner struct {
	b     []byte
	i     int
	out   *scanned
	group group

	// the gap since the last number
	word       []byte // its last word
	gapWords   int
	unitAhead  unit // a unit in brackets before the number
	names      [8][]byte
	nNames     int
	nextName   int
	inParen    bool
	parenWords int
	list       int8
}

// scan scans a line. Numbers are decimal: digits with at most one point
// and an exponent. before is the quantity named by an earlier line.
func scan(line []byte, before group, out *scanned) {
	out.n, out.words, out.more, out.labels = 0, 0, false, 0
	s := scanner{b: line, out: out, group: before, list: -1}
	for s.i < len(s.b) {
		switch c := s.b[s.i]; {
		case s.atNumber():
			s.number()
		case isLetter(c):
			s.takeWord()
		default:
			s.punctuation(c)
			s.i++
		}
	}
	out.words += s.gapWords
}

// atNumber reports whether a number begins here. A sign directly after a digit
// ("2026-01") does not begin one.
func (s *scanner) atNumber() bool {
	rest := s.b[s.i:]
	c := rest[0]
	if isDigit(c) {
		return true
	}
	if c == '-' || c == '+' {
		rest = rest[1:]
		if len(rest) == 0 {
			return false
		}
		c = rest[0]
	}
	return isDigit(c) || c == '.' && len(rest) > 1 && isDigit(rest[1])
}

func (s *scanner) punctuation(c byte) {
	switch c {
	case '(', '[':
		s.inParen, s.parenWords = true, 0
	case ')', ']':
		if s.inParen && s.parenWords < 3 {
			s.nNames = 0
		}
		if s.inParen && s.parenWords == 1 && s.unitAhead == unitNone {
			s.unitAhead = parseUnit(s.word)
		}
		s.inParen = false
	}
}

// takeWord consumes a word between numbers: a label, a unit, a quantity, or "nan".
func (s *scanner) takeWord() {
	start := s.i
	for s.i < len(s.b) && isWordByte(s.b[s.i]) {
		s.i++
	}
	w := s.b[start:s.i]
	for len(w) > 1 && w[len(w)-1] == '.' {
		w = w[:len(w)-1]
	}
	if isNotANumber(w) {
		s.push(field{bad: true})
		return
	}
	if v, ok := truth(w); ok && start > 0 && s.assigned(start) {
		s.push(field{value: v})
		return
	}
	if s.inParen {
		s.parenWord(w)
		return
	}
	if s.gapWords == 0 && !s.labelFollows() && s.unitBehind(w) {
		return
	}
	s.word = w
	s.gapWords++
	s.setGroup(w)
}

func (s *scanner) setGroup(w []byte) {
	g := parseGroup(w)
	if len(w) == 1 && !s.labelFollows() {
		g = groupNone
	}
	if g == groupNone || g == groupOther && s.group == groupMag && s.gapWords > 1 {
		return // "Magnetic Orientation:" is still magnetic
	}
	s.group = g
}

// parenWord takes a word inside brackets: a unit ("X (uT):") or one of the
// names of the numbers to come ("Mag (x, y, z):").
func (s *scanner) parenWord(w []byte) {
	s.parenWords++
	if s.parenWords == 1 {
		if u := parseUnit(w); u != unitNone {
			s.unitAhead = u
			return
		}
		s.nNames, s.nextName = 0, 0
	}
	if s.nNames < len(s.names) {
		s.names[s.nNames] = w
		s.nNames++
	}
	if s.word == nil {
		s.word = w
	}
}

// labelFollows reports whether ':' or '=' comes next, so that the word before is
// a label.
func (s *scanner) labelFollows() bool {
	for _, c := range s.b[s.i:] {
		if c == ':' || c == '=' {
			return true
		}
		if !isSpace(c) && c != '"' {
			return false
		}
	}
	return false
}

// assigned reports whether ':' or '=' stands before at.
func (s *scanner) assigned(at int) bool {
	for i := at - 1; i >= 0; i-- {
		if c := s.b[i]; !isSpace(c) {
			return c == ':' || c == '='
		}
	}
	return false
}

// unitBehind sets the unit w of the number before it.
func (s *scanner) unitBehind(w []byte) bool {
	u := parseUnit(w)
	if u == unitNone || s.out.n == 0 {
		return false
	}
	if f := &s.out.fields[s.out.n-1]; f.unit == unitNone {
		f.unit = u
	}
	return true
}

// number consumes a number and the characters attached to it.
func (s *scanner) number() {
	start := s.i
	joined := start > 0 && (isDigit(s.b[start-1]) || s.b[start-1] == '.')
	end, frac, whole := decimal(s.b[start:])
	s.i = start + end
	f := field{frac: frac, bad: joined || !whole || end > maxNumberBytes}
	if !f.bad {
		v, err := strconv.ParseFloat(string(s.b[start:s.i]), 64)
		f.value = v
		f.bad = err != nil || math.Abs(v) > maxNumber
	}
	suffix := s.i
	for s.i < len(s.b) && isWordByte(s.b[s.i]) {
		s.i++
	}
	if s.i > suffix {
		f.unit = parseUnit(s.b[suffix:s.i])
		f.glued = f.unit == unitNone
		f.bad = f.bad || f.glued && !lettersOnly(s.b[suffix:s.i])
	}
	if s.i+1 < len(s.b) && (s.b[s.i] == ':' || s.b[s.i] == '-') && isDigit(s.b[s.i+1]) {
		f.bad = true
	}
	s.push(f)
}

// push adds a number with the label that the gap before it holds.
func (s *scanner) push(f field) {
	s.label(&f)
	if s.out.n == maxFields {
		s.out.more = true
	} else {
		s.out.fields[s.out.n] = f
		s.out.n++
	}
	s.word, s.gapWords, s.unitAhead = nil, 0, unitNone
}

func (s *scanner) label(f *field) {
	name := s.word
	if s.nextName < s.nNames {
		name = s.names[s.nextName]
		s.nextName++
	}
	if name == nil {
		if s.list >= 0 && s.list < 100 {
			s.list++
		}
		f.list, f.group = s.list, s.group
		return
	}
	s.list = 0
	s.out.labels++
	s.out.words += max(0, s.gapWords-1)
	r, u := parseLabel(name)
	f.label, f.list, f.group, f.role = true, 0, s.group, inGroup(r, s.group)
	switch {
	case f.unit != unitNone:
	case s.unitAhead != unitNone:
		f.unit = s.unitAhead
	default:
		f.unit = u
	}
}

// inGroup turns an axis without a quantity into one of the group's.
func inGroup(r role, g group) role {
	if r < roleBareX || r > roleBareZ {
		return r
	}
	switch g {
	case groupMag:
		return roleX + r - roleBareX
	case groupAcc:
		return roleAX + r - roleBareX
	case groupOther:
		return roleGyro
	}
	return r
}

// decimal measures the number at the start of b. whole is false where a
// second point follows.
func decimal(b []byte) (n int, frac, whole bool) {
	if b[0] == '-' || b[0] == '+' {
		n++
	}
	for n < len(b) && isDigit(b[n]) {
		n++
	}
	if n < len(b) && b[n] == '.' {
		frac = true
		for n++; n < len(b) && isDigit(b[n]); n++ {
		}
	}
	if e := exponent(b[n:]); e > 0 {
		n, frac = n+e, true
	}
	return n, frac, n >= len(b) || b[n] != '.'
}

// exponent measures "e-07" at the start of b, 0 if there is none.
func exponent(b []byte) int {
	if len(b) < 2 || b[0]|0x20 != 'e' {
		return 0
	}
	i := 1
	if b[i] == '-' || b[i] == '+' {
		i++
	}
	start := i
	for i < len(b) && isDigit(b[i]) {
		i++
	}
	if i == start {
		return 0
	}
	return i
}

func isWordByte(c byte) bool {
	return isLetter(c) || isDigit(c) || c == '.' || c == '/' || c == '^' || c == '%'
}

func lettersOnly(b []byte) bool {
	for _, c := range b {
		if c == '_' || !isLetter(c) {
			return false
		}
	}
	return true
}

// isNotANumber reports whether w is what the printf of C libraries and of small
// boards prints instead of a number.
func isNotANumber(w []byte) bool {
	var buf [9]byte
	switch string(lower(buf[:0], w)) {
	case "nan", "inf", "ovf", "infinity":
		return true
	}
	return false
}

func truth(w []byte) (float64, bool) {
	switch string(w) {
	case "true":
		return 1, true
	case "false":
		return 0, true
	}
	return 0, false
}
