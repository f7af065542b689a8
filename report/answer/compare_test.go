package answer

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"quietmount/report/internal/example"
	"quietmount/report/words"
)

func TestCompareAnswer(t *testing.T) {
	c := example.Comparison(t)
	var b bytes.Buffer
	a := NewCompare(words.Terminal, c, false)
	if err := WriteJSON(&b, a); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Stations []struct {
			Name     string     `json:"name"`
			Change   [3]float64 `json:"change_ut"`
			P        *float64   `json:"p_value"`
			Changed  *bool      `json:"significant"`
			BeforeUT [3]float64 `json:"before_ut"`
		} `json:"stations"`
		Changed bool            `json:"changed"`
		Common  json.RawMessage `json:"common_change"`
		Verdict string          `json:"verdict"`
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if !got.Changed || len(got.Common) < 10 || (got.Verdict != VerdictStands && got.Verdict != VerdictFalls) {
		t.Errorf("changed %v, verdict %q", got.Changed, got.Verdict)
	}
	if len(got.Stations) != len(c.Stations) || got.Stations[0].P == nil || got.Stations[0].Changed == nil {
		t.Errorf("%d stations in the answer, %d compared", len(got.Stations), len(c.Stations))
	}
	var words strings.Builder
	if err := a.Text(&words); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"changed", "new magnet", "cannot be told from another", got.Verdict} {
		if !strings.Contains(strings.Join(strings.Fields(words.String()), " "), want) {
			t.Errorf("the text lacks %q:\n%s", want, words.String())
		}
	}
}
