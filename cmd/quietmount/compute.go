package main

import (
	"context"
	"fmt"
	"io"
	"time"

	phrase "quietmount/report/say"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

const (
	shownAfter = time.Second            // a computation has taken so long before it is shown
	shownEvery = 500 * time.Millisecond // the line is written anew
	endsWithin = 500 * time.Millisecond // after an interrupt a computation is waited for so long
	shownWidth = 78
)

// computed returns the result of do, which must change no file and no shared
// data. On a terminal a line shows what is being computed, such as "ranking the
// spots", once that takes over a second; do may say how far it is.
//
// When ctx ends, do has half a second to return. After that the program goes on
// without it, so that an interrupt never waits for one long factorisation. The
// error is then that of ctx.
func computed[T any](ctx context.Context, sh shell, what string, do func(ctx context.Context, far func(string)) (T, error)) (T, error) {
	type result struct {
		v   T
		err error
	}
	done, far := make(chan result, 1), make(chan string, 1)
	line := shownLine{w: sh.Err, on: sh.Terminal.Err, what: what}
	defer line.clear()
	go func() {
		v, err := do(ctx, func(s string) {
			select { // the newest replaces one that was not read
			case <-far:
			default:
			}
			far <- s
		})
		done <- result{v, err}
	}()
	var none T
	tick := time.NewTicker(shownEvery)
	defer tick.Stop()
	ended, late := ctx.Done(), make(<-chan time.Time)
	for {
		select {
		case r := <-done:
			if err := ctx.Err(); err != nil {
				return none, err
			}
			return r.v, r.err
		case line.far = <-far:
		case <-tick.C:
			line.show()
		case <-ended:
			line.clear()
			ended, late = nil, time.After(endsWithin)
		case <-late:
			return none, ctx.Err()
		}
	}
}

// shownLine is the one line of a terminal that shows a computation.
type shownLine struct {
	w     io.Writer
	on    bool
	what  string
	far   string
	ticks int
	there bool
}

// show rewrites the line, but not in the first second.
func (l *shownLine) show() {
	l.ticks++
	took := time.Duration(l.ticks) * shownEvery
	if !l.on || took < shownAfter {
		return
	}
	s := fmt.Sprintf("quietmount: %s, %.0f s", l.what, took.Seconds())
	if l.far != "" {
		s += ": " + l.far
	}
	fmt.Fprintf(l.w, "\r%-*.*s", shownWidth, shownWidth, s)
	l.there = true
}

// clear removes the line.
func (l *shownLine) clear() {
	if l.there {
		fmt.Fprintf(l.w, "\r%*s\r", shownWidth, "")
	}
	l.on, l.there = false, false
}

// farOf returns the progress of an evaluation in words.
func farOf(far func(string)) func(evaluate.Progress) {
	return func(p evaluate.Progress) {
		if p.Captures < p.OfCaptures {
			far(fmt.Sprintf("%d of %s read", p.Captures, phrase.Counted(p.OfCaptures, "capture")))
			return
		}
		far(fmt.Sprintf("%d of %s fitted", p.Maps, phrase.Counted(p.OfMaps, "map")))
	}
}

// opened reads a craft folder.
func opened(ctx context.Context, sh shell, dir string) (*logbook.Folder, error) {
	return computed(ctx, sh, "reading the folder", func(ctx context.Context, _ func(string)) (*logbook.Folder, error) {
		return logbook.OpenFolder(ctx, dir)
	})
}

// checked asks findings whether they may be trusted.
func checked(ctx context.Context, sh shell, found *evaluate.Findings) ([]gate.Check, error) {
	return computed(ctx, sh, "checking the survey", func(ctx context.Context, _ func(string)) ([]gate.Check, error) {
		return gate.Checks(ctx, found), ctx.Err()
	})
}

// ranked ranks the spots.
func ranked(ctx context.Context, sh shell, found *evaluate.Findings, o rank.Options) (*rank.Ranking, error) {
	return computed(ctx, sh, "ranking the spots", func(ctx context.Context, _ func(string)) (*rank.Ranking, error) {
		return rank.Rank(ctx, found, o)
	})
}
