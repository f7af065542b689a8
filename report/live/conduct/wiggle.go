package conduct

import (
	"context"
	"errors"
	"time"

	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
)

// wiggleState is how far the wiggling of the probe's lead has come, topic
// "link_wiggle".
type wiggleState struct {
	Step  int     `json:"step"` // 1, 2, 3; 0: over
	Say   string  `json:"say"`  // what to do now, or what came of it
	ForS  float64 `json:"for_s"`
	Shows bool    `json:"shows"` // the lead or the board shows in the readings
}

const wiggleS = 5.0 // of each step, seconds

// Wiggle lets the operator bend the probe's lead and lift its board between two
// stretches of rest: neither may show in the readings. It returns at once; the
// topic link_wiggle tells how it goes.
func (c *Conductor) Wiggle() error {
	var result link.WiggleResult
	return c.start(func(ctx context.Context, tap *Tap, _ <-chan guide.Command) (err error) {
		result, err = c.wiggle(ctx, tap)
		return err
	}, func(err error) {
		state := wiggleState{Say: words.Page.Say(result.Says), Shows: result.Shows}
		if err != nil {
			state = wiggleState{Say: err.Error(), Shows: true}
		}
		c.Stream.Show("link_wiggle", state)
	})
}

func (c *Conductor) wiggle(ctx context.Context, tap *Tap) (link.WiggleResult, error) {
	var samples []survey.Sample
	var marks []link.Mark
	for i, key := range []string{"link.wiggle_still", "link.wiggle_bend", "link.wiggle_again"} {
		c.Stream.Show("link_wiggle", wiggleState{Step: i + 1, Say: c.Say(key), ForS: wiggleS})
		at := 0.0
		if n := len(samples); n > 0 {
			at = samples[n-1].TS
		}
		marks = append(marks, link.Mark{TS: at, Moving: i == 1})
		more, err := readFor(ctx, tap, wiggleS)
		if err != nil {
			return link.WiggleResult{}, err
		}
		samples = append(samples, more...)
	}
	return link.Wiggle(samples, marks)
}

// readFor returns the readings of the next seconds.
func readFor(ctx context.Context, tap *Tap, seconds float64) ([]survey.Sample, error) {
	within, cancel := context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
	defer cancel()
	var samples []survey.Sample
	for {
		item, err := tap.Next(within)
		switch {
		case err != nil && ctx.Err() == nil && errors.Is(err, context.DeadlineExceeded):
			return samples, nil
		case err != nil:
			return nil, err
		case item.Kind == link.Reading:
			samples = append(samples, item.Sample)
		}
	}
}
