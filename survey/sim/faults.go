package sim

import "math/rand/v2"

// Faults are what goes wrong between board and computer. The zero value is a
// faultless line.
type Faults struct {
	Banner        []string // printed when the board starts, and after each reset
	HalfFirstLine bool     // the port was opened in the middle of a line
	Ends          Ends
	BurstLines    int     // lines are held back and sent so many at a time; below 2: at once
	NoiseRate     float64 // part of the lines with a stretch of random bytes before them
	NaNRate       float64 // part of the lines whose values are printed as nan
	GlueRate      float64 // part of the lines that lost their end
	Silences      []Span  // the board prints nothing
	Resets        []float64
	Unplugs       []Span // the port is gone
}

// Span is a stretch of time on the stream's clock.
type Span struct{ FromS, ForS float64 }

func within(spans []Span, t float64) bool {
	for _, s := range spans {
		if t >= s.FromS && t < s.FromS+s.ForS {
			return true
		}
	}
	return false
}

// Ends is how lines end.
type Ends string

// The ends of lines.
const (
	EndsCRLF  Ends = ""      // as most boards print
	EndsLF    Ends = "lf"    // LF alone
	EndsMixed Ends = "mixed" // now one, now the other, now an empty line too
)

func (e Ends) end(rng *rand.Rand) string {
	switch e {
	case EndsLF:
		return "\n"
	case EndsMixed:
		return []string{"\r\n", "\n", "\r\n\r\n", "\r\r\n"}[rng.IntN(4)]
	}
	return "\r\n"
}

// resetS is how long a board prints nothing after a reset.
const resetS = 1.5

// printer renders readings as bytes, faults included.
type printer struct {
	shape   Shape
	faults  Faults
	rng     *rand.Rand
	started bool
	startS  float64 // when the board started
	resets  int     // done so far
	held    []byte
	lines   int // in held
}

// print returns what arrives at t: maybe nothing, maybe several lines.
func (p *printer) print(t float64, r reading) []byte {
	if p.resets < len(p.faults.Resets) && t >= p.faults.Resets[p.resets] {
		p.resets++
		p.started, p.startS = false, t+resetS
		p.held, p.lines = nil, 0
	}
	if t < p.startS || within(p.faults.Silences, t) || within(p.faults.Unplugs, t) {
		return nil
	}
	if !p.started {
		p.start()
	}
	r.t = t - p.startS
	for _, line := range p.shape.lines(r) {
		p.line(line)
	}
	if p.faults.BurstLines > 1 && p.lines < p.faults.BurstLines {
		return nil
	}
	out := p.held
	p.held, p.lines = nil, 0
	return out
}

// start prints what comes before the first sample.
func (p *printer) start() {
	if p.faults.HalfFirstLine && p.resets == 0 {
		p.write(".71,40.03" + p.faults.Ends.end(p.rng))
	}
	for _, line := range p.faults.Banner {
		p.write(line + p.faults.Ends.end(p.rng))
	}
	if h := p.shape.header(); h != "" {
		p.write(h + p.faults.Ends.end(p.rng))
	}
	p.started = true
}

func (p *printer) write(s string) { p.held = append(p.held, s...) }

func (p *printer) line(s string) {
	if p.chance(p.faults.NoiseRate) {
		for range 1 + p.rng.IntN(12) {
			p.held = append(p.held, byte(p.rng.IntN(256)))
		}
	}
	if p.chance(p.faults.NaNRate) {
		s = "nan,nan,nan"
	}
	if p.chance(p.faults.GlueRate) {
		p.write(s)
	} else {
		p.write(s + p.faults.Ends.end(p.rng))
	}
	p.lines++
}

func (p *printer) chance(rate float64) bool { return rate > 0 && p.rng.Float64() < rate }
