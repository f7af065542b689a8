package live

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/live/serve"
	"quietmount/report/words"
	"quietmount/survey/logbook"
)

// runsView is what the runs panel shows.
type runsView struct {
	Runs    []runView  `json:"runs"`
	Open    *runDetail `json:"open"` // the run that was asked for; nil: none
	Walking bool       `json:"walking"`
	Linked  bool       `json:"linked"`
}

// runView is one run in a line.
type runView struct {
	Run        int      `json:"run"`
	State      string   `json:"state"`
	Proof      bool     `json:"proof"`
	Imported   bool     `json:"imported"`
	Pulsed     bool     `json:"pulsed"`
	Substitute bool     `json:"substitute"`
	CurrentA   *float64 `json:"current_a"`
	Started    string   `json:"started"`
	Session    string   `json:"session"`
	NoseDeg    *float64 `json:"nose_deg"`
	Captures   int      `json:"captures"` // that count
	Voided     int      `json:"voided"`
	Notes      int      `json:"notes"`
	Finished   bool     `json:"finished"`
	Warnings   []string `json:"warnings"` // of reading the file
}

// runDetail is the content of one run.
type runDetail struct {
	runView
	Probe       string        `json:"probe"`
	Calibration string        `json:"calibration"`
	Axes        bool          `json:"axes"` // it was known how the sensor lies
	Fitted      []string      `json:"fitted"`
	Confirmed   []string      `json:"confirmed"`
	Caught      []captureView `json:"capture_list"`
	Said        []noteView    `json:"note_list"`
}

type captureView struct {
	Number    int     `json:"capture"`
	Station   string  `json:"station"`
	Visit     string  `json:"visit"`
	Time      string  `json:"time"`
	Readings  int     `json:"readings"`
	StrengthU float64 `json:"magnitude_ut"`
	SDUT      float64 `json:"standard_uncertainty_ut"`
	Void      string  `json:"void"`
}

type noteView struct {
	Time    string `json:"time"`
	Kind    string `json:"kind"`
	Station string `json:"station"`
	Text    string `json:"text"`
}

func runsData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	asked, err := a.Form.Int("run", 0, 0, 999_999)
	if err != nil {
		return nil, err
	}
	v := runsView{Runs: []runView{}, Walking: a.work.Busy(), Linked: a.work.Probe.State().Connected}
	for _, r := range f.Runs {
		v.Runs = append(v.Runs, newRunView(r))
		if r.Header.Run == asked {
			v.Open = new(newRunDetail(r))
		}
	}
	if asked > 0 && v.Open == nil {
		return nil, serve.BadField("run", "%s", a.Words("runs.no_such", asked))
	}
	return v, nil
}

func newRunView(r *logbook.Run) runView {
	h := r.Header
	v := runView{
		Run: h.Run, State: h.State, Proof: h.Proof, Imported: h.Imported, Pulsed: h.Pulsed, Substitute: h.Substitute,
		Started: h.Started.Format("2006-01-02 15:04"), Session: h.Session, NoseDeg: h.NoseDeg, CurrentA: h.CurrentA,
		Captures: len(r.Valid()), Finished: r.Finished(), Warnings: []string{},
	}
	for _, w := range r.Warnings {
		v.Warnings = append(v.Warnings, words.Page.Placed(w))
	}
	v.Voided = len(r.Captures) - v.Captures
	for _, n := range r.Notes {
		if n.Kind == logbook.NoteText {
			v.Notes++
		}
	}
	return v
}

func newRunDetail(r *logbook.Run) runDetail {
	h := r.Header
	d := runDetail{
		runView: newRunView(r), Probe: h.Probe, Calibration: h.Calibration, Axes: h.Axes != nil,
		Fitted: h.Fitted, Confirmed: h.Confirmed,
	}
	for _, c := range r.Captures {
		d.Caught = append(d.Caught, captureView{
			Number: c.Number, Station: c.Station, Visit: string(c.Visit), Time: clockTime(c.Time), Readings: len(c.Samples),
			StrengthU: r3.Norm(c.BUT), SDUT: c.UncertaintyUT, Void: c.Void,
		})
	}
	for _, n := range r.Notes {
		d.Said = append(d.Said, noteView{clockTime(n.Time), string(n.Kind), n.Station, n.Text})
	}
	return d
}

func clockTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.TimeOnly)
}
