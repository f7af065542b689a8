package live

import (
	"quietmount/report/draw"
	"quietmount/report/live/serve"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// panel is a serve.Panel whose functions are given the bench too.
type panel struct {
	name, step string // the step is one of the step constants
	data       func(asked) (any, error)
	actions    actions
	files      files
}

type (
	actions = map[string]func(asked) (any, error)
	files   = map[string]func(asked) (serve.File, error)
)

// asked is one request to a panel, and the bench.
type asked struct {
	*bench
	serve.Ask
}

// panels returns all panels of the page; those of one step stand below one
// another in this order.
func (b *bench) panels() []serve.Panel {
	var craft described
	var out []serve.Panel
	for _, p := range []panel{
		{name: "describe", step: stepDescribe, data: craft.data, files: files{"picture": craft.picture}},
		{name: "mark", step: stepMark, data: markData, files: files{"template": markTemplate}},
		{name: "link", step: stepLink, data: linkData, actions: actions{
			"connect":    linkConnect,
			"disconnect": linkDisconnect,
			"wiggle":     func(a asked) (any, error) { return serve.Done{}, a.work.Wiggle() },
		}},
		{name: "room", step: stepRoom, data: roomData},
		{name: "calibrate", step: stepCalibrate, data: calibrateData, actions: actions{
			"begin": calibrateBegin,
			"end":   func(a asked) (any, error) { return command(a, guide.Command{Kind: guide.CmdCapture}, "calibrate.none") },
			"stop":  func(a asked) (any, error) { return command(a, guide.Command{Kind: guide.CmdStop}, "calibrate.none") },
		}, files: files{"picture": calibratePicture}},
		{name: "walk", step: stepWalk, data: walkData, actions: actions{"begin": walkBegin, "command": walkCommand}, files: files{"map": walkMap}},
		{name: "runs", step: stepWalk, data: runsData},
		{name: "map", step: stepMap, data: mapData, files: files{
			"picture": mapPicture, "values": mapValues, "trust": mapTrust, "download": mapDownload,
		}},
		{name: "sources", step: stepMap, data: sourcesData},
		{name: "whatif", step: stepMap, data: whatifData, actions: actions{"try": whatifTry}, files: files{
			"before": func(a asked) (serve.File, error) { return whatifPicture(a, 0) },
			"after":  func(a asked) (serve.File, error) { return whatifPicture(a, 1) },
		}},
		{name: "compare", step: stepMap, data: compareData, files: files{"map": compareMap}},
		{name: "choose", step: stepChoose, data: chooseData, actions: actions{"spot": chooseSpot, "place": choosePlace}},
		{name: "prove", step: stepProve, data: proveData, actions: actions{"begin": proveBegin, "settle": proveSettle}},
		{name: "glue", step: stepGlue, data: glueData, files: files{"template": glueTemplate}},
		{name: "arrow", step: stepGlue, data: arrowData, actions: actions{
			"begin":   arrowBegin,
			"resume":  func(a asked) (any, error) { return poseResume(a, logbook.SwingArrow) },
			"command": poseCommand,
			"store":   arrowStore,
		}},
		{name: "swing", step: stepGlue, data: swingData, actions: actions{
			"begin":   swingBegin,
			"resume":  func(a asked) (any, error) { return poseResume(a, logbook.SwingHeadings) },
			"command": poseCommand,
		}, files: files{
			"card": func(a asked) (serve.File, error) { return swingCard(a, draw.SVG, "image/svg+xml", "") },
			"pdf": func(a asked) (serve.File, error) {
				return swingCard(a, draw.PDF, "application/pdf", "deviation-card.pdf")
			},
		}},
		{name: "record", step: stepFile, data: recordData, actions: actions{"write": recordWrite}, files: files{
			"sheet": func(a asked) (serve.File, error) { return recordFile(a, "sheet.html", "text/html; charset=utf-8", "") },
			"html": func(a asked) (serve.File, error) {
				return recordFile(a, "sheet.html", "text/html; charset=utf-8", "sheet.html")
			},
			"pdf":    func(a asked) (serve.File, error) { return recordFile(a, "sheet.pdf", "application/pdf", "sheet.pdf") },
			"bundle": recordBundle,
		}},
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
