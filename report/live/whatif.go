package live

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/magmath/source"
	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/rank"
	"quietmount/survey/whatif"
)

// whatifView is what the what-if panel shows.
type whatifView struct {
	Plan     *whatifPlan    `json:"plan"`
	Grades   []string       `json:"grades"`
	Axes     []answer.Axis  `json:"axes"`
	Loads    []string       `json:"loads"`
	SurfZ    float64        `json:"surface_z_mm"`
	CableMM  float64        `json:"cable_mm"`
	Changes  []triedChange  `json:"changes"`
	Parts    []string       `json:"parts"` // of the map
	Part     string         `json:"part"`
	Pairs    []sideBySide   `json:"-"`
	Shown    [2]*forecast   `json:"-"` // before, after
	Old      string         `json:"old_best"`
	Before   *shownPicture  `json:"before"`
	After    *shownPicture  `json:"after"`
	Answer   *answer.WhatIf `json:"answer"`
	Problem  string         `json:"problem"` // why the changes that were asked for are not tried
	Wait     string         `json:"wait"`
	Progress computing      `json:"progress"`
}

// triedChange is one of the changes that are tried together. Query is how the
// page sends it back.
type triedChange struct {
	Words string `json:"words"`
	Part  string `json:"part,omitempty"` // of the craft file
	Query string `json:"change"`
	kind  string
}

// forecast is one side of a comparison in a sentence.
type forecast struct {
	Verdict   string
	Qualified bool
}

// sideBySide holds the spots of one rank before and after.
type sideBySide struct {
	Rank          int
	Before, After spotBrief
}

type spotBrief struct {
	There         bool
	X, Y          float64
	Near          string
	Error, Steady string
	Within        bool
}

// whatifPlan is the craft with what can be moved on it.
type whatifPlan struct {
	*craftPlan
	Parts []planPart `json:"parts"`
	Added []point    `json:"added"` // magnets that are tried
	Leads []string   `json:"leads"` // routes that are tried
	Size  float64    `json:"size"`
}

// planPart is a part of the craft file. The grip of a lead is half way along it; a
// move gives the place of its first point, at FirstX, FirstY from the grip.
type planPart struct {
	point
	FirstX float64 `json:"first_x"`
	FirstY float64 `json:"first_y"`
	Z      float64 `json:"z_mm"`
	Route  string  `json:"route"` // points of a lead; empty: a thing
	Moved  *point  `json:"moved"` // where it is without the trial, if that moves it
	Gone   bool    `json:"gone"`  // the trial takes it away
}

// whatIf is a computed prediction.
type whatIf struct {
	answer   answer.WhatIf
	parts    []string
	part     string
	pictures [2]*draw.Picture // nil: the part has no map
}

func whatifData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	t, err := readTrial(a.Form, f.Craft)
	why := ""
	if err != nil { // the craft file may have changed: drop the trial rather than show nothing
		t, why = &trial{}, err.Error()
	}
	v := whatifView{Problem: why, Grades: source.Grades(), Axes: answer.Axes(), SurfZ: f.Craft.Body.SurfaceZMM, CableMM: f.Craft.Module.CableMM, Plan: newWhatifPlan(f.Craft, t), Changes: t.shown}
	v.Loads = loadNames(f.Craft)
	if len(t.shown) == 0 {
		return v, nil
	}
	part, err := triedPart(a.Form, f.Craft)
	if err != nil {
		return nil, err
	}
	w, progress, err := a.whatIf(soon, t, part)
	v.Progress = progress
	if v.Wait = a.unmeasured(err); v.Wait != "" {
		return v, nil
	}
	if err != nil || w == nil {
		return v, err
	}
	v.fill(w, t.query(part))
	return v, nil
}

// fill puts an answer into the view. query is the trial that it was asked by.
func (v *whatifView) fill(w *whatIf, query string) {
	v.Answer, v.Parts, v.Part, v.Old = &w.answer, w.parts, w.part, w.answer.OldBestWords()
	for i, side := range []answer.Rank{w.answer.Before, w.answer.After} {
		v.Shown[i] = &forecast{side.Verdict(), side.Qualified}
	}
	const most = 5
	for i := range min(most, max(len(w.answer.Before.Spots), len(w.answer.After.Spots))) {
		v.Pairs = append(v.Pairs, sideBySide{i + 1, briefSpot(w.answer.Before, i), briefSpot(w.answer.After, i)})
	}
	if w.pictures[0] != nil {
		v.Before = pictureAt(w.pictures[0], "/file/whatif/before?"+query)
		v.After = pictureAt(w.pictures[1], "/file/whatif/after?"+query)
	}
}

func briefSpot(a answer.Rank, i int) spotBrief {
	if i >= len(a.Spots) {
		return spotBrief{}
	}
	s := a.Spots[i]
	out := spotBrief{There: true, X: s.Xmm, Y: s.Ymm, Near: s.NearestStation, Error: "–", Steady: "–", Within: s.WithinBudget}
	if s.Shifting != nil {
		out.Error = answer.Degrees(s.Shifting.Upper95) + "°"
	}
	if s.SteadyUT != nil {
		out.Steady = fmt.Sprintf("%.1f µT", s.SteadyUT.Upper95)
	}
	return out
}

// newWhatifPlan lays out the parts that can be dragged.
func newWhatifPlan(c *survey.Craft, t *trial) *whatifPlan {
	p := &whatifPlan{craftPlan: newPlan(c)}
	p.Size = max(p.Box[2], p.Box[3]) / 60
	for _, part := range c.Parts {
		switch {
		case part.AtMM != nil:
			p.Parts = append(p.Parts, planPart{point: point{part.Name, part.AtMM.Y, -part.AtMM.X}, Z: part.AtMM.Z})
		case len(part.PathMM) > 0:
			p.Parts = append(p.Parts, leadOnPlan(part))
		}
	}
	p.try(t.Changes)
	for _, m := range t.Changes.AddMagnets {
		p.Added = append(p.Added, point{X: m.AtMM.Y, Y: -m.AtMM.X})
	}
	for _, l := range t.Changes.AddLeads {
		p.Leads = append(p.Leads, route(l.PathMM))
	}
	return p
}

// try moves parts to where the changes put them.
func (p *whatifPlan) try(c whatif.Changes) {
	for i := range p.Parts {
		part := &p.Parts[i]
		part.Gone = slices.Contains(c.Without, part.Name)
		for _, m := range c.Moves {
			if m.Part == part.Name {
				part.Moved = new(part.point)
				part.X, part.Y, part.Z = m.ToMM.Y-part.FirstX, -m.ToMM.X-part.FirstY, m.ToMM.Z
			}
		}
	}
}

func leadOnPlan(lead survey.Part) planPart {
	first, n := lead.PathMM[0], len(lead.PathMM)
	a, b := lead.PathMM[(n-1)/2], lead.PathMM[n/2]
	if n == 1 {
		b = a
	}
	grip := r3.Scale(0.5, r3.Add(a, b))
	return planPart{
		point: point{lead.Name, grip.Y, -grip.X}, FirstX: first.Y - grip.Y, FirstY: grip.X - first.X,
		Z: first.Z, Route: route(lead.PathMM),
	}
}

func route(path []r3.Vec) string {
	flat := make(plane.Polygon, len(path))
	for i, p := range path {
		flat[i].X, flat[i].Y = p.X, p.Y
	}
	return points(flat)
}

// triedPart returns the part of the map to show; empty: the part that the changes
// affect.
func triedPart(f serve.Form, c *survey.Craft) (string, error) {
	if !f.Has("part_shown") {
		return "", nil
	}
	return f.Pick("part_shown", append(loadNames(c), picture.PartShifting, picture.PartSteady)...)
}

// whatIf returns the prediction of a trial.
func (a asked) whatIf(p patience, t *trial, part string) (*whatIf, computing, error) {
	return computed(a, p, "whatif "+t.query(part), func(ctx context.Context) (*whatIf, error) {
		found, ranking, why, err := a.ranking(ctx)
		if err = cmp.Or(err, why); err != nil {
			return nil, err
		}
		after, notes, err := whatif.Predict(ctx, found, t.Changes)
		if err != nil {
			return nil, err
		}
		now, err := rank.Rank(ctx, after, rank.Options{})
		if err != nil {
			return nil, err
		}
		w := &whatIf{answer: answer.NewWhatIf(ctx, words.Page, t.Trial, notes, found, after, ranking, now), part: part}
		for _, p := range picture.MapParts(found) {
			if p.Name != picture.PartMagnitude {
				w.parts = append(w.parts, p.Name)
			}
		}
		if w.part == "" {
			w.part = touched(t.Changes, w.parts)
		}
		before := picture.Ranked{Findings: found, Ranking: ranking}
		pair, err := picture.MapPair(ctx, before, picture.Ranked{Findings: after, Ranking: now}, picture.MapOptions{Part: w.part})
		if err == nil { // a part that was not measured has no map; the rankings stand
			w.pictures = pair
		}
		return w, ctx.Err()
	})
}

// touched returns the part that changes affect first: leads change the shifting
// part, magnets the steady one.
func touched(c whatif.Changes, parts []string) string {
	want := picture.PartSteady
	if len(c.AddLeads) > 0 {
		want = picture.PartShifting
	}
	for _, p := range parts {
		if p == want {
			return want
		}
	}
	return strings.Join(parts[:min(1, len(parts))], "")
}

func whatifPicture(a asked, side int) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	t, err := readTrial(a.Form, f.Craft)
	if err != nil {
		return serve.File{}, err
	}
	part, err := triedPart(a.Form, f.Craft)
	if err != nil {
		return serve.File{}, err
	}
	w, _, err := a.whatIf(fully, t, part)
	if err != nil {
		return serve.File{}, err
	}
	if w.pictures[side] == nil {
		return serve.File{}, fmt.Errorf("%s", a.Words("whatif.no_map"))
	}
	return svgFile(a, w.pictures[side])
}
