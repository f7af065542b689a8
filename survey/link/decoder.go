package link

import (
	"bytes"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// Decoder turns text lines into samples. It keeps the first lines until it
// knows their format and then delivers them too. Later lines that do not fit are
// counted and skipped. Once it has decided it allocates nothing per line. It is
// not safe for concurrent use.
type Decoder struct {
	opts DecodeOptions
	text lineBuffer
	sc   scanned
	asm  assembler
	clk  clock
	n    Counters

	group    group // named by a line of its own, for the lines after it
	decided  bool
	guess    Guess
	held     []heldLine
	lastText string // the last line without numbers since the last attempt to decide
	textTS   float64
	err      error

	raw      []byte // the first bytes, to recognise framing
	partial  bool   // the next line may have begun before we listened
	window   struct{ bytes, odd int }
	said     map[string]string // by code
	lastB    r3.Vec
	misfits  int // lines with numbers in a row that did not fit
	misfitTS float64
	sensor   float64
	hasID    bool
}

// heldLine is a line kept until the decision.
type heldLine struct {
	text []byte
	ts   float64
}

// When to decide: at maxHeld lines, or after detectS seconds with enough
// lines, or after patientS with a few.
const (
	maxHeld     = 64
	detectS     = 2.0
	enoughLines = 12
	patientS    = 5.0
	fewLines    = 3
)

// NewDecoder returns a decoder. It ignores options that Validate refuses.
func NewDecoder(o DecodeOptions) *Decoder {
	if o.Validate() != nil {
		o = DecodeOptions{KeepFirst: o.KeepFirst}
	}
	d := &Decoder{opts: o, said: map[string]string{}}
	d.clk.rateHz = o.RateHz
	d.partial = !o.KeepFirst
	return d
}

// Feed decodes bytes, in chunks of any size, that arrived at ts (seconds on the
// clock of the link, finite, never decreasing) and appends their items to dst.
// Without bytes it only advances the time. The first, mostly partial, line is
// dropped unless KeepFirst is set or it names the columns.
func (d *Decoder) Feed(dst []Item, p []byte, ts float64) []Item {
	d.n.Bytes += len(p)
	for _, c := range p {
		d.look(c)
		if d.text.add(c) {
			if !d.partial || parseHeader(d.text.line()) != nil {
				d.n.Lines++
				dst = d.line(dst, d.text.line(), ts)
			}
			d.text.reset()
		}
		d.partial = d.partial && c != '\n' && c != '\r'
	}
	d.n.TooLong = d.text.tooLong
	dst = d.judgeBytes(dst, ts)
	if !d.decided && (d.ripe(ts) || len(d.held) == 0 && d.lastText != "" && ts-d.textTS >= patientS) {
		dst = d.decide(dst, ts)
	}
	return dst
}

// Flush ends the stream: it reads a last line without a line end and decides from
// the lines so far.
func (d *Decoder) Flush(dst []Item, ts float64) []Item {
	dst = d.Feed(dst, []byte{'\n'}, ts)
	d.n.Bytes--
	if !d.decided && (len(d.held) > 0 || d.lastText != "") {
		dst = d.decide(dst, ts)
	}
	return dst
}

// Broken tells the decoder that bytes were lost or that the port was reopened:
// the decoder drops an unfinished line with its rest. Its decision on the
// format stays.
func (d *Decoder) Broken() {
	d.text.restart(false)
	d.partial = true
	d.asm.clear()
	d.window.bytes, d.window.odd, d.raw = 0, 0, d.raw[:0]
	delete(d.said, "link.baud")
}

// Guess returns what was decided; false before the decision.
func (d *Decoder) Guess() (Guess, bool) { return d.guess, d.decided }

// Counters returns the counts so far.
func (d *Decoder) Counters() Counters { return d.n }

// Err returns an *UndecidedError while the last attempt to decide failed, else nil.
func (d *Decoder) Err() error { return d.err }

// remark appends a remark, unless the last one of its code is equal.
func (d *Decoder) remark(dst []Item, ts float64, r remark.Remark) []Item {
	return d.remarkOnce(dst, ts, fmt.Sprint(r), r)
}

// remarkOnce is remark for changing values: it compares key instead.
func (d *Decoder) remarkOnce(dst []Item, ts float64, key string, r remark.Remark) []Item {
	if d.said[r.Code] == key {
		return dst
	}
	d.said[r.Code] = key
	return append(dst, Item{Kind: Remark, TS: max(ts, d.clk.last), Says: r})
}

// look counts bytes that are not text.
func (d *Decoder) look(c byte) {
	d.window.bytes++
	if !printable(c) && c != 0 && c != 0x1B {
		d.window.odd++
		d.n.Unprintable++
	}
	if !d.decided && len(d.raw) < 768 {
		d.raw = append(d.raw, c)
	}
}

// judgeBytes recognises a wrong baud rate and framed streams.
func (d *Decoder) judgeBytes(dst []Item, ts float64) []Item {
	const enough, most = 256, 0.25
	if d.window.bytes < enough {
		return dst
	}
	odd := float64(d.window.odd) / float64(d.window.bytes)
	d.window.bytes, d.window.odd = 0, 0
	switch {
	case odd < most:
	case isFramed(d.raw):
		dst = d.remark(dst, ts, remark.New("link.binary"))
	case d.said["link.binary"] == "" && d.said["link.baud"] == "":
		dst = d.remark(dst, ts, remark.New("link.baud", remark.Values{"no_text": odd, "common": BaudNames()}))
	}
	if odd >= most {
		d.raw = d.raw[:0]
	}
	return dst
}

// line handles one complete line.
func (d *Decoder) line(dst []Item, line []byte, ts float64) []Item {
	line, clockS, hasClock := stripPrefix(line)
	switch {
	case len(line) == 0 || isComment(line) && d.decided:
		d.n.Other++
		return dst
	case isNMEA(line):
		d.n.NMEA++
		return d.judgeNMEA(dst, ts)
	case !d.decided:
		d.hold(line, ts, clockS, hasClock)
		if len(d.held) >= maxHeld {
			dst = d.decide(dst, ts)
		}
		return dst
	}
	return d.read(dst, line, ts, clockS, hasClock)
}

func (d *Decoder) judgeNMEA(dst []Item, ts float64) []Item {
	if d.n.NMEA < 8 || d.n.Samples > 0 || len(d.held) > d.n.NMEA/2 {
		return dst
	}
	return d.remark(dst, ts, remark.New("link.nmea"))
}

func isComment(line []byte) bool {
	return line[0] == '#' || line[0] == '%' || len(line) > 1 && line[0] == '/' && line[1] == '/'
}

// read decodes a line by the decided schema.
func (d *Decoder) read(dst []Item, line []byte, ts, clockS float64, hasClock bool) []Item {
	scan(line, d.group, &d.sc)
	if d.sc.n == 0 && line[len(line)-1] == ':' { // names a quantity, such as "Magnetometer:"
		d.group = parseGroup(line)
	}
	switch d.asm.take(&d.sc) {
	case vVector:
		dst = d.deliver(dst, ts, clockS, hasClock)
		d.asm.clear()
		d.misfits = 0
	case vPart:
		d.misfits = 0
	case vBad:
		d.n.Bad++
		dst = d.misfit(dst, ts)
	default:
		d.n.Other++
		if d.sc.n > 0 && d.asm.columns != nil {
			dst = d.misfit(dst, ts)
		}
	}
	d.n.Unfinished = d.asm.unfinished
	return dst
}

// misfit counts lines that do not fit; many in a row mean that the board
// prints something else now.
func (d *Decoder) misfit(dst []Item, ts float64) []Item {
	if d.misfits++; d.misfits == 1 {
		d.misfitTS = ts
	}
	if d.n.Bad >= 20 && d.n.Bad*20 > d.n.Samples {
		dst = d.remark(dst, ts, remark.New("link.bad-lines"))
	}
	if d.misfits < maxHeld || ts-d.misfitTS < patientS && d.opts.RateHz == 0 {
		return dst
	}
	d.misfits = 0
	if d.asm.named {
		return d.remark(dst, ts, remark.New("link.columns", remark.Values{"columns": d.opts.Columns.String(), "numbers": d.sc.n}))
	}
	d.decided, d.held = false, nil
	delete(d.said, "link.shape")
	delete(d.said, "link.undecided")
	return d.remark(dst, ts, remark.New("link.changed"))
}

// deliver turns the assembled vector into an item.
func (d *Decoder) deliver(dst []Item, ts, clockS float64, hasClock bool) []Item {
	p := &d.asm.pend
	if p.has(roleID) && !d.chosen(p.v[roleID]) {
		if d.n.OtherSensors++; d.n.OtherSensors > 1 {
			return dst
		}
		return d.remark(dst, ts, remark.New("link.sensors", remark.Values{"sensor": d.sensor}))
	}
	s := survey.Sample{B: r3.Scale(d.asm.scaleFor(p), r3.Vec{X: p.v[roleX], Y: p.v[roleY], Z: p.v[roleZ]})}
	if k := d.asm.accScaleFor(p); k > 0 && p.have&accMask == accMask {
		s.Acc = r3.Scale(k, r3.Vec{X: p.v[roleAX], Y: p.v[roleAY], Z: p.v[roleAZ]})
		s.Has |= survey.HasAcc
	}
	if p.has(roleCurrent) {
		s.CurrentA = p.v[roleCurrent]
		s.Has |= survey.HasCurrent
	}
	if p.has(roleOn) {
		s.LoadOn = p.v[roleOn] != 0
		s.Has |= survey.HasLoadOn
	}
	s.TS = d.time(p, ts, clockS, hasClock)
	if d.clk.restart {
		d.clk.restart = false
		d.n.Restarts++
		delete(d.said, "link.restart")
		dst = d.remark(dst, s.TS, remark.New("link.restart"))
	}
	if d.clk.halted {
		d.clk.halted = false
		dst = d.remark(dst, s.TS, remark.New("link.clock"))
	}
	if d.n.Samples > 0 && s.B == d.lastB {
		d.n.Repeated++
	}
	d.lastB = s.B
	d.n.Samples++
	return append(dst, Item{Kind: Reading, Sample: s, TS: s.TS})
}

// chosen reports whether sensor id is the selected one.
func (d *Decoder) chosen(id float64) bool {
	if !d.hasID {
		d.sensor, d.hasID = id, true
		if d.opts.Sensor != nil {
			d.sensor = float64(*d.opts.Sensor)
		}
	}
	return id == d.sensor
}

// time returns the sample's time from the best clock available.
func (d *Decoder) time(p *reading, ts, clockS float64, hasClock bool) float64 {
	u := p.tUnit.seconds()
	if u == 0 {
		u = d.asm.timeUnit.seconds()
	}
	switch {
	case p.has(roleT) && u > 0:
		return d.clk.withOwn(p.v[roleT], u, ts)
	case hasClock && d.opts.RateHz > 0:
		return d.clk.withOwn(clockS, 1, ts)
	}
	return d.clk.arrived(ts)
}

// scaleFor returns microtesla per unit for a reading: the given scale, else that
// of the printed unit.
func (s *schema) scaleFor(r *reading) float64 {
	if k := r.unit.microtesla(); k > 0 && !s.fixedScale {
		return k
	}
	return s.scale
}

func (s *schema) accScaleFor(r *reading) float64 {
	if k := r.accUnit.gravities(); k > 0 {
		return k
	}
	return s.accScale
}

// finite reports whether all components of v are finite.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

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
