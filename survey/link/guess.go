package link

import "fmt"

// minConfidence is the confidence from which a guess is acted upon.
const minConfidence = 0.5

// Guess is what the decoder holds a stream for, and how sure it is.
type Guess struct {
	Shape      string  // "numbers", "labels", "labels over several lines", "columns as named"
	Columns    string  // as ParseColumns reads, or the labels' roles
	Unit       string  // "uT", "gauss" ...; "as scaled" with an explicit scale
	ScaleUT    float64 // microtesla per printed unit
	Confidence float64 // 0 to 1; from 0.5 samples are delivered
	Why        string  // for people: what it rests on
	Settle     string  // the flag that would settle what is open; empty: nothing is
}

// String is one sentence for people.
func (g Guess) String() string {
	s := fmt.Sprintf("%s, %s, in %s (%g uT a unit), %.0f %% sure: %s", g.Shape, g.Columns, g.Unit, g.ScaleUT, 100*g.Confidence, g.Why)
	if g.Settle != "" {
		s += "; " + g.Settle + " settles it"
	}
	return s
}

// UndecidedError says that a stream cannot be told, and the flag that would
// settle it.
type UndecidedError struct{ Guess Guess }

func (e *UndecidedError) Error() string {
	s := "cannot tell what the lines mean: " + e.Guess.Why
	if e.Guess.Settle != "" {
		s += "; use " + e.Guess.Settle
	}
	return s
}

// Counters count what came down a link.
type Counters struct {
	Bytes        int
	Unprintable  int // bytes
	Lines        int // complete, not empty
	Samples      int
	Repeated     int // samples that repeat the vector before
	Bad          int // lines with numbers that could not be read
	Other        int // comments, headers, banners, other quantities
	TooLong      int // lines
	NMEA         int // position sentences
	OtherSensors int // samples of sensors not chosen
	Unfinished   int // vectors over several lines with a part missing
	Undecoded    int // lines that came while the shape could not be decided
	Restarts     int // the board's clock went back
	Dropped      int // items nobody fetched in time
}
