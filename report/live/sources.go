package live

import (
	"quietmount/report/answer"
)

// sourcesPanel says what causes the disturbances, and how far away is far
// enough.
func sourcesPanel() Panel {
	return Panel{Name: "sources", Step: StepMap, Data: sourcesData}
}

// sourcesView is what the sources panel shows.
type sourcesView struct {
	Answer   *answer.Sources `json:"answer"` // nil: not computed yet, or nothing measured
	Wait     string          `json:"wait"`
	Progress Progress        `json:"progress"`
}

func sourcesData(a Ask) (any, error) {
	v := sourcesView{}
	got, progress, err := a.Later(a.Ctx, "sources of all states", func() (any, error) {
		c, err := a.found()
		if err != nil {
			return nil, err
		}
		all, err := c.found.Sources()
		if err != nil {
			return nil, err
		}
		return new(answer.NewSources(c.found, all)), nil
	})
	v.Progress = progress
	if unmeasured(err) {
		v.Wait = err.Error()
		return v, nil
	}
	v.Answer, _ = got.(*answer.Sources)
	return v, err
}
