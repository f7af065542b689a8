package live

import (
	"context"
	"errors"

	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sources"
)

// Folder returns the craft folder as it is now. It is read again only when a
// file in it changed, and shared: do not change what it holds. The error is that
// of logbook.OpenFolder: a *craftfile.MissingError, craftfile.Mistakes, a damaged
// run.
func (b *bench) Folder(ctx context.Context) (*logbook.Folder, error) {
	return within(ctx, b.cache, "folder", func(ctx context.Context) (*logbook.Folder, error) {
		return logbook.OpenFolder(ctx, b.Dir)
	})
}

// findings returns the findings of the folder as it is now. Call it, and use the
// findings, within a computation only.
func (b *bench) findings(ctx context.Context) (*evaluate.Findings, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return within(ctx, b.cache, "findings", func(ctx context.Context) (*evaluate.Findings, error) {
		f, err := b.Folder(ctx)
		if err != nil {
			return nil, err
		}
		return evaluate.Evaluate(ctx, f.Craft, f.Runs, evaluate.Options{})
	})
}

// ranking returns the findings with their ranking. The ranking is nil where
// nothing can be ranked, and why says the reason; err is that of findings. Call
// it within a computation only.
func (b *bench) ranking(ctx context.Context) (found *evaluate.Findings, ranking *rank.Ranking, why, err error) {
	if found, err = b.findings(ctx); err != nil {
		return nil, nil, nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, nil, err
	}
	ranking, why = within(ctx, b.cache, "ranking", func(context.Context) (*rank.Ranking, error) {
		return rank.Rank(ctx, found, rank.Options{})
	})
	if why != nil {
		ranking = nil
	}
	return found, ranking, why, nil
}

// checks returns the checks of the findings. Call it within a computation only.
func (b *bench) checks(ctx context.Context, found *evaluate.Findings) ([]gate.Check, error) {
	return within(ctx, b.cache, "checks", func(ctx context.Context) ([]gate.Check, error) {
		return gate.Checks(ctx, found), ctx.Err()
	})
}

// unmeasured returns what a page says where an answer only needs more to be
// measured, which is no failure; empty: err is something else.
func (b *bench) unmeasured(err error) string {
	switch {
	case errors.Is(err, evaluate.ErrNoRuns):
		return b.Words("answer.no_runs")
	case errors.Is(err, evaluate.ErrNothing):
		return b.Words("answer.nothing")
	case errors.Is(err, rank.ErrNoMap), errors.Is(err, sources.ErrNoVectors):
		return b.Words("answer.no_vectors")
	}
	return ""
}
