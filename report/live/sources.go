package live

import (
	"context"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/sources"
)

// sourcesView is what the sources panel shows.
type sourcesView struct {
	Answer   *answer.Sources `json:"answer"` // nil: not computed yet, or nothing measured
	Wait     string          `json:"wait"`
	Progress computing       `json:"progress"`
}

func sourcesData(a asked) (any, error) {
	v := sourcesView{}
	var err error
	v.Answer, v.Progress, err = computed(a, soon, "sources of all states", func(ctx context.Context) (*answer.Sources, error) {
		found, err := a.findings(ctx)
		if err != nil {
			return nil, err
		}
		all, err := sources.Find(ctx, found)
		if err != nil {
			return nil, err
		}
		return new(answer.NewSources(words.Page, found, all)), nil
	})
	if v.Wait = a.unmeasured(err); v.Wait != "" {
		return v, nil
	}
	return v, err
}
