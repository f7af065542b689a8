package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The keys of the answers do not change: other people's scripts read them.
func TestAnswerKeys(t *testing.T) {
	s := newScene(20)
	dir := craftFolder(t, strings.Replace(gridCraft, "[limits]", `[[part]]
name = "battery"
at_mm = [60, 0, 40]
mass_g = 430
slide_mm = [20, 110]
[balance]
cg_x_mm = [-500, 500]
cg_y_mm = [-500, 500]
[limits]`, 1))
	marks := walked(someMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	for _, tt := range []struct {
		args []string
		keys string
	}{
		{[]string{"map"}, `basis:string stations[].name:string stations[].x_mm:number stations[].y_mm:number stations[].z_mm:number
			stations[].steady_ut:vec stations[].shifting_ut:vec stations[].magnitude_difference_ut:number
			stations[].steady_heading_error_deg:quantiles stations[].shifting_heading_error_deg:quantiles
			stations[].steady_covariance_ut2:mat stations[].shifting_covariance_ut2:mat
			left_out.steady.rmse_ut:number left_out.steady.inside95_fraction:number
			left_out.shifting.rmse_ut:number left_out.shifting.inside95_fraction:number`},
		{[]string{"rank"}, `spots[].rank:number spots[].x_mm:number spots[].y_mm:number spots[].z_mm:number spots[].height_mm:number
			spots[].nearest_station:string spots[].shifting_heading_error_deg:quantiles spots[].steady_heading_error_deg:quantiles
			spots[].steady_ut:quantiles|number spots[].placement_tolerance_mm:number spots[].not_told_from_best:bool
			spots[].cable_mm:number spots[].cg_x_mm:number spots[].cg_y_mm:number spots[].extrapolation_factor:number
			spots[].worst_combination[]:string excluded:object next_stations[].x_mm:number next_stations[].y_mm:number
			next_stations[].z_mm:number next_stations[].why:string`},
		{[]string{"verify"}, `ok:bool problems:list`},
		{[]string{"field"}, `x_nt:number zone:string valid:bool uncertainty.d_deg:number`},
		{[]string{"sources"}, `sources[].kind:string sources[].part:string|null sources[].state:string sources[].at_mm:vec
			sources[].at_standard_uncertainty_mm:vec unexplained:number`},
		{[]string{"balance"}, `cg_x_mm:number cg_y_mm:number mass_g:number battery_move_mm:number|null ok:bool`},
		{[]string{"whatif", "--add-magnet", "10,2,N42", "--at", "-60,0,-20"}, `before.spots[].rank:number after.spots:list`},
		{[]string{"whatif", "--without=battery"}, `before.spots[].rank:number after.spots:list`},
	} {
		r := call(t, dir, append(tt.args, "--json")...)
		if r.status != 0 && r.status != 3 {
			t.Errorf("%q: exit status %d\n%s", tt.args, r.status, r.stderr)
			continue
		}
		var v any
		if err := json.Unmarshal([]byte(r.out), &v); err != nil {
			t.Errorf("%q: %v", tt.args, err)
			continue
		}
		for key := range strings.FieldsSeq(tt.keys) {
			if err := checkPath(v, key); err != nil {
				t.Errorf("%q: %v", tt.args, err)
			}
		}
	}
	checkDrawing(t, dir)
}

// checkDrawing draws the map in every format and part, and nothing on a wrong
// call.
func checkDrawing(t *testing.T, dir string) {
	t.Helper()
	for _, tt := range []struct{ part, name, magic string }{
		{"steady", "a map.png", "\x89PNG"}, {"magnitude", "a map.svg", "<?xml"}, {"main motor", "a map.pdf", "%PDF-"},
	} {
		must(t, dir, "map", ".", "--part", tt.part, "--out", tt.name)
		data, err := os.ReadFile(filepath.Join(dir, tt.name))
		if err != nil || len(data) < 1000 || !strings.HasPrefix(string(data), tt.magic) {
			t.Errorf("%s: %v, %d bytes, begins with %.8q", tt.name, err, len(data), data)
		}
	}
	for _, args := range [][]string{{"--out", "bad.gif"}, {"--out", "bad.png", "--part", "nonsense"}, {"--out", "bad"}} {
		if r := call(t, dir, append([]string{"map"}, args...)...); r.status == 0 {
			t.Errorf("map %q: exit status 0", args)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "bad*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}
