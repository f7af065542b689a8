package swing

import (
	"context"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/dwell"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Dwell is the time the craft rests in one pose or on one heading.
type Dwell struct {
	Name       string // of the pose or the mark
	MarkDeg    float64
	CompassDeg *float64 // as a compass had it, with no samples
	SunDeg     *float64 // bearing of the sun from the nose, clockwise
	Time       time.Time
	Samples    []survey.Sample
}

// FromFile returns the dwells of the captures that count of a stored swing or
// arrow check, in order. A swing's captures must be named by headings.
func FromFile(f *logbook.SwingFile) ([]Dwell, error) {
	var out []Dwell
	for _, c := range f.Valid() {
		d := Dwell{Name: c.Station, Time: c.Time, Samples: c.Samples}
		if f.Swing.What == logbook.SwingHeadings {
			mark, err := ParseHeading(c.Station)
			if err != nil {
				return nil, fmt.Errorf("%s: capture %d: %w", f.File, c.Number, err)
			}
			d.MarkDeg = mark
		}
		out = append(out, d)
	}
	return out, nil
}

// mean is what a dwell comes to.
type mean struct {
	b       r3.Vec  // corrected, turned by the axes, microtesla
	noiseUT float64 // standard uncertainty, a component
	up      r3.Vec  // mean acceleration, turned; zero: none
}

// meanOf returns the robust mean of the samples after correction and axes.
func meanOf(ctx context.Context, d Dwell, c *survey.Correction, axes *magmath.Mat3) (mean, error) {
	frame := survey.NewFrame(axes, c)
	var s dwell.Series
	var up r3.Vec
	n := 0
	for _, x := range d.Samples {
		s.TS, s.B = append(s.TS, x.TS), append(s.B, frame.Field(x.B))
		if x.Has&survey.HasAcc != 0 && magmath.FiniteVec(x.Acc) {
			up, n = r3.Add(up, frame.Turn(x.Acc)), n+1
		}
	}
	e, err := dwell.Locate(ctx, s, dwell.Options{})
	if err != nil {
		return mean{}, fmt.Errorf("%s: %w", d.Name, err)
	}
	m := mean{b: e.Mean, noiseUT: math.Sqrt(e.Cov.Trace() / 3)}
	if n > 0 {
		m.up = r3.Scale(1/float64(n), up)
	}
	return m, nil
}

// level returns a field seen by a craft held level with the same heading: x along
// the nose's level part, y to its right, z down.
func level(b, up r3.Vec) (r3.Vec, bool) {
	if up == (r3.Vec{}) {
		return b, true
	}
	down := r3.Scale(-1/r3.Norm(up), up)
	nose := r3.Sub(r3.Vec{X: 1}, r3.Scale(down.X, down))
	size := r3.Norm(nose)
	if !(size > 0.05) {
		return b, false
	}
	nose = r3.Scale(1/size, nose)
	right := r3.Cross(down, nose)
	return r3.Vec{X: r3.Dot(b, nose), Y: r3.Dot(b, right), Z: r3.Dot(b, down)}, true
}

// upright settles whether the accelerometers read up or down at rest: most of
// a swing is level.
func upright(all []mean) {
	sum := 0.0
	for _, m := range all {
		sum += m.up.Z
	}
	if sum > 0 {
		for i := range all {
			all[i].up = r3.Scale(-1, all[i].up)
		}
	}
}

// Readings turns the dwells of a swing into headings: by the reference, and
// by the module, tilt-compensated where it has an accelerometer. The remarks
// name headings at which the craft was tilted.
func Readings(ctx context.Context, dwells []Dwell, c *survey.Correction, axes *magmath.Mat3, ref Reference) ([]swing.Reading, []remark.Remark, error) {
	means := make([]mean, len(dwells))
	for i, d := range dwells {
		if d.CompassDeg != nil {
			continue
		}
		m, err := meanOf(ctx, d, c, axes)
		if err != nil {
			return nil, nil, err
		}
		means[i] = m
	}
	upright(means)
	var out []swing.Reading
	var remarks []remark.Remark
	for i, d := range dwells {
		r := swing.Reading{MagneticDeg: ref.magnetic(d)}
		if d.CompassDeg != nil {
			r.CompassDeg = *d.CompassDeg
			out = append(out, r)
			continue
		}
		deg, ok := heading.Compass(means[i].b, means[i].up)
		b, upOK := level(means[i].b, means[i].up)
		if !ok || !upOK {
			return nil, nil, fmt.Errorf("heading %s: the module shows no heading: no level field, or the nose points straight up", d.Name)
		}
		if tilt := tiltOf(means[i].up); tilt > tiltRemarkDeg {
			remarks = append(remarks, remark.New("swing.tilted", remark.Values{"heading": d.Name, "by_deg": tilt}))
		}
		r.CompassDeg, r.Field = deg, &b
		out = append(out, r)
	}
	return out, remarks, nil
}

// tiltRemarkDeg is a tilt that is worth a word.
const tiltRemarkDeg = 5

func tiltOf(up r3.Vec) float64 {
	if up == (r3.Vec{}) {
		return 0
	}
	return math.Acos(max(-1, min(1, -up.Z/r3.Norm(up)))) * 180 / math.Pi
}

// Poses turns the dwells of an arrow check into poses. field is that of the
// place, x along what the poses call north.
func Poses(ctx context.Context, dwells []Dwell, c *survey.Correction, field r3.Vec) ([]arrow.Pose, error) {
	var out []arrow.Pose
	for _, d := range dwells {
		name, err := parsePose(d.Name)
		if err != nil {
			return nil, err
		}
		m, err := meanOf(ctx, d, c, nil)
		if err != nil {
			return nil, err
		}
		want, _ := name.In(field)
		out = append(out, arrow.Pose{Name: name, Want: want, Got: m.b, NoiseUT: m.noiseUT})
	}
	return out, nil
}
