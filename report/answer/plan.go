package answer

import (
	"io"
	"math"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
)

// Plan is the answer of `survey --plan`.
type Plan struct {
	State    string    `json:"state"`
	Pulsed   bool      `json:"pulsed"`
	Minutes  float64   `json:"minutes"`
	Stations int       `json:"stations"`
	Visits   []visit   `json:"visits"`
	Warnings []string  `json:"warnings"`
	Cautions []string  `json:"cautions"`
	Load     *loadPlan `json:"load"` // what a pulsed run of a load can prove; null for other runs
}

type loadPlan struct {
	CurrentA      *float64 `json:"current_a"`
	MaxCurrentA   *float64 `json:"max_current_a"`
	Pulses        int      `json:"pulses"`
	UncertaintyUT float64  `json:"standard_uncertainty_ut"`
	AllowedUT     float64  `json:"allowed_ut"`
	NeededA       *float64 `json:"needed_current_a"`
	NeededPulses  int      `json:"needed_pulses"`
	Enough        bool     `json:"enough"`
	Why           string   `json:"why"`
	Coded         Coded    `json:"why_coded"`
}

type visit struct {
	Station string `json:"station"`
	Visit   string `json:"visit"`
	placed
}

// NewPlan lists the visits of a route.
func NewPlan(craft *survey.Craft, state string, route guide.Route) Plan {
	_, cautions := guide.ChecklistFor(craft, state, route.Pulsed)
	a := Plan{
		State: state, Pulsed: route.Pulsed, Minutes: math.Ceil(route.Minutes()), Stations: route.Stations(),
		Visits: []visit{}, Warnings: words.Terminal.All(route.Warnings), Cautions: words.Terminal.All(cautions),
	}
	for _, v := range route.Visits {
		a.Visits = append(a.Visits, visit{v.Station.Name, string(v.Kind), placedAt(v.Station.At)})
	}
	return a
}

// ForLoad adds what the run can prove, worded for a face.
func (a *Plan) ForLoad(face words.Face, p evaluate.LoadPlan) {
	a.Load = &loadPlan{
		CurrentA: positive(p.CurrentA), MaxCurrentA: positive(p.MaxCurrentA), Pulses: p.Pulses,
		UncertaintyUT: say.Tidy(p.UncertaintyUT), AllowedUT: say.Tidy(p.AllowedUT),
		NeededA: positive(p.NeededA), NeededPulses: p.NeededPulses, Enough: p.Enough,
		Why: face.Say(p.Why), Coded: CodedOf(face, p.Why),
	}
}

// Text prints the route a visit a line.
func (a Plan) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("%s: %s, %s, about %.0f minutes", a.State, say.Counted(a.Stations, "station"), say.Counted(len(a.Visits), "capture"), a.Minutes)
	p.Line("")
	for i, v := range a.Visits {
		why := ""
		if v.Visit != string(logbook.VisitStation) {
			why = v.Visit
		}
		p.Line("%4d  %-10s x %6.0f  y %6.0f  z %6.0f mm  %s", i+1, v.Station, v.Xmm, v.Ymm, v.Zmm, why)
	}
	p.Line("")
	if a.Load != nil {
		p.Sentence("How much is enough: " + a.Load.Why + ".")
	}
	for _, c := range a.Cautions {
		p.Line("- %s", c)
	}
	for _, warning := range a.Warnings {
		p.Line("Note: %s", warning)
	}
	return p.Err()
}
