package live

import (
	"bytes"

	"quietmount/report/live/serve"
	"quietmount/report/template"
	"quietmount/survey/logbook"
)

// glueView is what the glue panel shows.
type glueView struct {
	Chosen *chosenView `json:"chosen"` // nil: no spot is chosen
}

func glueData(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	chosen, err := storedChoice(a, f)
	return glueView{chosen}, err
}

// glueTemplate answers with the PDF of the chosen spot, dated as that of the stations.
func glueTemplate(a asked) (serve.File, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return serve.File{}, err
	}
	side, paper, err := printing(a)
	if err != nil {
		return serve.File{}, err
	}
	choice, err := logbook.LoadChoice(a.Dir)
	if err != nil {
		return serve.File{}, err
	}
	var b bytes.Buffer
	err = template.WriteSpot(&b, f.Craft, template.ChosenSpot(choice), template.Options{
		Side: side, Paper: paper, Date: fileDate(f.Craft, a.Now()), Tool: a.Tool,
	})
	return serve.File{Type: "application/pdf", Body: b.Bytes(), Download: "glue-" + string(side) + ".pdf"}, err
}
