package live

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/live/serve"
	"quietmount/report/record"
	"quietmount/report/words"
	"quietmount/survey/progress"
	"quietmount/survey/verify"
)

// recordView is what the record panel shows.
type recordView struct {
	Missing  []missingStep `json:"missing"` // steps of the job that are not done
	Weak     []string      `json:"weak"`    // weak points that the sheet states
	Problems []string      `json:"problems"`
	Files    []fileView    `json:"files"`
	Ready    bool          `json:"ready"`
	Why      string        `json:"why"`     // why there is nothing to file yet
	Written  string        `json:"written"` // when the record in the folder was made; empty: there is none

	Progress computing `json:"progress"`
}

// missingStep is a step of the job that is not done, with the step of the path
// where it is done.
type missingStep struct {
	Name   string `json:"name"`
	Detail string `json:"detail"`
	Step   string `json:"step"`
}

type fileView struct {
	Name string `json:"name"`
	KB   int    `json:"kilobytes"`
}

// filed is a complete record.
type filed struct {
	files    []record.File
	weak     []string
	problems []string
}

func recordData(a asked) (any, error) {
	v := recordView{Missing: []missingStep{}, Weak: []string{}, Problems: []string{}, Files: []fileView{}}
	at, err := a.Job()
	if err != nil {
		return nil, err
	}
	for _, s := range at.Steps {
		if !s.Done && s.Kind != progress.Record {
			v.Missing = append(v.Missing, missingStep{answer.StepName(s), words.Page.Say(s.Detail), placesOf(s)[0]})
		}
	}
	if info, err := os.Stat(filepath.Join(a.Dir, filing.Folder, "sheet.html")); err == nil {
		v.Written = info.ModTime().Format(time.DateTime)
	}
	r, computing, err := a.filed(soon)
	if err != nil && a.unmeasured(err) == "" {
		return nil, err
	}
	v.Progress = computing
	if err != nil {
		v.Why = a.Words("record.nothing")
	}
	if r != nil {
		v.Ready, v.Weak = true, r.weak
		v.Problems = append(v.Problems, r.problems...)
		for _, f := range r.files {
			v.Files = append(v.Files, fileView{f.Name, (len(f.Data) + 999) / 1000})
		}
	}
	return v, nil
}

// filed makes the record; the same folder gives the same bytes. nil while it is
// being computed.
func (a asked) filed(p patience) (*filed, computing, error) {
	return computed(a, p, "record", func(ctx context.Context) (*filed, error) {
		found, ranking, _, err := a.ranking(ctx)
		if err != nil {
			return nil, err
		}
		all, err := a.Folder(ctx)
		if err != nil {
			return nil, err
		}
		o := record.Options{Command: "quietmount record", Tool: a.Tool}
		if err := filing.Gather(ctx, all, found, &o); err != nil {
			return nil, err
		}
		out := &filed{weak: record.Weaknesses(ctx, found, ranking, o)}
		for _, p := range o.Problems {
			if p.Severity == verify.SeverityError {
				out.problems = append(out.problems, p.String())
			}
		}
		out.files, err = record.Files(ctx, found, ranking, o)
		return out, err
	})
}

// recordFile answers with one file of the record.
func recordFile(a asked, name, media, download string) (serve.File, error) {
	r, _, err := a.filed(fully)
	if err != nil {
		return serve.File{}, err
	}
	for _, f := range r.files {
		if f.Name == name {
			return serve.File{Type: media, Body: f.Data, Download: download}, nil
		}
	}
	return serve.File{}, fmt.Errorf("the record has no %s", name)
}

func recordBundle(a asked) (serve.File, error) {
	r, _, err := a.filed(fully)
	if err != nil {
		return serve.File{}, err
	}
	zip, err := filing.Bundle(a.Ctx, a.Dir, r.files)
	return serve.File{Type: "application/zip", Body: zip, Download: "record-bundle.zip"}, err
}

// recordWrite writes the record into the craft folder.
func recordWrite(a asked) (any, error) {
	r, _, err := a.filed(fully)
	if a.unmeasured(err) != "" {
		return nil, errors.New(a.Words("record.nothing"))
	}
	if err != nil {
		return nil, err
	}
	if err := filing.Write(a.Dir, r.files); err != nil {
		return nil, err
	}
	return serve.Done{Say: a.Words("record.written", len(r.files))}, nil
}
