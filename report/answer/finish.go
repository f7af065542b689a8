package answer

import (
	"context"
	"time"

	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// ArrowOf evaluates an arrow check of a craft's module or probe. If stores is
// set, it determines the axes for the craft file, with the arrow to the nose,
// and compares nothing. file is the path of the captures.
func ArrowOf(ctx context.Context, face words.Face, c swing.Check, craft *survey.Craft, unit survey.Module, limitDeg float64, now time.Time, stores bool, file string) (Arrow, error) {
	axes := unit.Axes
	if stores {
		axes = nil
	}
	found, poses, err := c.Arrow(ctx, craft, axes, now)
	if err != nil {
		return Arrow{}, err
	}
	return NewArrow(ArrowInput{
		Face: face, Arrow: found, Poses: poses, LimitDeg: limitDeg, Calibrated: c.Calibrated, NoAxes: unit.Axes == nil, Stores: stores, File: file,
	}), nil
}

// StoredArrow is the answer of a stored arrow check of the craft's module.
func StoredArrow(ctx context.Context, face words.Face, f *logbook.SwingFile, craft *survey.Craft, now time.Time) (Arrow, error) {
	check, err := swing.CheckOf(f)
	if err != nil {
		return Arrow{}, err
	}
	return ArrowOf(ctx, face, check, craft, craft.Module, craft.Limits.HeadingErrorDeg, now, false, f.File)
}

// SwingOf fits a series and says what it was made with; the state, the file and
// the number are the caller's to fill in.
func SwingOf(ctx context.Context, face words.Face, s swing.Series, limitDeg float64) (SwingInput, error) {
	fitted, remarks, err := s.Fit(ctx)
	if err != nil {
		return SwingInput{}, err
	}
	return SwingInput{Face: face, Swing: fitted, LimitDeg: limitDeg, Reference: face.Say(s.Reference.From), Remarks: remarks}, nil
}

// StoredSwing is a stored swing, fitted anew.
func StoredSwing(ctx context.Context, face words.Face, f *logbook.SwingFile, limitDeg float64, exact bool) (SwingInput, error) {
	series, err := swing.SeriesOf(f)
	if err != nil {
		return SwingInput{}, err
	}
	series.Exact = exact
	in, err := SwingOf(ctx, face, series, limitDeg)
	h := f.Swing
	in.State, in.File, in.Number = h.State, f.File, h.Run
	in.Remarks = append(in.Remarks, f.Warnings...)
	in.CurrentA = h.CurrentA
	return in, err
}
