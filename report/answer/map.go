package answer

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
)

// Map is the answer of `map`.
type Map struct {
	Craft    string             `json:"craft"`
	Date     string             `json:"date"`
	Basis    evaluate.Basis     `json:"basis"`
	HUT      float64            `json:"h_ut"`
	FUT      float64            `json:"f_ut"`
	Runs     []int              `json:"runs"`
	Stations []Station          `json:"stations"`
	Base     *Station           `json:"base"`
	LeftOut  map[string]leftOut `json:"left_out"`
	Factor   *float64           `json:"extrapolation_factor"`
	Turning  *turning           `json:"turning"`
	Cautions
	Checked
	Pictures  []string `json:"pictures,omitempty"`
	HeadingAt string   `json:"heading_error_for"`
}

// Station is what is known at a station; null where it was not measured.
type Station struct {
	Name string `json:"name"`
	placed
	Place         Vec      `json:"sensor_mm"`
	Count         int      `json:"captures"`
	Parts         []string `json:"combination"`
	PartsReversed []string `json:"combination_reversed"` // those whose current is reversed

	SteadyUT             *Vec           `json:"steady_ut"`
	ShiftingUT           *Vec           `json:"shifting_ut"`
	LoadsUT              map[string]Vec `json:"loads_ut"`
	MagnitudeDifference  *float64       `json:"magnitude_difference_ut"`
	MagnitudeAgainst     string         `json:"magnitude_against,omitempty"` // background or reference
	SteadyHeadingError   *heading.Error `json:"steady_heading_error_deg"`
	ShiftingHeadingError *heading.Error `json:"shifting_heading_error_deg"`
	AnyDirection         bool           `json:"any_direction"`
	SteadyCovariance     *[3][3]float64 `json:"steady_covariance_ut2"`
	PermanentUT          *Vec           `json:"permanent_ut"`
	PermanentCovariance  *[3][3]float64 `json:"permanent_covariance_ut2"`
	InducedUT            *Vec           `json:"induced_ut"` // with the nose at induced_nose_deg
	InducedCovariance    *[3][3]float64 `json:"induced_covariance_ut2"`
	InducedNoseDeg       *float64       `json:"induced_nose_deg"`
	ShiftingCovariance   *[3][3]float64 `json:"shifting_covariance_ut2"`
}

// turning says what turning the bench told of the steady part.
type turning struct {
	NosesDeg []float64 `json:"noses_deg"`
	Stations int       `json:"stations"` // split
	Why      string    `json:"why"`
	Coded    Coded     `json:"why_coded"`
}

type leftOut struct {
	RMSEUT           *float64 `json:"rmse_ut"`
	Inside95Fraction *float64 `json:"inside95_fraction"`
	Stations         int      `json:"stations"`
}

// NewMap returns findings and their checks in the form that JSON and text are
// written from, worded for a face.
func NewMap(face words.Face, f *evaluate.Findings, checks []gate.Check) Map {
	a := Map{
		Craft: f.Craft.Name, Date: f.Date, Basis: f.Basis,
		HUT: say.Tidy(f.HUT), FUT: say.Tidy(f.Reference.F / 1000),
		Runs: runNumbersOf(f), Stations: []Station{}, LeftOut: leftOutParts(f),
		Factor: Number(f.Factor), Cautions: cautions(face, f.Notes),
		HeadingAt: say.Attitudes(f.Craft.Limits), Checked: ChecksOf(face, checks),
	}
	for _, s := range f.Stations {
		a.Stations = append(a.Stations, StationOf(s))
	}
	if t := f.Turning; t != nil {
		a.Turning = &turning{append([]float64{}, t.NosesDeg...), t.Stations, face.Say(t.Why), CodedOf(face, t.Why)}
	}
	if f.Base != nil {
		a.Base = new(StationOf(*f.Base))
	}
	return a
}

func leftOutParts(f *evaluate.Findings) map[string]leftOut {
	out := map[string]leftOut{}
	for part, l := range f.LeftOut {
		out[part] = leftOut{Number(l.RMSEUT), Number(l.Inside95Fraction), l.Stations}
	}
	return out
}

// StationOf is a station as an answer has it.
func StationOf(s evaluate.StationFinding) Station {
	a := Station{
		Name: s.Station.Name, placed: placedAt(s.Station.At), Place: vecOf(s.Sensor), Count: s.Captures,
		Parts:                append([]string{}, s.Combination...),
		PartsReversed:        append([]string{}, s.Reversed...),
		LoadsUT:              map[string]Vec{},
		SteadyHeadingError:   ErrorOf(s.SteadyError),
		ShiftingHeadingError: ErrorOf(s.ShiftingError),
	}
	a.SteadyUT, a.SteadyCovariance = estimateOf(s.Steady)
	a.PermanentUT, a.PermanentCovariance = estimateOf(s.Permanent)
	a.InducedUT, a.InducedCovariance = estimateOf(s.Induced)
	if s.Induced != nil {
		a.InducedNoseDeg = Number(s.InducedAtDeg)
	}
	a.ShiftingUT, a.ShiftingCovariance = estimateOf(s.Shifting)
	if s.MagnitudeDifference != nil {
		a.MagnitudeDifference = Number(*s.MagnitudeDifference)
		a.MagnitudeAgainst = string(s.Against)
	}
	for name, e := range s.Loads {
		a.LoadsUT[name] = vecOf(e.Mean)
	}
	a.AnyDirection = (s.SteadyError != nil && s.SteadyError.AnyDirection) ||
		(s.ShiftingError != nil && s.ShiftingError.AnyDirection)
	slices.Sort(a.Parts)
	return a
}

func estimateOf(e *evaluate.Estimate) (*Vec, *[3][3]float64) {
	if e == nil || !magmath.FiniteVec(e.Mean) {
		return nil, nil
	}
	return vecPointer(new(r3.Vec(e.Mean))), matOf(e.Cov)
}
