package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// What a bench must hold to for a survey to be worth the afternoon: common
// practice, no source.
const (
	benchRangeUT = 8    // change of the field from one end of the craft to the other
	benchWanderF = 3    // change of the base beyond its scatter, in standard deviations,
	benchWander  = 1.0  // and in microtesla
	benchWeak    = 0.75 // of the reference field's strength
	benchStrong  = 1.3
)

// BenchFit is the judgement of a bench: how uniform and steady its field is,
// and whether it is fit for a survey.
type BenchFit struct {
	Fit        bool
	Captures   int             // without the craft
	RangeUT    float64         // largest difference of the smooth field between two points of the outline
	GradientUT float64         // steepest change of it, microtesla per 100 mm
	StrengthUT float64         // at the middle
	Ratio      float64         // to the reference
	WanderUT   float64         // largest change of a base return from the first; NaN without returns
	MisfitP    float64         // of the smooth room; NaN where it was not tested
	Why        []remark.Remark // what is wrong, and what would help
}

// Bench judges the newest set-up that has background captures. ok is false if
// none has.
func (f *Findings) Bench() (b BenchFit, ok bool) {
	for i := len(f.Rooms) - 1; i >= 0; i-- {
		if f.Rooms[i].FieldUT != nil {
			return f.judgeBench(f.Rooms[i]), true
		}
	}
	return BenchFit{}, false
}

func (f *Findings) judgeBench(rf RoomFinding) BenchFit {
	b := BenchFit{
		Captures: rf.Backgrounds, StrengthUT: r3.Norm(*rf.FieldUT), MisfitP: rf.MisfitP,
		WanderUT: math.NaN(),
	}
	b.Ratio = b.StrengthUT / (f.Reference.F / 1000)
	b.RangeUT, b.GradientUT = f.roomSpread(rf)
	b.judgeSpace(f.Reference.F / 1000)
	if rf.Untested != nil {
		b.Why = append(b.Why, remark.New("evaluate.bench_untested", remark.Values{"cause": rf.Untested}))
	}
	b.judgeTime(f.returnsOf(rf))
	if b.Captures < fewBackgrounds {
		b.Why = append(b.Why, remark.New("evaluate.bench_few_places", remark.Values{"captures": b.Captures, "least": fewBackgrounds}))
	}
	b.Fit = len(b.Why) == 0
	return b
}

// roomSpread is the largest difference of the smooth field between two points
// of the outline, and its steepest change.
func (f *Findings) roomSpread(rf RoomFinding) (rangeUT, perHundred float64) {
	outline := f.Craft.Body.OutlineMM
	for i, p := range outline {
		for _, q := range outline[:i] {
			d := r3.Vec{X: p.X - q.X, Y: p.Y - q.Y}
			change := r3.Norm(rf.Gradient.Apply(d))
			rangeUT = max(rangeUT, change)
			if length := r3.Norm(d); length > 0 {
				perHundred = max(perHundred, 100*change/length)
			}
		}
	}
	return rangeUT, perHundred
}

func (b *BenchFit) judgeSpace(referenceUT float64) {
	if b.RangeUT > benchRangeUT {
		b.Why = append(b.Why, remark.New("evaluate.bench_uneven", remark.Values{"range_ut": b.RangeUT, "most_ut": benchRangeUT}))
	}
	if b.MisfitP < misfitP {
		b.Why = append(b.Why, remark.New("evaluate.bench_not_smooth", remark.Values{"p_value": b.MisfitP}))
	}
	if b.Ratio < benchWeak || b.Ratio > benchStrong {
		b.Why = append(b.Why, remark.New("evaluate.bench_strength", remark.Values{"strength_ut": b.StrengthUT, "reference_ut": referenceUT}))
	}
}

func (b *BenchFit) judgeTime(returns []BaseReturn) {
	for _, r := range returns {
		wander := r3.Norm(r.ChangeUT)
		b.WanderUT = max(wander, math.Max(0, orZero(b.WanderUT)))
		if wander > benchWander && wander > benchWanderF*math.Sqrt(3)*r.SDUT {
			b.Why = append(b.Why, remark.New("evaluate.bench_wanders", remark.Values{"by_ut": wander}))
			return
		}
	}
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// returnsOf are the base returns of the background runs of a set-up.
func (f *Findings) returnsOf(rf RoomFinding) []BaseReturn {
	background := map[int]bool{}
	for _, r := range f.Runs {
		background[r.Header.Run] = r.Header.State == survey.StateBackground
	}
	in := map[int]bool{}
	for _, n := range rf.Runs {
		in[n] = background[n]
	}
	var out []BaseReturn
	for _, d := range f.Drift {
		if in[d.Run] && d.Return != nil {
			out = append(out, *d.Return)
		}
	}
	return out
}
