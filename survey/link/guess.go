package link

import "quietmount/magmath/remark"

// minConfidence is the lowest confidence of a guess that is used.
const minConfidence = 0.5

// Guess is the format that the decoder assumes for a stream, with its
// confidence.
type Guess struct {
	Shape      string          // "numbers", "labels", "labels over several lines", "columns as named"
	Columns    string          // as ParseColumns reads, or the labels' roles
	Unit       string          // "uT", "gauss" ...; "as scaled" with an explicit scale
	ScaleUT    float64         // microtesla per printed unit
	Confidence float64         // 0 to 1; from 0.5 samples are delivered
	Why        []remark.Remark // what it rests on
	Settle     []remark.Remark // options that would settle open questions; empty: none
}

// Remark returns the guess as a remark.
func (g Guess) Remark() remark.Remark {
	return remark.New("link.shape", remark.Values{"shape": g.Shape, "columns": g.Columns, "unit": g.Unit, "scale_ut": g.ScaleUT,
		"confidence": g.Confidence, "why": g.Why, "settle": g.Settle})
}

// UndecidedError is the error of a stream of unknown format; its guess names the
// options that would settle it.
type UndecidedError struct{ Guess Guess }

func (e *UndecidedError) Error() string { return "cannot tell what the lines mean" }

// settleColumns returns the remark that a person must state the order of the
// columns. It names likely orders in the notation of ParseColumns.
func settleColumns(likely ...string) remark.Remark {
	return remark.New("link.settle-columns", remark.Values{"columns": likely})
}

// settleScale returns the remark that a person must state the microtesla per
// unit, likely those of u (unitNone: not known) or, with counts, the sensor's own.
// undisturbed is the scale if the field is the undisturbed one, 0: not known.
func settleScale(u unit, counts bool, undisturbed float64) remark.Remark {
	v := remark.Values{"scale_ut": 0.0, "unit": "", "counts": counts, "undisturbed_scale_ut": undisturbed}
	if u != unitNone {
		v["scale_ut"], v["unit"] = u.microtesla(), u.String()
	}
	return remark.New("link.settle-scale", v)
}

// Counters are the counts of a link.
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
