package walk

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// timed is a bench whose readings take their time, and which goes silent for
// a while at moments of its own clock. Its time goes on meanwhile.
type timed struct {
	*bench
	gaps map[float64]time.Duration // guarded by the bench's lock
}

// pause is how long the next reading takes.
func (s timed) pause() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	for at, gap := range s.gaps {
		if s.ts >= at {
			delete(s.gaps, at)
			s.ts += gap.Seconds()
			return gap
		}
	}
	return 40 * time.Millisecond
}

func (s timed) Next(ctx context.Context) (link.Item, error) {
	select {
	case <-time.After(s.pause()):
		return s.bench.Next(ctx)
	case <-ctx.Done():
		return link.Item{}, ctx.Err()
	}
}

// TestASilentProbeIsToldOf takes the readings away without a word from the
// link: for two seconds, which boards need to restart, and for longer.
func TestASilentProbeIsToldOf(t *testing.T) {
	for _, tt := range []struct {
		name string
		gaps map[float64]time.Duration
		want []string
	}{
		{"steady", nil, nil},
		{"two seconds", map[float64]time.Duration{9: 2 * time.Second}, nil},
		{"ten seconds", map[float64]time.Duration{9: 10 * time.Second}, []string{guide.CodeSilent, guide.CodeReadings}},
		{"twice", map[float64]time.Duration{9: 4 * time.Second, 20: time.Minute},
			[]string{guide.CodeSilent, guide.CodeReadings, guide.CodeSilent, guide.CodeReadings}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bk := &book{}
				var told []string
				cfg, _ := set(t, guide.Config{HandsFree: true}, newBench(), bk, func(e guide.Event) error {
					if e.Code() == guide.CodeSilent || e.Code() == guide.CodeReadings {
						told = append(told, e.Code())
					}
					return nil
				})
				cfg.Source, cfg.Now = timed{cfg.Source.(*bench), tt.gaps}, time.Now
				sum, err := Run(t.Context(), cfg)
				if err != nil || !sum.Finished {
					t.Errorf("%+v, %v", sum, err)
				}
				if !slices.Equal(told, tt.want) {
					t.Errorf("told %v, want %v", told, tt.want)
				}
				if got := len(bk.noted(logbook.NoteWarning)); got != len(tt.want) {
					t.Errorf("%d warnings noted, want %d", got, len(tt.want))
				}
			})
		})
	}
}

// TestSilenceSwitchesTheLoadOff lets the readings stop while the load is on,
// and the operator ask for a capture meanwhile.
func TestSilenceSwitchesTheLoadOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, bk := newBench(), &book{}
		gaps := map[float64]time.Duration{}
		var refused, asked int
		var commands chan guide.Command
		var cfg Config
		cfg, commands = set(t, guide.Config{State: "motor", Pulsed: true, HandsFree: true}, b, bk, func(e guide.Event) error {
			switch {
			case e.Kind == guide.Switch && e.On && len(bk.captures) == 1 && refused == 0:
				b.mu.Lock()
				gaps[b.ts] = 20 * time.Second
				b.mu.Unlock()
			case e.Kind == guide.Rejected && e.Code() == guide.CodeStale:
				refused++
				if b.on { // set from this goroutine only
					t.Error("the load is on while nothing is heard")
				}
				commands <- guide.Command{Kind: guide.CmdCapture}
			case e.Code() == guide.CodeSilent:
				asked++
			}
			return nil
		})
		cfg.Source, cfg.Now = timed{b, gaps}, time.Now
		sum, err := Run(t.Context(), cfg)
		if err != nil || !sum.Finished || refused != 1 || asked != 2 {
			t.Errorf("%+v, %v; %d refused, told %d times of silence, want 1 and 2", sum, err, refused, asked)
		}
	})
}
