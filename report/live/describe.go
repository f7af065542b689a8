package live

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
)

// described keeps the last craft that could be read: its drawing stays while a
// mistake is corrected.
type described struct {
	mu   sync.Mutex
	last *survey.Craft
}

// describeView is what the describe panel shows.
type describeView struct {
	File     string           `json:"file"`
	Missing  string           `json:"missing"` // why there is no craft file, and what to do
	Lines    []tomlLine       `json:"lines"`
	Cut      int              `json:"lines_not_shown"`
	Faults   []fault          `json:"faults"`
	Sections []section        `json:"sections"`
	Remarks  []string         `json:"remarks"`
	Others   []answer.Problem `json:"other_files"` // what is wrong elsewhere in the folder
	Progress computing        `json:"progress"`
	Picture  *shownPicture    `json:"picture"`
	Old      bool             `json:"picture_is_old"` // it shows the file as it was before it broke
}

// tomlLine is a line of the craft file. A faulty one is cut around the
// character at fault.
type tomlLine struct {
	Number int    `json:"line"`
	Text   string `json:"text"` // before the fault, if there is one
	Fault  string `json:"fault"`
	After  string `json:"after"`
	Faulty bool   `json:"faulty"`
}

// fault is one mistake in the craft file.
type fault struct {
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Text   string `json:"text"`
	Hint   string `json:"hint"`
}

// section is the first line of a table of the craft file.
type section struct {
	Line int    `json:"line"`
	Name string `json:"name"`
}

// Bounds of what is shown of a craft file.
const (
	mostCraftBytes = 1 << 20
	mostCraftLines = 3000
)

func (d *described) data(a asked) (any, error) {
	v := describeView{File: filepath.Join(a.Dir, craftfile.Name), Lines: []tomlLine{}, Faults: []fault{}}
	craft, err := craftfile.Load(a.Dir)
	if _, missing := errors.AsType[*craftfile.MissingError](err); missing {
		v.Missing = a.Words("describe.missing")
		return v, nil
	}
	text, readErr := readBounded(v.File, mostCraftBytes)
	if readErr != nil {
		return nil, readErr
	}
	list, ok := errors.AsType[craftfile.Mistakes](err)
	switch {
	case ok:
		for _, e := range list {
			v.Faults = append(v.Faults, fault{e.Line, e.Column, e.Msg, e.Hint})
		}
	case err != nil:
		v.Faults = append(v.Faults, fault{Text: err.Error()})
	default:
		v.Remarks = words.Page.All(craft.Remarks)
	}
	v.show(text)
	if last := d.keep(craft); last != nil {
		v.Old = craft == nil
		v.Picture = pictureAt(picture.Description(last), "/file/describe/picture?v="+last.SHA256[:min(12, len(last.SHA256))])
	}
	v.Others, v.Progress, err = otherProblems(a)
	return v, err
}

// keep stores a craft that could be read, nil for none, and returns the last one.
func (d *described) keep(c *survey.Craft) *survey.Craft {
	d.mu.Lock()
	defer d.mu.Unlock()
	if c != nil {
		d.last = c
	}
	return d.last
}

// otherProblems returns the problems of all files except the craft file. It is
// computed in the background, since it reads all runs.
func otherProblems(a asked) ([]answer.Problem, computing, error) {
	all, p, err := computed(a, soon, "describe others", func(ctx context.Context) ([]answer.Problem, error) {
		return filing.Problems(ctx, a.Dir, words.Page), ctx.Err()
	})
	var out []answer.Problem
	for _, p := range all {
		if p.File != craftfile.Name {
			out = append(out, p)
		}
	}
	return out, p, err
}

func readBounded(name string, most int64) (string, error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most))
	return strings.ToValidUTF8(string(text), "\ufffd"), err
}

// show cuts the file into lines and marks the faults.
func (v *describeView) show(text string) {
	at := map[int]fault{}
	for _, f := range v.Faults {
		if _, taken := at[f.Line]; !taken {
			at[f.Line] = f
		}
	}
	n := 0
	for line := range strings.Lines(text) {
		n++
		line = strings.TrimRight(line, "\r\n")
		if head := strings.TrimSpace(line); strings.HasPrefix(head, "[") && !strings.HasPrefix(head, "[[]") {
			name, _, _ := strings.Cut(strings.TrimLeft(head, "["), "]") // without what follows it
			v.Sections = append(v.Sections, section{n, strings.TrimSpace(name)})
		}
		if n > mostCraftLines {
			v.Cut++
			continue
		}
		f, faulty := at[n]
		v.Lines = append(v.Lines, cutLine(n, line, f.Column, faulty))
	}
}

// cutLine cuts a faulty line around its column, counted from 1 in characters; a
// column beyond the end marks the end.
func cutLine(n int, line string, column int, faulty bool) tomlLine {
	if !faulty {
		return tomlLine{Number: n, Text: line}
	}
	r := []rune(line)
	i := min(max(column-1, 0), len(r))
	j := min(i+1, len(r))
	out := tomlLine{Number: n, Text: string(r[:i]), Fault: string(r[i:j]), After: string(r[j:]), Faulty: true}
	if out.Fault == "" {
		out.Fault = " "
	}
	return out
}

func (d *described) picture(a asked) (serve.File, error) {
	craft := d.keep(nil)
	if craft == nil {
		var err error
		if craft, err = craftfile.Load(a.Dir); err != nil {
			return serve.File{}, fmt.Errorf("no picture: %w", err)
		}
	}
	return svgFile(a, picture.Description(craft))
}
