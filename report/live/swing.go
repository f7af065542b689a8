package live

import (
	"bytes"
	"errors"
	"net/url"
	"strconv"

	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// swingView is what the swing panel shows.
type swingView struct {
	Linked       bool          `json:"linked"`
	Busy         bool          `json:"busy"`
	Calibrations []string      `json:"calibrations"`
	Loads        []string      `json:"loads"`
	Stored       []storedSwing `json:"stored"` // the newest first
	Number       int           `json:"number"` // of the one that is shown; 0: there is none
	Before       int           `json:"before"` // of the one it is compared with
	Answer       *answer.Swing `json:"answer"`
	Why          string        `json:"why"`   // why there is none
	Early        bool          `json:"early"` // the newest was stopped early and can be resumed
	Limit        limitView     `json:"limit"`
	Exact        bool          `json:"exact"` // fitted values and card by the exact form
	Card         string        `json:"card"`  // address of the card as it is shown
	PDF          string        `json:"pdf"`   // and to print
}

type storedSwing struct {
	Number   int    `json:"number"`
	Taken    string `json:"taken"`
	Headings int    `json:"headings"`
	State    string `json:"state"`
}

func swingData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v := swingView{Linked: a.work.Probe.State().Connected, Busy: a.work.Busy(), Stored: []storedSwing{}, Loads: loadNames(f.Craft)}
	v.Limit, v.Exact = limitAsked(a, f.Craft, "s-limit"), a.Form.On("exact")
	if v.Calibrations, err = logbook.CalibrationIDs(a.Dir); err != nil {
		return nil, err
	}
	all, err := logbook.LoadSwings(a.Dir)
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.Swing.What == logbook.SwingHeadings {
			one := storedSwing{s.Header.Run, s.Header.Started.Format("2006-01-02 15:04"), len(s.Valid()), s.Swing.State}
			v.Stored = append([]storedSwing{one}, v.Stored...)
			v.Early = !s.Finished()
		}
	}
	err = v.fill(a, f)
	return v, err
}

// fill shows the swing that the form asks for, and what it is compared with.
func (v *swingView) fill(a asked, f *logbook.Folder) error {
	shown, err := swingAsked(a, "number")
	if err != nil || shown == nil {
		return err
	}
	v.Number = shown.Header.Run
	in, err := answer.StoredSwing(a.Ctx, words.Page, shown, v.Limit.Deg, v.Exact)
	if err != nil {
		v.Why = err.Error()
		return nil
	}
	in.File = shortFile(shown)
	swung := answer.NewSwing(in)
	v.Answer = &swung
	v.Card, v.PDF = v.file("card"), v.file("pdf")
	if !a.Form.Has("before") {
		return nil
	}
	before, err := swingAsked(a, "before")
	if err != nil || before == nil || before.Header.Run == v.Number {
		return err
	}
	earlier, err := answer.StoredSwing(a.Ctx, words.Page, before, v.Limit.Deg, v.Exact)
	if err != nil {
		v.Why = err.Error()
		return nil
	}
	v.Before = before.Header.Run
	swung.Against(v.Before, earlier.Swing, in.Swing)
	return nil
}

// file returns the address of the card with the panel's settings.
func (v *swingView) file(key string) string {
	q := url.Values{"number": {strconv.Itoa(v.Number)}, "limit_deg": {strconv.FormatFloat(v.Limit.Deg, 'f', -1, 64)}}
	if v.Exact {
		q.Set("exact", "on")
	}
	return "/file/swing/" + key + "?" + q.Encode()
}

// swingAsked returns the swing that a field names, or the newest; nil if there is
// none.
func swingAsked(a asked, field string) (*logbook.SwingFile, error) {
	n, err := a.Form.Int(field, 0, 0, 999_999)
	if err != nil {
		return nil, err
	}
	found, err := swing.Newest(a.Dir, logbook.SwingHeadings, n)
	if err == nil && found == nil && n > 0 {
		return nil, serve.BadField(field, "%s", a.Words("swing.no_such", n))
	}
	return found, err
}

func swingCard(a asked, format draw.Format, media, download string) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	shown, err := swingAsked(a, "number")
	if err != nil {
		return serve.File{}, err
	}
	if shown == nil {
		return serve.File{}, errors.New(a.Words("swing.none"))
	}
	limit := limitAsked(a, f.Craft, "")
	if limit.Problem != nil {
		return serve.File{}, limit.Problem
	}
	in, err := answer.StoredSwing(a.Ctx, words.Page, shown, limit.Deg, a.Form.On("exact"))
	if err != nil {
		return serve.File{}, err
	}
	var b bytes.Buffer
	err = picture.DeviationCard(f.Craft.Name, answer.NewSwing(in)).Write(&b, format)
	return serve.File{Type: media, Body: b.Bytes(), Download: download}, err
}

// swingBegin reads the form and begins a swing.
func swingBegin(a asked) (any, error) {
	s, err := poseSetup(a)
	if err != nil {
		return nil, err
	}
	ref, err := swingReference(a, s.Folder.Craft)
	if err != nil {
		return nil, err
	}
	text, err := a.Form.Text("headings", 400)
	if err != nil {
		return nil, err
	}
	if text == "" {
		text = "8"
	}
	headings, err := swing.CountedHeadings(text)
	if err != nil {
		return nil, serve.BadField("headings", "%v", err)
	}
	in, h := serve.Fields{Form: a.Form}, &s.Header
	h.What, h.Reference, h.ZeroDeg, h.ZeroSUDeg = logbook.SwingHeadings, ref.Kind, ref.ZeroDeg, ref.SUDeg
	h.Relative, h.ReferenceFrom, h.HeadingSU = ref.Relative, words.Terminal.Say(ref.From), in.NumberOr("heading_su_deg", 1, 0.05, 30)
	if in.Has("state") { // the load that is on while the craft is swung
		h.State = in.Pick("state", append(loadNames(s.Folder.Craft), survey.StateUnpowered)...)
		if current := in.Number("current_a", 0.001, 1000); current != nil && h.State != survey.StateUnpowered {
			h.CurrentA = current
		}
	}
	if in.Err != nil {
		return nil, in.Err
	}
	s.Route = swing.HeadingRoute(headings)
	return serve.Done{}, a.work.Pose(s, nil)
}

// swingReference returns what the directions of the marks come from.
func swingReference(a asked, craft *survey.Craft) (swing.Reference, error) {
	in, kind := serve.Fields{Form: a.Form}, logbook.ReferenceMarks
	if in.Has("reference") {
		kind = in.Pick("reference", logbook.ReferenceMarks, logbook.ReferenceLine, logbook.ReferenceSun, "relative")
	}
	direction := in.Number("direction_deg", -360, 360)
	if in.Err != nil {
		return swing.Reference{}, in.Err
	}
	if direction == nil && (kind == logbook.ReferenceLine || kind == logbook.ReferenceSun) {
		return swing.Reference{}, serve.BadField("direction_deg", "%s", a.Words("swing.direction_wanted"))
	}
	switch kind {
	case "relative":
		return swing.Marks(0, true), nil
	case logbook.ReferenceLine:
		return swing.SiteOf(craft, a.Now()).Line(*direction), nil
	case logbook.ReferenceSun:
		ref, err := swing.SiteOf(craft, a.Now()).Sun(*direction, a.Now())
		if err != nil {
			return swing.Reference{}, serve.BadField("direction_deg", "%v", err)
		}
		return ref, nil
	}
	if direction == nil {
		return swing.Marks(0, false), nil
	}
	return swing.Marks(*direction, false), nil
}
