package live

import (
	"context"
	"errors"

	"quietmount/survey"
	"quietmount/survey/findings"
)

// Folder returns the craft folder as it is now. It is read again only when a
// file in it changed, and shared: do not change what it holds. The error is that
// of survey.OpenFolder: a *survey.NoCraftError, survey.CraftErrors, a damaged
// run.
func (b *bench) Folder() (*survey.Folder, error) {
	return within(context.Background(), b.cache, "folder", func(context.Context) (*survey.Folder, error) {
		return survey.OpenFolder(b.Dir)
	})
}

// findings returns the findings of the folder as it is now. Call it, and use the
// findings, within a computation only.
func (b *bench) findings(ctx context.Context) (*findings.Findings, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return within(ctx, b.cache, "findings", func(context.Context) (*findings.Findings, error) {
		f, err := b.Folder()
		if err != nil {
			return nil, err
		}
		return findings.Evaluate(f.Craft, f.Runs, findings.Options{})
	})
}

// ranking returns the findings with their ranking. The ranking is nil where
// nothing can be ranked, and why says the reason; err is that of findings. Call
// it within a computation only.
func (b *bench) ranking(ctx context.Context) (found *findings.Findings, ranking *findings.Ranking, why, err error) {
	if found, err = b.findings(ctx); err != nil {
		return nil, nil, nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, nil, err
	}
	ranking, why = within(ctx, b.cache, "ranking", func(context.Context) (*findings.Ranking, error) {
		return found.Rank(findings.RankOptions{})
	})
	if why != nil {
		ranking = nil
	}
	return found, ranking, why, nil
}

// unmeasured returns what a page says where an answer only needs more to be
// measured, which is no failure; empty: err is something else.
func (b *bench) unmeasured(err error) string {
	switch {
	case errors.Is(err, findings.ErrNoRuns):
		return b.Words("answer.no_runs")
	case errors.Is(err, findings.ErrNothing):
		return b.Words("answer.nothing")
	case errors.Is(err, findings.ErrNoMap), errors.Is(err, findings.ErrNoVectors):
		return b.Words("answer.no_vectors")
	}
	return ""
}
