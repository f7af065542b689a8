package live

import (
	"context"
	"fmt"
	"net/url"
	"slices"

	"quietmount/report/answer"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/compare"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// compareView is what the compare panel shows.
type compareView struct {
	Runs    []compareRun    `json:"runs"` // that can be named
	Parts   []string        `json:"parts"`
	Part    string          `json:"part"`
	Answer  *answer.Compare `json:"answer"`  // nil: nothing was asked yet
	Problem *serve.Failure  `json:"problem"` // why there is none
	Summary string          `json:"summary"`
	Verdict string          `json:"verdict"`
	Picture string          `json:"picture"` // address of the map

	Progress computing `json:"progress"`
}

type compareRun struct {
	runView
	Before bool `json:"before"`
	After  bool `json:"after"`
}

// compared is a comparison and its map, kept together.
type compared struct {
	answer  answer.Compare
	picture []byte
}

// mostSides bounds the runs on one side of a comparison.
const mostSides = 64

func compareData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v := compareView{Runs: []compareRun{}, Parts: compareParts(f)}
	before, after, err := runsAsked(a, f)
	if err == nil {
		v.Part, err = comparePart(a, f)
	}
	if err == nil && len(before) > 0 {
		err = v.compare(a, f, before, after)
	}
	if err != nil { // the form stays, with what is wrong beside it
		v.Problem = new(serve.FailureOf(err))
	}
	for _, r := range f.Runs {
		if r.Header.State != survey.StateBackground && !r.Header.Proof {
			v.Runs = append(v.Runs, compareRun{newRunView(r), slices.Contains(before, r), slices.Contains(after, r)})
		}
	}
	return v, nil
}

func (v *compareView) compare(a asked, f *logbook.Folder, before, after []*logbook.Run) error {
	c, progress, err := compareRuns(a, f, before, after, v.Part, soon)
	v.Progress = progress
	if err != nil || c == nil {
		return err
	}
	v.Answer, v.Summary, v.Verdict = &c.answer, c.answer.Summary(), c.answer.VerdictWords()
	query := url.Values{"part": {v.Part}}
	for _, r := range before {
		query.Add("before", fmt.Sprint(r.Header.Run))
	}
	for _, r := range after {
		query.Add("after", fmt.Sprint(r.Header.Run))
	}
	v.Picture = "/file/compare/map?" + query.Encode()
	return nil
}

// compareParts returns the parts that can be compared.
func compareParts(f *logbook.Folder) []string {
	return append([]string{compare.PartSteady}, loadNames(f.Craft)...)
}

func comparePart(a asked, f *logbook.Folder) (string, error) {
	if !a.Form.Has("part") {
		return "", nil
	}
	return a.Form.Pick("part", compareParts(f)...)
}

// runsAsked returns the runs that the form names; both lists are empty if it names
// none.
func runsAsked(a asked, f *logbook.Folder) (before, after []*logbook.Run, err error) {
	if before, err = runsOf(a, f, "before"); err != nil {
		return nil, nil, err
	}
	if after, err = runsOf(a, f, "after"); err != nil {
		return nil, nil, err
	}
	for _, r := range before {
		if slices.Contains(after, r) {
			return nil, nil, serve.BadField("after", "%s", a.Words("compare.both", r.Header.Run))
		}
	}
	if (len(before) == 0) != (len(after) == 0) {
		return nil, nil, serve.BadField("before", "%s", a.Words("compare.one_side"))
	}
	return before, after, nil
}

func runsOf(a asked, f *logbook.Folder, field string) ([]*logbook.Run, error) {
	names, err := a.Form.All(field, mostSides)
	if err != nil {
		return nil, err
	}
	var out []*logbook.Run
	for _, name := range names {
		i := slices.IndexFunc(f.Runs, func(r *logbook.Run) bool { return fmt.Sprint(r.Header.Run) == name })
		if i < 0 {
			return nil, serve.BadField(field, "%s", a.Words("compare.no_run", fmt.Sprintf("%.20q", name)))
		}
		if !slices.Contains(out, f.Runs[i]) {
			out = append(out, f.Runs[i])
		}
	}
	return out, nil
}

// compareRuns returns a comparison; nil while it is being computed.
func compareRuns(a asked, f *logbook.Folder, before, after []*logbook.Run, part string, p patience) (*compared, computing, error) {
	key := fmt.Sprintf("compare %v %v %q", runNumbers(before), runNumbers(after), part)
	return computed(a, p, key, func(ctx context.Context) (*compared, error) {
		o := compare.Options{Part: part}
		choice, err := logbook.Chosen(f.Dir)
		if err != nil {
			return nil, err
		}
		if choice != nil {
			o.Spot = new(rank.ChosenMount(choice))
		}
		found, err := compare.Compare(ctx, f.Craft, f.Runs, before, after, o)
		if err != nil {
			return nil, err
		}
		drawn, err := picture.Change(ctx, found)
		if err != nil {
			return nil, err
		}
		picture, err := svg(drawn)
		return &compared{answer.NewCompare(words.Page, found, choice != nil), picture}, err
	})
}

func runNumbers(runs []*logbook.Run) []int {
	var out []int
	for _, r := range runs {
		out = append(out, r.Header.Run)
	}
	slices.Sort(out)
	return out
}

func compareMap(a asked) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	before, after, err := runsAsked(a, f)
	if err != nil {
		return serve.File{}, err
	}
	if len(before) == 0 {
		return serve.File{}, serve.BadField("before", "%s", a.Words("compare.one_side"))
	}
	part, err := comparePart(a, f)
	if err != nil {
		return serve.File{}, err
	}
	c, _, err := compareRuns(a, f, before, after, part, fully)
	if err != nil {
		return serve.File{}, err
	}
	return serve.File{Type: "image/svg+xml", Body: c.picture}, nil
}
