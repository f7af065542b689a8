package answer

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/calib"
	"quietmount/magmath/remark"
)

func calibrateExample(accepted bool) CalibrateInput {
	r := calib.Result{
		Accepted: accepted, Chosen: remark.Remark{Code: "invented.model"}, Parameters: 4, Matrix: magmath.Identity(),
		OffsetUT: r3.Vec{X: 1, Y: -2, Z: 30}, OffsetStandardUT: r3.Vec{X: 0.1, Y: 0.2, Z: 0.3},
		ResidualUT: 0.5, FieldUT: 48, Ratio: 0.96, Samples: 400, SphereCovered: 0.5,
		Candidates: []calib.Candidate{{Parameters: 3, NoiseUT: math.Inf(1), LeftOutUT: math.Inf(1), TotalUT: math.Inf(1)}, {Parameters: 4, NoiseUT: 0.1, LeftOutUT: 0.2, TotalUT: 0.22}},
		Gap:        &calib.Hint{Turn: r3.Unit(r3.Vec{Y: -1, Z: -1}), AngleDeg: 55},
	}
	for i := range calib.Cells {
		if u := calib.CellDirection(i); u.Z > 0 {
			r.Coverage.Add(u)
		}
	}
	in := CalibrateInput{Result: r, ReferenceUT: 50, Source: "turn.csv"}
	if accepted {
		in.ID, in.File, in.Use = "0001", "calibration/0001.json", "quietmount survey . --calibration 0001"
	} else {
		in.Result.Refusals = []remark.Remark{remark.New("calib.flat", remark.Values{"angle_deg": 0})}
	}
	return in
}

func TestCalibrateAnswerJSON(t *testing.T) {
	var b bytes.Buffer
	if err := WriteJSON(&b, NewCalibrate(calibrateExample(true))); err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"offset_ut", "matrix", "residual_ut", "sphere_covered", "parameters", "offset_standard_uncertainty_ut", "samples", "rejected_samples", "accepted", "why"} {
		if _, ok := got[key]; !ok {
			t.Errorf("no key %s", key)
		}
	}
	first := got["candidates"].([]any)[0].(map[string]any)
	if first["total_ut"] != nil {
		t.Errorf("an infinite error is %v", first["total_ut"])
	}
}

func TestCalibrateAnswerText(t *testing.T) {
	for _, c := range []struct {
		accepted bool
		says     []string
	}{
		{true, []string{"x 1.00 +- 0.10  y -2.00 +- 0.20  z 30.00 +- 0.30 uT", "tip the arrow down and left", "stored as calibration 0001", "Use it: quietmount survey . --calibration 0001", "50 % of the sphere"}},
		{false, []string{"STOP: the probe was turned about one axis only", "nothing was stored"}},
	} {
		var b bytes.Buffer
		if err := NewCalibrate(calibrateExample(c.accepted)).Text(&b); err != nil {
			t.Fatal(err)
		}
		for _, s := range c.says {
			if !strings.Contains(b.String(), s) {
				t.Errorf("accepted %v: %q is not said in\n%s", c.accepted, s, b.String())
			}
		}
		if !c.accepted && strings.Contains(b.String(), "Use it") {
			t.Error("a refused calibration is offered for use")
		}
	}
}

// The upper half of the sphere shown fills the left disc and leaves the right
// one empty; both are drawn whole.
func TestCoverageRows(t *testing.T) {
	a := NewCalibrate(calibrateExample(true))
	rows := coverageRows(a.Cells)[1:]
	left, right := "", ""
	for _, row := range rows {
		row += strings.Repeat(" ", 40-len(row))
		left, right = left+row[:19], right+row[19:]
	}
	if strings.Count(left, "#") < 100 || strings.Contains(left, ".") || strings.Contains(right, "#") || strings.Count(right, ".") != strings.Count(left, "#") {
		t.Errorf("drawn\n%s", strings.Join(rows, "\n"))
	}
	// One cell about +x shows at the top of a disc, one about +y at its right.
	one := make([]int, calib.Cells)
	one[calib.Cell(r3.Vec{X: 1, Z: 0.25})] = 1
	if rows := coverageRows(one)[1:]; !strings.Contains(rows[0][:19], "#") && !strings.Contains(rows[1][:19], "#") {
		t.Errorf("+x is not at the top:\n%s", strings.Join(rows, "\n"))
	}
}
