package report

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey/findings"
)

// MapAnswer is the answer of `map`.
type MapAnswer struct {
	Craft     string                   `json:"craft"`
	Date      string                   `json:"date"`
	Basis     findings.Basis           `json:"basis"`
	HUT       float64                  `json:"h_ut"`
	FUT       float64                  `json:"f_ut"`
	Runs      []int                    `json:"runs"`
	Stations  []stationAnswer          `json:"stations"`
	Base      *stationAnswer           `json:"base"`
	LeftOut   map[string]leftOutAnswer `json:"left_out"`
	Factor    *float64                 `json:"extrapolation_factor"`
	Turning   *turningAnswer           `json:"turning"`
	Warnings  []string                 `json:"warnings"`
	Pictures  []string                 `json:"pictures,omitempty"`
	HeadingAt string                   `json:"heading_error_for"`
}

type stationAnswer struct {
	Name  string   `json:"name"`
	Xmm   float64  `json:"x_mm"`
	Ymm   float64  `json:"y_mm"`
	Zmm   float64  `json:"z_mm"`
	Place vec      `json:"sensor_mm"`
	Count int      `json:"captures"`
	Parts []string `json:"combination"`

	SteadyUT             *vec           `json:"steady_ut"`
	ShiftingUT           *vec           `json:"shifting_ut"`
	LoadsUT              map[string]vec `json:"loads_ut"`
	MagnitudeDifference  *float64       `json:"magnitude_difference_ut"`
	MagnitudeAgainst     string         `json:"magnitude_against,omitempty"` // background or reference
	SteadyHeadingError   *headingError  `json:"steady_heading_error_deg"`
	ShiftingHeadingError *headingError  `json:"shifting_heading_error_deg"`
	AnyDirection         bool           `json:"any_direction"`
	SteadyCovariance     *[3][3]float64 `json:"steady_covariance_ut2"`
	PermanentUT          *vec           `json:"permanent_ut"`
	PermanentCovariance  *[3][3]float64 `json:"permanent_covariance_ut2"`
	InducedUT            *vec           `json:"induced_ut"` // with the nose at induced_nose_deg
	InducedCovariance    *[3][3]float64 `json:"induced_covariance_ut2"`
	InducedNoseDeg       *float64       `json:"induced_nose_deg"`
	ShiftingCovariance   *[3][3]float64 `json:"shifting_covariance_ut2"`
}

// turningAnswer says what turning the bench told of the steady part.
type turningAnswer struct {
	NosesDeg []float64 `json:"noses_deg"`
	Stations int       `json:"stations"` // split
	Why      string    `json:"why"`
}

type leftOutAnswer struct {
	RMSEUT           *float64 `json:"rmse_ut"`
	Inside95Fraction *float64 `json:"inside95_fraction"`
	Stations         int      `json:"stations"`
}

// NewMapAnswer carries findings into the form that JSON and text are written from.
func NewMapAnswer(f *findings.Findings) MapAnswer {
	a := MapAnswer{
		Craft: f.Craft.Name, Date: f.Date, Basis: f.Basis,
		HUT: tidy(f.HUT), FUT: tidy(f.Reference.F / 1000),
		Runs: []int{}, Stations: []stationAnswer{}, LeftOut: leftOutParts(f),
		Factor: number(f.Factor), Warnings: append([]string{}, f.Notes...),
		HeadingAt: attitudes(f.Craft.Limits.TiltDeg),
	}
	for _, r := range f.Runs {
		a.Runs = append(a.Runs, r.Header.Run)
	}
	for _, s := range f.Stations {
		a.Stations = append(a.Stations, stationAnswerOf(s))
	}
	if t := f.Turning; t != nil {
		a.Turning = &turningAnswer{append([]float64{}, t.NosesDeg...), t.Stations, t.Why}
	}
	if f.Base != nil {
		a.Base = new(stationAnswerOf(*f.Base))
	}
	return a
}

func leftOutParts(f *findings.Findings) map[string]leftOutAnswer {
	out := map[string]leftOutAnswer{}
	for part, l := range f.LeftOut {
		out[part] = leftOutAnswer{number(l.RMSEUT), number(l.Inside95Fraction), l.Stations}
	}
	return out
}

func stationAnswerOf(s findings.StationFinding) stationAnswer {
	a := stationAnswer{
		Name: s.Station.Name,
		Xmm:  tidy(s.Station.At.X), Ymm: tidy(s.Station.At.Y), Zmm: tidy(s.Station.At.Z),
		Place: vecOf(s.Sensor), Count: s.Captures,
		Parts:                append([]string{}, s.Combination...),
		LoadsUT:              map[string]vec{},
		SteadyHeadingError:   errorOf(s.SteadyError),
		ShiftingHeadingError: errorOf(s.ShiftingError),
	}
	a.SteadyUT, a.SteadyCovariance = estimateOf(s.Steady)
	a.PermanentUT, a.PermanentCovariance = estimateOf(s.Permanent)
	a.InducedUT, a.InducedCovariance = estimateOf(s.Induced)
	if s.Induced != nil {
		a.InducedNoseDeg = number(s.InducedAtDeg)
	}
	a.ShiftingUT, a.ShiftingCovariance = estimateOf(s.Shifting)
	if s.MagnitudeDifference != nil {
		a.MagnitudeDifference = number(*s.MagnitudeDifference)
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

func estimateOf(e *findings.Estimate) (*vec, *[3][3]float64) {
	if e == nil || !magmath.FiniteVec(e.Mean) {
		return nil, nil
	}
	return vecPointer(new(r3.Vec(e.Mean))), matOf(e.Cov)
}
