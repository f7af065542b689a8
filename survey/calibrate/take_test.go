package calibrate

import (
	"context"
	"errors"
	"io"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
	"quietmount/survey"
	"quietmount/survey/link"
)

// spinning is a link whose probe is turned about one axis, ten readings a second.
type spinning struct {
	n, ends int // it ends after so many readings; 0: never
	fails   error
}

func (s *spinning) Next(ctx context.Context) (link.Item, error) {
	if err := ctx.Err(); err != nil {
		return link.Item{}, err
	}
	if s.ends > 0 && s.n >= s.ends {
		return link.Item{}, s.fails
	}
	s.n++
	a := 0.05 * float64(s.n)
	b := r3.Vec{X: 50 * math.Cos(a), Y: 50 * math.Sin(a)}
	return link.Item{Kind: link.Reading, TS: 0.1 * float64(s.n), Sample: survey.Sample{TS: 0.1 * float64(s.n), B: b}}, nil
}

func (s *spinning) Close() error { return nil }

func TestTakeEnds(t *testing.T) {
	broken := errors.New("unplugged")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, tt := range []struct {
		name    string
		ctx     context.Context
		turn    Turn
		source  *spinning
		stopped int // after so many readings; 0: not
		err     error
		samples int
	}{
		{"after the time", t.Context(), Turn{ForS: 5, Enough: 2}, &spinning{}, 0, nil, 51},
		{"when enough was shown", t.Context(), Turn{ForS: 1e9, Enough: 0.05, Progress: calib.Progress{ReferenceUT: 50}}, &spinning{}, 0, nil, -1},
		{"with the stream", t.Context(), Turn{ForS: 1e9, Enough: 2}, &spinning{ends: 7, fails: io.EOF}, 0, nil, 7},
		{"by the operator", t.Context(), Turn{ForS: 1e9, Enough: 2}, &spinning{}, 9, nil, 9},
		{"with the link's error", t.Context(), Turn{ForS: 1e9, Enough: 2}, &spinning{ends: 4, fails: broken}, 0, broken, 4},
		{"with the caller", ctx, Turn{ForS: 1e9, Enough: 2}, &spinning{}, 0, context.Canceled, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			seen := 0
			turn := tt.turn
			err := turn.Take(tt.ctx, tt.source, func() bool { return tt.stopped > 0 && seen >= tt.stopped }, func(link.Item) { seen++ })
			if !errors.Is(err, tt.err) || err == nil != (tt.err == nil) {
				t.Errorf("%v, want %v", err, tt.err)
			}
			if len(turn.Samples) != seen || tt.samples >= 0 && seen != tt.samples {
				t.Errorf("%d readings kept, %d shown, want %d", len(turn.Samples), seen, tt.samples)
			}
			if tt.samples < 0 && turn.Progress.Covered() < tt.turn.Enough {
				t.Errorf("ended at %.2f of the sphere", turn.Progress.Covered())
			}
		})
	}
}
