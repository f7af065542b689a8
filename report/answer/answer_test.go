package answer

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/report/internal/example"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// jsonOf is an answer as scripts see it.
func jsonOf(t *testing.T, v any) map[string]any {
	t.Helper()
	var b bytes.Buffer
	if err := WriteJSON(&b, v); err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(b.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func hasKeys(t *testing.T, what string, got any, keys ...string) map[string]any {
	t.Helper()
	m, ok := got.(map[string]any)
	if !ok {
		t.Fatalf("%s is no object: %v", what, got)
	}
	for _, k := range keys {
		if _, ok := m[k]; !ok {
			t.Errorf("%s lacks %s", what, k)
		}
	}
	return m
}

func TestMapAnswer(t *testing.T) {
	f, _ := example.RankedBoard()
	f.Stations[3].Shifting, f.Stations[3].ShiftingError = nil, nil
	a := hasKeys(t, "map", jsonOf(t, NewMap(words.Terminal, f, nil)), "basis", "stations", "left_out")
	if a["basis"] != "vector" {
		t.Errorf("basis %v", a["basis"])
	}
	stations, _ := a["stations"].([]any)
	if len(stations) != len(f.Stations) {
		t.Fatalf("%d stations, want %d", len(stations), len(f.Stations))
	}
	for i, s := range stations {
		m := hasKeys(t, "station", s, "name", "x_mm", "y_mm", "z_mm", "steady_ut", "shifting_ut", "magnitude_difference_ut",
			"steady_heading_error_deg", "shifting_heading_error_deg", "steady_covariance_ut2", "shifting_covariance_ut2")
		want := f.Stations[i]
		if m["name"] != want.Station.Name || m["x_mm"] != want.Station.At.X || m["y_mm"] != want.Station.At.Y {
			t.Errorf("station %v, want %v", m, want.Station)
		}
		if (m["shifting_ut"] == nil) != (i == 3) || (m["shifting_heading_error_deg"] == nil) != (i == 3) {
			t.Errorf("station %d: shifting %v", i, m["shifting_ut"])
		}
	}
	left := hasKeys(t, "left_out", a["left_out"], "shifting")
	hasKeys(t, "left_out.shifting", left["shifting"], "rmse_ut", "inside95_fraction")
}

func TestRankAnswer(t *testing.T) {
	f, r := example.RankedBoard()
	r.Spots[1].CableMM, r.Spots[1].CGXMM = math.NaN(), math.NaN()
	a := hasKeys(t, "rank", jsonOf(t, NewRank(words.Terminal, f, r)), "spots", "excluded", "next_stations")
	spots, _ := a["spots"].([]any)
	if len(spots) != 3 {
		t.Fatalf("%d spots", len(spots))
	}
	for _, s := range spots {
		hasKeys(t, "spot", s, "rank", "x_mm", "y_mm", "z_mm", "height_mm", "nearest_station", "shifting_heading_error_deg", "steady_heading_error_deg",
			"steady_ut", "placement_tolerance_mm", "not_told_from_best", "cable_mm", "cg_x_mm", "cg_y_mm", "extrapolation_factor", "worst_combination")
	}
	best, second, third := spots[0].(map[string]any), spots[1].(map[string]any), spots[2].(map[string]any)
	if q := hasKeys(t, "error", best["shifting_heading_error_deg"], "estimate", "upper95", "any_direction"); q["estimate"] != 1.24 || q["upper95"] != 1.61 {
		t.Errorf("quantiles %v", q)
	}
	if second["cable_mm"] != nil || second["cg_x_mm"] != nil || second["not_told_from_best"] != true {
		t.Errorf("spot 2: %v", second)
	}
	if q := third["shifting_heading_error_deg"].(map[string]any); q["estimate"] != 180.0 || q["any_direction"] != true {
		t.Errorf("spot 3: %v", q)
	}
	next, _ := a["next_stations"].([]any)
	hasKeys(t, "next station", next[0], "x_mm", "y_mm", "z_mm", "why")
}

// An estimate with anything that is no number is null, and no list is ever
// null.
func TestAnswersOfNothing(t *testing.T) {
	c := example.Board(300, 500, 100)
	f := example.Findings(c, nil, nil)
	f.Stations[0].Steady = &evaluate.Estimate{Mean: r3.Vec{X: math.NaN()}, Cov: magmath.Identity()}
	f.Factor = math.Inf(1)
	a := jsonOf(t, NewMap(words.Terminal, f, nil))
	if s := a["stations"].([]any)[0].(map[string]any); s["steady_ut"] != nil || s["steady_covariance_ut2"] != nil {
		t.Errorf("station %v", s)
	}
	if a["extrapolation_factor"] != nil {
		t.Errorf("factor %v", a["extrapolation_factor"])
	}
	b := jsonOf(t, NewRank(words.Terminal, f, &rank.Ranking{}))
	for _, k := range []string{"spots", "next_stations", "warnings"} {
		if _, ok := b[k].([]any); !ok {
			t.Errorf("%s is %v, want a list", k, b[k])
		}
	}
}
