package live

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/calib"
	"quietmount/magmath/heading"
	"quietmount/report/draw"
	"quietmount/report/picture"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/turn"
)

// calibratePanel guides the hand that turns the probe, and lists what is stored.
func calibratePanel() Panel {
	return Panel{
		Name: "calibrate", Step: StepCalibrate,
		Data: calibrateData,
		Actions: map[string]func(Ask) (any, error){
			"begin": calibrateBegin,
			"end":   func(a Ask) (any, error) { return guidedCommand(a, guide.CmdCapture, "calibrate.none") },
			"stop":  func(a Ask) (any, error) { return guidedCommand(a, guide.CmdStop, "calibrate.none") },
		},
		Files: map[string]func(Ask) (File, error){"picture": calibratePicture},
	}
}

// calibrateView is what the calibrate panel shows.
type calibrateView struct {
	Linked bool        `json:"linked"`
	Busy   bool        `json:"busy"` // the probe is in use by a run
	Halves [2]halfView `json:"halves"`
	Stored []calibView `json:"stored"` // the newest first
	UsualS int         `json:"usual_s"`
	Usual  int         `json:"usual_percent"`
}

// calibView is a stored calibration in a line.
type calibView struct {
	ID         string     `json:"id"`
	Created    string     `json:"created"`
	Probe      string     `json:"probe"`
	Source     string     `json:"source"`
	ScaleFrom  string     `json:"scale_from"`
	Parameters int        `json:"parameters"`
	OffsetUT   [3]float64 `json:"offset_ut"`
	ErrorUT    float64    `json:"expected_error_ut"`
	ResidualUT float64    `json:"residual_ut"`
	Covered    float64    `json:"sphere_covered"`
	OnCraft    bool       `json:"on_craft"`
	Pictured   bool       `json:"pictured"` // a picture can be drawn
	Used       []int      `json:"used_by_runs"`
	Why        string     `json:"why"` // it cannot be read
}

// halfView is a half of the sphere of directions, drawn: the one about sensor +z
// or the one about -z.
type halfView struct {
	N      int         `json:"n"`
	Cells  []cellShape `json:"cells"`
	Edges  [4]string   `json:"edges"` // what lies at the top, right, bottom and left
	Middle string      `json:"middle"`
}

// cellShape is a cell of equal area.
type cellShape struct {
	N    int    `json:"cell"`
	Path string `json:"path"`
}

func calibrateData(a Ask) (any, error) {
	v := calibrateView{
		Linked: a.probe.State().Connected, Busy: a.Walking(), Stored: []calibView{},
		UsualS: turn.UsualS, Usual: int(100 * turn.UsualCovered),
	}
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	v.Halves = halves(f.Craft.Measures().Axes, a.Words)
	ids, err := survey.CalibrationIDs(a.Dir())
	if err != nil {
		return nil, err
	}
	for _, id := range slices.Backward(ids) {
		v.Stored = append(v.Stored, newCalibView(a, f, id))
	}
	return v, nil
}

func newCalibView(a Ask, f *survey.Folder, id string) calibView {
	c, err := survey.LoadCalibration(a.Dir(), id)
	if err != nil {
		return calibView{ID: id, Why: err.Error()}
	}
	v := calibView{
		ID: id, Created: c.Created.Format("2006-01-02 15:04"), Probe: c.Probe, Source: c.Source, ScaleFrom: c.ScaleFrom,
		Parameters: c.Parameters, OffsetUT: c.OffsetUT, ErrorUT: c.ErrorUT, ResidualUT: c.ResidualUT, Covered: c.SphereCovered, OnCraft: c.OnCraft,
	}
	_, err = picture.Calibration(*c)
	v.Pictured = err == nil
	for _, r := range f.Runs {
		if r.Header.Calibration == id {
			v.Used = append(v.Used, r.Header.Run)
		}
	}
	return v
}

// halves are the two halves of the sphere as discs of radius 100, in Lambert's
// azimuthal equal-area projection about the sensor's z: x up, y to the right.
// They name what the field points to in the middle and at the edges: the case's
// own ways where the axes are known.
//
// Source: Snyder 1987, Map Projections: A Working Manual, U.S. Geological
// Survey Professional Paper 1395, ch. 24 (from memory).
func halves(axes *magmath.Mat3, say func(string, ...any) string) [2]halfView {
	way := func(v r3.Vec) string { return sphereWay(axes, v, say) }
	around := [4]string{way(r3.Vec{X: 1}), way(r3.Vec{Y: 1}), way(r3.Vec{X: -1}), way(r3.Vec{Y: -1})}
	out := [2]halfView{{N: 0, Edges: around, Middle: way(r3.Vec{Z: 1})}, {N: 1, Edges: around, Middle: way(r3.Vec{Z: -1})}}
	for i := range calib.Cells {
		up, low, from, to := calib.CellBounds(i)
		half := 0
		if i >= calib.Cells/2 {
			half, up, low = 1, -low, -up
		}
		path := wedge(100*math.Sqrt(max(0, 1-up)), 100*math.Sqrt(max(0, 1-low)), from, to)
		out[half].Cells = append(out[half].Cells, cellShape{i, path})
	}
	return out
}

// sphereWay names a direction of the sensor.
func sphereWay(axes *magmath.Mat3, v r3.Vec, say func(string, ...any) string) string {
	if axes != nil {
		return say("way." + string(heading.WayOf(axes.Apply(v))))
	}
	for i, x := range []float64{v.X, v.Y, v.Z} {
		switch {
		case x > 0:
			return "+" + "xyz"[i:i+1]
		case x < 0:
			return "−" + "xyz"[i:i+1]
		}
	}
	return ""
}

// wedge is a piece of a ring, angles from up towards the right.
func wedge(inner, outer, from, to float64) string {
	at := func(r, phi float64) string { return fmt.Sprintf("%.1f,%.1f", r*math.Sin(phi), -r*math.Cos(phi)) }
	large := 0
	if to-from > math.Pi {
		large = 1
	}
	s := fmt.Sprintf("M%s A%.1f,%.1f 0 %d 1 %s", at(outer, from), outer, outer, large, at(outer, to))
	if inner < 0.05 {
		return s + " L0,0 Z"
	}
	return s + fmt.Sprintf(" L%s A%.1f,%.1f 0 %d 0 %s Z", at(inner, to), inner, inner, large, at(inner, from))
}

// calibratePicture is the picture of a stored calibration.
func calibratePicture(a Ask) (File, error) {
	ids, err := survey.CalibrationIDs(a.Dir())
	if err != nil {
		return File{}, err
	}
	id, err := a.Form.Pick("id", ids...)
	if err != nil {
		return File{}, err
	}
	c, err := survey.LoadCalibration(a.Dir(), id)
	if err != nil {
		return File{}, err
	}
	p, err := picture.Calibration(*c)
	if err != nil {
		return File{}, err
	}
	var b bytes.Buffer
	err = p.Write(&b, draw.SVG)
	return File{Type: "image/svg+xml", Body: b.Bytes()}, err
}

// calibrateBegin reads the form and begins to turn.
func calibrateBegin(a Ask) (any, error) {
	f, err := a.Folder()
	if err != nil {
		return nil, err
	}
	o, err := calibrateOptions(a, f.Craft, a.Now())
	if err != nil {
		return nil, err
	}
	forS, err := a.Form.Number("for_s", turn.LeastS, turn.MostS)
	if err != nil {
		return nil, err
	}
	percent, err := a.Form.Number("covered_percent", 1, 100)
	if err != nil {
		return nil, err
	}
	seconds, enough := float64(turn.UsualS), turn.UsualCovered
	if forS != nil {
		seconds = *forS
	}
	if percent != nil {
		enough = *percent / 100
	}
	t := &turning{bench: a.Bench, craft: f.Craft, options: o, onCraft: a.Form.On("on_craft"), turn: turn.For(f.Craft, a.Now(), seconds, enough)}
	if err := t.begin(); err != nil {
		return nil, err
	}
	return Done{a.Words("calibrate.begun")}, nil
}

// calibrateOptions are the craft file's options with what the form changes.
func calibrateOptions(a Ask, craft *survey.Craft, now time.Time) (calib.Options, error) {
	o := survey.CalibrationOptions(craft, now)
	scales := map[string]calib.ScaleFrom{"auto": calib.FromEither, "reference": calib.FromReference, "probe": calib.FromProbe}
	if a.Form.Has("scale_from") {
		word, err := a.Form.Pick("scale_from", "auto", "reference", "probe")
		if err != nil {
			return o, err
		}
		o.Scale = scales[word]
	}
	if a.Form.Has("parameters") {
		word, err := a.Form.Pick("parameters", "auto", "3", "4", "6", "9")
		if err != nil {
			return o, err
		}
		if word != "auto" {
			o.Parameters = int(word[0] - '0')
		}
	}
	return o, nil
}
