package picture

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"

	"quietmount/magmath/calib"
	"quietmount/report/draw"
	"quietmount/survey/logbook"
)

// turned is a calibration for which the probe was turned everywhere but where
// the field comes along -z and +y.
func turned() logbook.Calibration {
	c := logbook.Calibration{ID: "0002", Probe: "puck", Accepted: true, Parameters: 6, ErrorUT: 0.31, Samples: 400, SphereCovered: 0.8, AttitudesCovered: 0.9,
		Cells: make([]int, calib.Cells), LargestGap: "tip the arrow down and left, about 60 degrees"}
	missing := r3.Unit(r3.Vec{Y: 0.6, Z: -0.8})
	for i := range c.Cells {
		u := calib.CellDirection(i)
		if r3.Dot(u, missing) < 0.6 {
			c.Cells[i] = 1
			c.Directions = append(c.Directions, [3]float64{u.X, u.Y, u.Z})
		}
	}
	return c
}

func calibrationPicture(t *testing.T, c logbook.Calibration) *draw.Picture {
	t.Helper()
	p, err := Calibration(c)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The projection keeps equal areas equal: each cell has 1/42 of its half's disc. Shoelace formula; arcs of twelve steps fall short by
// less than a hundredth.
func TestCellsHaveEqualAreasOnPaper(t *testing.T) {
	want := math.Pi * sphereRadius * sphereRadius / (calib.Cells / 2)
	for i := range calib.Cells {
		got := math.Abs(draw.Area(cellOutline(i, vg.Point{X: 200, Y: 100})))
		if math.Abs(got/want-1) > 0.01 {
			t.Errorf("cell %d: %.1f square points, want %.1f", i, got, want)
		}
	}
}

// By hand: the pole in the middle; x up, y to the right; the equator on the rim;
// 60 degrees off the pole at 1/sqrt(2) of the way, the radius being that times
// 2 sin(30).
func TestSpherePlace(t *testing.T) {
	sin, cos := math.Sincos(math.Pi / 3)
	for u, want := range map[r3.Vec][2]float64{
		{Z: 1}: {0, 0}, {Z: -3}: {0, 0}, {X: 2}: {0, 1}, {Y: 1}: {1, 0}, {X: -1}: {0, -1},
		{Y: sin, Z: cos}: {math.Sqrt2 * 0.5, 0}, {X: sin, Z: -cos}: {0, math.Sqrt2 * 0.5},
	} {
		at := spherePlace(u, vg.Point{X: 10, Y: 20})
		x, y := (at.X.Points()-10)/sphereRadius, (at.Y.Points()-20)/sphereRadius
		if math.Abs(x-want[0]) > 1e-9 || math.Abs(y-want[1]) > 1e-9 {
			t.Errorf("%v at %.3f, %.3f, want %v", u, x, y, want)
		}
	}
}

// What was not shown is dark with lines at the right of the second half, and
// nowhere in the first nor at the left.
func TestCalibrationPictureIsTheRightWayRound(t *testing.T) {
	p := calibrationPicture(t, turned())
	img, err := p.Pixels(150)
	if err != nil {
		t.Fatal(err)
	}
	k := float64(img.Bounds().Dx()) / p.Width.Points()
	dark := func(half int, u r3.Vec) float64 { // share of dark pixels around a direction
		y := 0.0
		for _, l := range p.Layout() {
			if strings.HasPrefix(l, "half below") {
				y = numberAfter(t, l, ", ")
			}
		}
		at := spherePlace(u, vg.Point{X: p.Width / 4 * vg.Length(1+2*half), Y: vg.Points(y)})
		n := 0
		for dx := -8; dx <= 8; dx++ {
			for dy := -8; dy <= 8; dy++ {
				if r, _, _, _ := img.At(int(at.X.Points()*k)+dx, int((p.Height-at.Y).Points()*k)+dy).RGBA(); r < 0x8000 {
					n++
				}
			}
		}
		return float64(n) / (17 * 17)
	}
	gap := dark(1, calib.CellDirection(calib.Cell(r3.Vec{Y: 0.6, Z: -0.8})))
	for name, other := range map[string]float64{
		"left of the same half": dark(1, calib.CellDirection(calib.Cell(r3.Vec{Y: -0.8, Z: -0.6}))),
		"right of the other":    dark(0, calib.CellDirection(calib.Cell(r3.Vec{Y: 0.6, Z: 0.8}))),
	} {
		if gap < other+0.05 {
			t.Errorf("the gap is %.2f dark, %s %.2f", gap, name, other)
		}
	}
}

func numberAfter(t *testing.T, line, mark string) float64 {
	t.Helper()
	_, rest, ok := strings.Cut(line, mark)
	word, _, _ := strings.Cut(rest, ":")
	v := 0.0
	if _, err := fmt.Sscan(word, &v); err != nil || !ok {
		t.Fatalf("no number after %q in %q", mark, line)
	}
	return v
}

func TestMissingSide(t *testing.T) {
	cells := func(shown func(u r3.Vec) bool) []int {
		out := make([]int, calib.Cells)
		for i := range out {
			if shown(calib.CellDirection(i)) {
				out[i] = 1
			}
		}
		return out
	}
	for _, c := range []struct {
		shown func(u r3.Vec) bool
		want  string
	}{
		{func(r3.Vec) bool { return true }, ""},
		{func(r3.Vec) bool { return false }, "on every side"},
		{func(u r3.Vec) bool { return u.Z > -0.5 }, "along the sensor's −z"},
		{func(u r3.Vec) bool { return r3.Dot(u, r3.Unit(r3.Vec{X: 1, Y: -1})) < 0.6 }, "along the sensor's +x and −y"},
		{func(u r3.Vec) bool { return math.Abs(u.Z) < 0.5 }, "on no particular side"},
	} {
		if got := missingSide(cells(c.shown)); !strings.HasSuffix(got, c.want) || c.want == "" && got != "" {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestCalibrationPictureWords(t *testing.T) {
	d := calibrationPicture(t, turned()).Description()
	for _, want := range []string{"tip the arrow down and left", "sensor's +y and −z", "80 % of the sphere"} {
		if !strings.Contains(d, want) {
			t.Errorf("%q is missing in %q", want, d)
		}
	}
	no := turned()
	no.Accepted, no.Why = false, "turned about one axis only"
	if d := calibrationPicture(t, no).Description(); !strings.Contains(d, "Not accepted: turned about one axis only.") {
		t.Errorf("got %q", d)
	}
	if _, err := Calibration(logbook.Calibration{ID: "0001"}); !errors.Is(err, errNoCoverage) || !strings.Contains(err.Error(), "0001") {
		t.Errorf("got %v", err)
	}
}
