package picture

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/survey"
	"quietmount/survey/compare"
)

func TestChangePicture(t *testing.T) {
	c := example.Comparison(t)
	p := changed(t, c)
	first := written(t, p, draw.SVG)
	if !bytes.Equal(first, written(t, changed(t, c), draw.SVG)) {
		t.Error("the same comparison gives other bytes")
	}
	if bytes.Contains(first, []byte("no value: the sensor")) {
		t.Error("a place without a value on a craft without a lead on its surface")
	}
	for _, want := range []string{"NOSE", "LEFT", "RIGHT", "+", "µT"} {
		if !bytes.Contains(first, []byte(want)) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	for _, f := range []draw.Format{draw.PNG, draw.PDF} {
		if n := len(written(t, p, f)); n < 1000 {
			t.Errorf("%s: %d bytes", f, n)
		}
	}
}

// Where the sensor would be on a lead there is no change to show, and the legend
// says so.
func TestChangePictureOnALead(t *testing.T) {
	c := *example.Comparison(t)
	before, craft := *c.Before, *c.Before.Craft
	z := craft.Surface().Z(0, 0)
	craft.Parts = append(slices.Clone(craft.Parts), survey.Part{Name: "lead", PathMM: []r3.Vec{{X: -80, Z: z}, {X: 80, Z: z}}})
	before.Craft, c.Before = &craft, &before
	if !strings.Contains(string(written(t, changed(t, &c), draw.SVG)), "no value: the sensor") {
		t.Error("a change is shown on a lead")
	}
}

func changed(t *testing.T, c *compare.Comparison) *draw.Picture {
	t.Helper()
	p, err := Change(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
