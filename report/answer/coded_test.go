package answer_test

import (
	"encoding/json"
	"math"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/answer"
	"quietmount/report/words"
)

func TestCodedKeepsCodePlaceAndValuesAndNullsWhatIsNotFinite(t *testing.T) {
	r := remark.Remark{
		Code: "nowhere.known", Place: remark.Place{Run: 3, Station: "B2"},
		Values: remark.Values{"a_ut": 1.5, "b_ut": math.NaN(), "c_ut": math.Inf(1), "d_mm": []float64{1, math.NaN()}, "names": []string{"x"}, "count": 2},
	}
	got, err := json.Marshal(answer.CodedOf(words.Terminal, r))
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		Code   string
		Place  remark.Place
		Values map[string]any
		Text   string
	}
	if err := json.Unmarshal(got, &back); err != nil {
		t.Fatal(err)
	}
	if back.Code != r.Code || back.Place != r.Place || back.Text == "" {
		t.Errorf("got %s", got)
	}
	want := `{"a_ut":1.5,"b_ut":null,"c_ut":null,"count":2,"d_mm":[1,null],"names":["x"]}`
	if values, _ := json.Marshal(back.Values); string(values) != want {
		t.Errorf("values are %s, want %s", values, want)
	}
	if got, _ := json.Marshal(answer.CodedAll(words.Page, nil)); string(got) != "[]" {
		t.Errorf("no remarks give %s", got)
	}
}
