package live

import (
	"bytes"
	"errors"
	"fmt"
	"net/url"
	"slices"

	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/picture"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// comparePanel compares two surveys.
func comparePanel() Panel {
	return Panel{
		Name: "compare", Step: StepMap,
		Data:  compareData,
		Files: map[string]func(Ask) (File, error){"map": compareMap},
	}
}

// compareView is what the compare panel shows.
type compareView struct {
	Runs    []compareRun    `json:"runs"` // that can be named
	Parts   []string        `json:"parts"`
	Part    string          `json:"part"`
	Answer  *answer.Compare `json:"answer"`  // nil: nothing was asked yet
	Problem *failure        `json:"problem"` // why there is none
	Summary string          `json:"summary"`
	Verdict string          `json:"verdict"`
	Picture string          `json:"picture"` // address of the map

	Progress Progress `json:"progress"`
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

// mostSides bounds the runs that a page can name on one side.
const mostSides = 64

func compareData(a Ask) (any, error) {
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	v := compareView{Runs: []compareRun{}, Parts: compareParts(f)}
	before, after, err := sides(a, f)
	if err == nil {
		v.Part, err = comparePart(a, f)
	}
	if err == nil && len(before) > 0 {
		err = v.compare(a, f, before, after)
	}
	v.problem(err)
	for _, r := range f.Runs {
		if r.Header.State != survey.StateBackground && !r.Header.Proof {
			v.Runs = append(v.Runs, compareRun{newRunView(r), slices.Contains(before, r), slices.Contains(after, r)})
		}
	}
	return v, nil
}

// problem keeps the form on the page, with what is wrong beside it.
func (v *compareView) problem(err error) {
	if err == nil {
		return
	}
	v.Problem = &failure{Error: err.Error()}
	if bad, ok := errors.AsType[*FieldError](err); ok {
		v.Problem = &failure{bad.Msg, bad.Field}
	}
}

func (v *compareView) compare(a Ask, f *survey.Folder, before, after []*survey.Run) error {
	c, progress, err := compareSides(a, f, before, after, v.Part, a.Later)
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

// compareParts are the parts that can be compared.
func compareParts(f *survey.Folder) []string {
	parts := []string{findings.PartSteady}
	for _, l := range f.Craft.Loads {
		parts = append(parts, l.Name)
	}
	return parts
}

func comparePart(a Ask, f *survey.Folder) (string, error) {
	if !a.Form.Has("part") {
		return "", nil
	}
	return a.Form.Pick("part", compareParts(f)...)
}

// sides are the runs that the form names; both empty where it names none.
func sides(a Ask, f *survey.Folder) (before, after []*survey.Run, err error) {
	if before, err = side(a, f, "before"); err != nil {
		return nil, nil, err
	}
	if after, err = side(a, f, "after"); err != nil {
		return nil, nil, err
	}
	for _, r := range before {
		if slices.Contains(after, r) {
			return nil, nil, badField("after", "%s", a.Words("compare.both", r.Header.Run))
		}
	}
	if (len(before) == 0) != (len(after) == 0) {
		return nil, nil, badField("before", "%s", a.Words("compare.one_side"))
	}
	return before, after, nil
}

func side(a Ask, f *survey.Folder, field string) ([]*survey.Run, error) {
	names, err := a.Form.All(field, mostSides)
	if err != nil {
		return nil, err
	}
	var out []*survey.Run
	for _, name := range names {
		i := slices.IndexFunc(f.Runs, func(r *survey.Run) bool { return fmt.Sprint(r.Header.Run) == name })
		if i < 0 {
			return nil, badField(field, "%s", a.Words("compare.no_run", fmt.Sprintf("%.20q", name)))
		}
		if !slices.Contains(out, f.Runs[i]) {
			out = append(out, f.Runs[i])
		}
	}
	return out, nil
}

// compareSides compares once as long as the folder stays the same; nil while
// that is under way.
func compareSides(a Ask, f *survey.Folder, before, after []*survey.Run, part string, wait waiting) (*compared, Progress, error) {
	key := fmt.Sprintf("compare %v %v %q", runNumbers(before), runNumbers(after), part)
	kept, progress, err := wait(a.Ctx, key, func() (any, error) {
		o := findings.CompareOptions{Part: part}
		choice, err := survey.Chosen(f.Dir)
		if err != nil {
			return nil, err
		}
		if choice != nil {
			o.Spot = new(findings.ChosenPlace(choice))
		}
		found, err := findings.Compare(f.Craft, f.Runs, before, after, o)
		if err != nil {
			return nil, err
		}
		c := &compared{answer: answer.NewCompare(found, choice != nil)}
		var b bytes.Buffer
		err = picture.Change(found).Write(&b, draw.SVG)
		c.picture = b.Bytes()
		return c, err
	})
	if err != nil || kept == nil {
		return nil, progress, err
	}
	return kept.(*compared), progress, nil
}

func runNumbers(runs []*survey.Run) []int {
	var out []int
	for _, r := range runs {
		out = append(out, r.Header.Run)
	}
	slices.Sort(out)
	return out
}

func compareMap(a Ask) (File, error) {
	f, err := a.Folder()
	if err != nil {
		return File{}, err
	}
	before, after, err := sides(a, f)
	if err != nil {
		return File{}, err
	}
	if len(before) == 0 {
		return File{}, badField("before", "%s", a.Words("compare.one_side"))
	}
	part, err := comparePart(a, f)
	if err != nil {
		return File{}, err
	}
	c, _, err := compareSides(a, f, before, after, part, a.patiently)
	if err != nil {
		return File{}, err
	}
	return File{Type: "image/svg+xml", Body: c.picture}, nil
}
