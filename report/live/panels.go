package live

import (
	"quietmount/report/live/serve"
	"quietmount/survey"
)

// panel is a serve.Panel whose functions are given the bench too.
type panel struct {
	name, step string // the step is one of the step constants
	data       func(asked) (any, error)
	actions    map[string]func(asked) (any, error)
	files      map[string]func(asked) (serve.File, error)
}

// asked is one request to a panel, and the bench.
type asked struct {
	*bench
	serve.Ask
}

// panels returns all panels of the page; those of one step stand below one
// another in this order.
func (b *bench) panels() []serve.Panel {
	var out []serve.Panel
	for _, p := range []panel{
		describePanel(),
		markPanel(),
		linkPanel(),
		roomPanel(),
		calibratePanel(),
		walkPanel(),
		runsPanel(),
		mapPanel(),
		sourcesPanel(),
		whatifPanel(),
		comparePanel(),
		choosePanel(),
		provePanel(),
		arrowPanel(),
		swingPanel(),
		recordPanel(),
	} {
		out = append(out, serve.Panel{
			Name: p.name, Step: p.step, Data: withBench(b, p.data), Actions: allWithBench(b, p.actions), Files: allWithBench(b, p.files),
		})
	}
	return out
}

func withBench[T any](b *bench, do func(asked) (T, error)) func(serve.Ask) (T, error) {
	return func(a serve.Ask) (T, error) { return do(asked{b, a}) }
}

func allWithBench[T any](b *bench, all map[string]func(asked) (T, error)) map[string]func(serve.Ask) (T, error) {
	out := map[string]func(serve.Ask) (T, error){}
	for name, do := range all {
		out[name] = withBench(b, do)
	}
	return out
}

// loadNames returns the names of the craft's loads; empty, not nil, if it has
// none.
func loadNames(c *survey.Craft) []string {
	names := make([]string, len(c.Loads))
	for i, l := range c.Loads {
		names[i] = l.Name
	}
	return names
}
