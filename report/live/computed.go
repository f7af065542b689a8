package live

import (
	"errors"

	"quietmount/report/picture"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// computed keeps the findings of a folder and their ranking: most answers begin
// with them. It is used within a computation of Bench.Once only.
type computed struct {
	folder  *survey.Folder // whose they are
	found   *findings.Findings
	ranking *findings.Ranking // nil: nothing can be ranked
	why     error             // then: why not
}

// found are the findings and ranking of the folder as it is now.
func (b *Bench) found() (*computed, error) {
	f, err := b.Folder()
	if err != nil {
		return nil, err
	}
	if b.computed != nil && b.computed.folder == f {
		return b.computed, nil
	}
	c := &computed{folder: f}
	if c.found, err = findings.Evaluate(f.Craft, f.Runs, findings.Options{}); err != nil {
		return nil, err
	}
	if c.ranking, c.why = c.found.Rank(findings.RankOptions{}); c.why != nil {
		c.ranking = nil
	}
	b.computed = c
	return c, nil
}

// ranked are findings with their ranking, for pictures.
func (c *computed) ranked() picture.Ranked {
	return picture.Ranked{Findings: c.found, Ranking: c.ranking}
}

// unmeasured says that an answer must wait for the walk, which is no failure.
func unmeasured(err error) bool {
	return errors.Is(err, findings.ErrNoRuns) || errors.Is(err, findings.ErrNothing) ||
		errors.Is(err, findings.ErrNoMap) || errors.Is(err, findings.ErrNoVectors)
}
