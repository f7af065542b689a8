package live

import (
	"bytes"
	"encoding/json"

	"quietmount/report/draw"
	"quietmount/report/picture"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// walkMap is the map as far as the runs of the folder go, the one under way
// included: the steady part during an unpowered walk, else that of the load.
// The picture carries its own uncertainty: hatching where it is large.
func walkMap(a Ask) (File, error) {
	f, err := a.Folder()
	if err != nil {
		return File{}, err
	}
	state, err := a.Form.Pick("state", f.Craft.States()...)
	if err != nil {
		return File{}, err
	}
	part := state
	if state == survey.StateUnpowered {
		part = "steady"
	}
	var answer struct {
		SVG string `json:"svg"`
		Why string `json:"why"` // there is no map yet
	}
	svg, err := a.Once("walk map "+part, func() (any, error) { return growingMap(f, part) })
	if err != nil {
		answer.Why = err.Error()
	} else {
		answer.SVG = string(svg.([]byte))
	}
	body, err := json.Marshal(answer)
	return File{Type: "application/json", Body: body}, err
}

// growingMap draws one part of the map from the runs of a folder.
func growingMap(f *survey.Folder, part string) ([]byte, error) {
	found, err := findings.Evaluate(f.Craft, f.Runs, findings.Options{})
	if err != nil {
		return nil, err
	}
	drawn, err := picture.Map(found, nil, picture.MapOptions{Part: part})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = drawn.Write(&b, draw.SVG)
	return b.Bytes(), err
}
