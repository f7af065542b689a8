package picture

import (
	"bytes"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/draw"
	"quietmount/report/internal/example"
	"quietmount/survey"
)

func TestChangePicture(t *testing.T) {
	c := example.Comparison(t)
	var first []byte
	for range 2 {
		var b bytes.Buffer
		if err := Change(c).Write(&b, draw.SVG); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Error("the same comparison gives other bytes")
		}
	}
	for _, want := range []string{"NOSE", "LEFT", "RIGHT", "+", "µT"} {
		if !bytes.Contains(first, []byte(want)) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	for _, f := range []draw.Format{draw.PNG, draw.PDF} {
		var b bytes.Buffer
		if err := Change(c).Write(&b, f); err != nil || b.Len() < 1000 {
			t.Errorf("%s: %d bytes, %v", f, b.Len(), err)
		}
	}
}

// Where the sensor would be on a lead there is no change to show, and the
// legend says so; elsewhere it does not.
func TestChangePictureOnALead(t *testing.T) {
	c := example.Comparison(t)
	drawn := func() string {
		var b bytes.Buffer
		if err := Change(c).Write(&b, draw.SVG); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	if strings.Contains(drawn(), "no value: the sensor") {
		t.Error("a place without a value on a craft without a lead on its surface")
	}
	z := c.Before.Craft.Surface().Z(0, 0)
	c.Before.Craft.Parts = append(c.Before.Craft.Parts, survey.Part{Name: "lead", PathMM: []r3.Vec{{X: -80, Z: z}, {X: 80, Z: z}}})
	if !strings.Contains(drawn(), "no value: the sensor") {
		t.Error("a change is shown on a lead")
	}
}
