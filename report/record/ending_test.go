package record_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/report/picture"
	"quietmount/report/record"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sources"
	"quietmount/survey/whatif"
)

// ending is a context that ends when it was asked so often whether it has.
type ending struct {
	context.Context
	left atomic.Int64
}

// Err implements context.Context.
func (c *ending) Err() error {
	if c.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// fewStations is a survey short enough to be evaluated again and again: every
// fourth station of the invented catamaran, one load.
func fewStations(t *testing.T) (*evaluate.Findings, *rank.Ranking) {
	t.Helper()
	w, err := sim.Sandpiper(1)
	if err != nil {
		t.Fatal(err)
	}
	var some []survey.Station
	for i, s := range w.Craft.Stations() {
		if i%4 == 0 {
			some = append(some, s)
		}
	}
	runs := trial.Folder(w, sim.DefaultProbe(), sim.DefaultHand(), trial.FolderOptions{Pulsed: true, CurrentPart: 0.7, Stations: some, Seed: 1})[:3]
	f, err := evaluate.Evaluate(t.Context(), w.Craft, runs, evaluate.Options{Date: "2026-06-01"})
	if err != nil {
		t.Fatal(err)
	}
	ranking, err := rank.Rank(t.Context(), f, rank.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return f, ranking
}

// Every long computation asks its context often, ends with it wherever that
// happens, says so, and gives no unfinished answer.
func TestComputationsEndWithTheirContext(t *testing.T) {
	f, ranking := fewStations(t)
	at := ranking.Spots[0]
	for _, tt := range []struct {
		name  string
		least int64 // times that it asks
		do    func(ctx context.Context) error
	}{
		{"evaluate", 100, func(ctx context.Context) error {
			_, err := evaluate.Evaluate(ctx, f.Craft, f.Runs, evaluate.Options{Date: f.Date})
			return err
		}},
		{"rank", 10, func(ctx context.Context) error { _, err := rank.Rank(ctx, f, rank.Options{}); return err }},
		{"sources", 100, func(ctx context.Context) error { _, err := sources.Find(ctx, f); return err }},
		{"prove", 1, func(ctx context.Context) error {
			_, err := prove.Prove(ctx, f, rank.Mount{At: at.At, HeightMM: at.HeightMM})
			return err
		}},
		{"spot", 1, func(ctx context.Context) error {
			_, _, err := rank.SpotAt(ctx, f, at.At)
			return err
		}},
		{"whatif", 2, func(ctx context.Context) error {
			_, _, err := whatif.Predict(ctx, f, whatif.Changes{Moves: []whatif.MovePart{{Part: "battery", ToMM: r3.Vec{X: 20}}}})
			return err
		}},
		{"map", 30, func(ctx context.Context) error {
			_, err := picture.Map(ctx, f, ranking, picture.MapOptions{})
			return err
		}},
		{"values", 30, func(ctx context.Context) error {
			_, err := picture.NewMapValues(ctx, f, picture.MapOptions{})
			return err
		}},
		{"record", 300, func(ctx context.Context) error {
			_, err := record.Files(ctx, f, ranking, record.Options{})
			return err
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if tt.name == "record" && !simtest.Whole() {
				t.Skip("two records and a half; QUIETMOUNT_EVIDENCE makes them")
			}
			const never = 1 << 40
			c := &ending{Context: t.Context()}
			c.left.Store(never)
			if err := tt.do(c); err != nil {
				t.Fatal(err)
			}
			asked := never - c.left.Load()
			if asked < tt.least {
				t.Errorf("asks %d times, want at least %d", asked, tt.least)
			}
			for _, after := range []int64{asked / 2, asked - 1} {
				c.left.Store(after)
				if err := tt.do(c); !errors.Is(err, context.Canceled) {
					t.Errorf("ended after %d of %d: %v", after, asked, err)
				}
			}
		})
	}
}
