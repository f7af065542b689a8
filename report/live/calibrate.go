package live

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/calib"
	"quietmount/report/draw"
	"quietmount/report/live/conduct"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/survey"
	"quietmount/survey/calibrate"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

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

func calibrateData(a asked) (any, error) {
	v := calibrateView{
		Linked: a.work.Probe.State().Connected, Busy: a.work.Busy(), Stored: []calibView{},
		UsualS: calibrate.UsualS, Usual: int(100 * calibrate.UsualCovered),
	}
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	v.Halves = halves(f.Craft.MeasuringModule().Axes, a.Words)
	ids, err := logbook.CalibrationIDs(a.Dir)
	if err != nil {
		return nil, err
	}
	for _, id := range slices.Backward(ids) {
		v.Stored = append(v.Stored, newCalibView(a, f, id))
	}
	return v, nil
}

func newCalibView(a asked, f *logbook.Folder, id string) calibView {
	c, err := logbook.LoadCalibration(a.Dir, id)
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

// halves returns the two halves of the sphere as discs of radius 100, in Lambert's
// azimuthal equal-area projection about the sensor's z: x up, y to the right.
// Middle and edges are named by sensor axes, or by sides of the case where the
// axes are known.
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

// sphereWay names a direction in sensor axes.
func sphereWay(axes *magmath.Mat3, v r3.Vec, say func(string, ...any) string) string {
	if axes != nil {
		return say("way." + string(arrow.WayOf(axes.Apply(v))))
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

// wedge returns the path of a piece of a ring; angles go from up to the right.
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

// calibratePicture answers with the picture of a stored calibration.
func calibratePicture(a asked) (serve.File, error) {
	ids, err := logbook.CalibrationIDs(a.Dir)
	if err != nil {
		return serve.File{}, err
	}
	id, err := a.Form.Pick("id", ids...)
	if err != nil {
		return serve.File{}, err
	}
	c, err := logbook.LoadCalibration(a.Dir, id)
	if err != nil {
		return serve.File{}, err
	}
	p, err := picture.Calibration(*c)
	if err != nil {
		return serve.File{}, err
	}
	var b bytes.Buffer
	err = p.Write(&b, draw.SVG)
	return serve.File{Type: "image/svg+xml", Body: b.Bytes()}, err
}

// calibrateBegin reads the form and begins a calibration. Fields change the options
// of the craft file.
func calibrateBegin(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	in, o := serve.Fields{Form: a.Form}, calibrate.Options(f.Craft, a.Now())
	if in.Has("scale_from") {
		word := in.Pick("scale_from", "auto", "reference", "probe")
		o.Scale = map[string]calib.ScaleFrom{"auto": calib.FromEither, "reference": calib.FromReference, "probe": calib.FromProbe}[word]
	}
	if in.Has("parameters") {
		if word := in.Pick("parameters", "auto", "3", "4", "6", "9"); word != "auto" && in.Err == nil {
			o.Parameters = int(word[0] - '0')
		}
	}
	seconds := in.NumberOr("for_s", calibrate.UsualS, calibrate.LeastS, calibrate.MostS)
	enough := in.NumberOr("covered_percent", 100*calibrate.UsualCovered, 1, 100) / 100
	if in.Err != nil {
		return nil, in.Err
	}
	err = a.work.Turn(conduct.Turn{
		Craft: f.Craft, Options: o, OnCraft: a.Form.On("on_craft"), Turn: calibrate.For(f.Craft, a.Now(), seconds, enough),
		Compare: func() (*swing.Comparison, error) { return a.compareWithMap(f.Craft) },
	})
	if err != nil {
		return nil, err
	}
	return serve.Done{Say: a.Words("calibrate.begun")}, nil
}

// compareWithMap compares the newest calibration of the finished craft with the
// map. It is called when the request that began the turn is over.
func (b *bench) compareWithMap(craft *survey.Craft) (*swing.Comparison, error) {
	later := asked{b, serve.Ask{Ctx: b.cache.ctx}}
	c, _, err := computed(later, fully, "promise", func(ctx context.Context) (*swing.Comparison, error) {
		found, err := b.findings(ctx)
		if err != nil {
			return nil, err
		}
		choice, err := logbook.Chosen(b.Dir)
		if err != nil {
			return nil, err
		}
		return swing.Compare(b.Dir, craft.Module.Name, found, choice)
	})
	return c, err
}
