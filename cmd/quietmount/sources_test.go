package main

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

type sourceJSON struct {
	Kind    string      `json:"kind"`
	Part    *string     `json:"part"`
	State   string      `json:"state"`
	At      [3]float64  `json:"at_mm"`
	SD      [3]float64  `json:"at_standard_uncertainty_mm"`
	Moment  *[3]float64 `json:"moment_am2"`
	Current *float64    `json:"current_a"`
	Safe    struct {
		Budget   float64 `json:"budget"`
		Standard float64 `json:"standard"`
		Reduced  float64 `json:"reduced"`
	} `json:"safe_distance_mm"`
}

type sourcesJSON struct {
	Sources     []sourceJSON `json:"sources"`
	Unexplained *float64     `json:"unexplained"`
}

func vecOf(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

const namedMagnet = `
[[part]]
name = "hatch magnet"
at_mm = [118, -42, 31]
mass_g = 8
magnetic = true
[[part]]
name = "pack"
at_mm = [-20, 0, 10]
mass_g = 400
slide_mm = [-60, 40]
[[part]]
name = "hull"
at_mm = [5, 0, 10]
mass_g = 700
[balance]
cg_x_mm = [-9, 9]
cg_y_mm = [-4, 4]
`

// surveyed is a folder with a whole closed-form survey.
func surveyed(t *testing.T, s *scene, craft string) string {
	t.Helper()
	dir := craftFolder(t, craft)
	marks := walked(gridMarks())
	take(t, dir, s.csv(walked(gridMarks()[:8]), s.background), "--state", "background")
	take(t, dir, s.csv(marks, s.unpowered), "--state", "unpowered")
	take(t, dir, s.pulsedCSV(marks, 5), "--state", "main motor", "--current-a", "5", "--pulsed")
	return dir
}

// The two closed-form magnets come back with place, moment and safe distance;
// named or not.
func TestSourcesMeetTheClosedForm(t *testing.T) {
	for _, named := range []bool{false, true} {
		s := newScene(11)
		craft := gridCraft
		if named {
			craft += namedMagnet
		}
		dir := surveyed(t, s, craft)
		var a sourcesJSON
		ask(t, dir, &a, "sources")
		if a.Unexplained == nil || *a.Unexplained > 0.05 {
			t.Errorf("unexplained %v", a.Unexplained)
		}
		h := referenceH(t, dir)
		found := map[string]int{}
		for _, c := range a.Sources {
			found[c.State]++
			moment, at, limit := s.magnet, s.at, 100.0
			if c.State == "main motor" {
				moment, at, limit = r3.Scale(10, s.motor), s.from, h*math.Sin(5*math.Pi/180)
			}
			if c.Kind != "dipole" || c.Moment == nil {
				t.Errorf("%s: a %s without a moment", c.State, c.Kind)
				continue
			}
			off := r3.Sub(vecOf(c.At), at)
			for i, v := range []float64{off.X, off.Y, off.Z} {
				if math.Abs(v) > 4.5*c.SD[i]+0.2 || c.SD[i] > 5 {
					t.Errorf("%s at %v +- %v, truth %v", c.State, c.At, c.SD, at)
				}
			}
			if r3.Norm(r3.Sub(vecOf(*c.Moment), moment)) > 0.15*r3.Norm(moment) {
				t.Errorf("%s: moment %v, truth %v", c.State, *c.Moment, moment)
			}
			// On the axis a dipole has 2 mu0/4pi m / r^3: 2e8 m/r^3 in these units.
			for want, got := range map[float64]float64{limit: c.Safe.Budget, 0.0942: c.Safe.Standard, 0.314: c.Safe.Reduced} {
				if b := 2e8 * r3.Norm(moment) / math.Pow(got, 3); math.Abs(b/want-1) > 0.2 {
					t.Errorf("%s: %.4f uT at the distance where it should be %.4f", c.State, b, want)
				}
			}
			if isNamed := c.Part != nil && *c.Part == "hatch magnet"; isNamed != (named && c.State == "unpowered") {
				t.Errorf("%s: named %v", c.State, c.Part)
			}
		}
		if found["unpowered"] != 1 || found["main motor"] != 1 {
			t.Errorf("sources by state: %v", found)
		}
	}
}

type whatifJSON struct {
	Before rankJSON `json:"before"`
	After  struct {
		Qualified bool `json:"qualified"`
		Spots     []struct {
			spotJSON
			SteadyUT *quantilesJSON `json:"steady_ut"`
		} `json:"spots"`
	} `json:"after"`
}

// Without the magnet, and with it elsewhere, the forecast is what the closed
// form says; nothing on disk changes.
func TestWhatIfMeetsTheClosedForm(t *testing.T) {
	s := newScene(12)
	dir := surveyed(t, s, gridCraft+namedMagnet)
	was := listing(t, dir)
	for _, c := range []struct {
		args   []string
		steady func(at r3.Vec) r3.Vec
	}{
		{[]string{"--without", "hatch magnet"}, func(r3.Vec) r3.Vec { return r3.Vec{} }},
		// The stated place is 118, -42, 31; the magnet goes as far as it does.
		{[]string{"--move", "hatch magnet", "--to", "-82,58,31"}, func(at r3.Vec) r3.Vec {
			return dipoleUT(s.magnet, r3.Add(s.at, r3.Vec{X: -200, Y: 100}), sensor(at))
		}},
		// N42: the middle of 1.28 to 1.32 T; m = Br V / mu0 of a 10 x 4 mm disc.
		{[]string{"--add-magnet", "10,4,N42", "--at", "0,60,10", "--along", "-x"}, func(at r3.Vec) r3.Vec {
			m := r3.Vec{X: -1.30 * math.Pi / 4 * 100 * 4 * 1e-9 / (4e-7 * math.Pi)}
			return r3.Add(s.steady(at), dipoleUT(m, r3.Vec{Y: 60, Z: 10}, sensor(at)))
		}},
	} {
		var w whatifJSON
		ask(t, dir, &w, append([]string{"whatif"}, c.args...)...)
		if len(w.Before.Spots) == 0 || len(w.After.Spots) == 0 {
			t.Fatalf("%q: %d spots before, %d after", c.args, len(w.Before.Spots), len(w.After.Spots))
		}
		for _, spot := range w.After.Spots {
			want := r3.Norm(c.steady(r3.Vec{X: spot.X, Y: spot.Y, Z: spot.Z}))
			if got := spot.SteadyUT; got == nil || math.Abs(got.Estimate-want) > 1+2*(got.Upper95-got.Estimate) {
				t.Errorf("%q: spot at %.0f %.0f: steady %+v, truth %.2f uT", c.args, spot.X, spot.Y, got, want)
			}
		}
	}
	if now := listing(t, dir); now != was {
		t.Errorf("the folder changed:\n%s\n%s", was, now)
	}
}

// A lead under the quiet side of the craft, on together with the motor, spoils
// the ranking: exit status 3, and the old best spot is not offered.
func TestWhatIfWithALead(t *testing.T) {
	s := newScene(13)
	dir := surveyed(t, s, gridCraft)
	var w whatifJSON
	status := ask(t, dir, &w, "whatif", "--add-lead", "-200,0,-15:200,0,-15", "--current-a", "200", "--gap-mm", "60")
	if !w.Before.Qualified || w.After.Qualified || status != 3 {
		t.Errorf("qualified before %v, after %v, exit status %d", w.Before.Qualified, w.After.Qualified, status)
	}
	r := call(t, dir, "whatif", "--add-lead", "-200,80,0:200,80,0", "--current-a", "3", "--gap-mm", "0")
	if r.status != 0 || !strings.Contains(r.out, "twisted") {
		t.Errorf("exit status %d: %s", r.status, r.out)
	}
}

type balanceJSON struct {
	X    float64  `json:"cg_x_mm"`
	Y    float64  `json:"cg_y_mm"`
	Mass float64  `json:"mass_g"`
	Move *float64 `json:"battery_move_mm"`
	OK   bool     `json:"ok"`
}

// By hand: 8 g at (118, -42), 400 at -20, 700 at 5 and the module's 20 g.
func TestBalanceByHand(t *testing.T) {
	dir := craftFolder(t, gridCraft+namedMagnet)
	for _, c := range []struct {
		args []string
		x, y float64
	}{
		{nil, (8*118.0 - 400*20 + 700*5), 8 * -42},
		{[]string{"--spot", "-190,80,-20"}, (8*118.0 - 400*20 + 700*5 - 20*190), 8*-42 + 20*80},
	} {
		var b balanceJSON
		status := ask(t, dir, &b, append([]string{"balance"}, c.args...)...)
		mass := 1108.0
		if c.args != nil {
			mass += 20
		}
		if math.Abs(b.Mass-mass) > 1e-6 || math.Abs(b.X-c.x/mass) > 1e-6 || math.Abs(b.Y-c.y/mass) > 1e-6 || !b.OK || status != 0 || b.Move == nil || *b.Move != 0 {
			t.Errorf("%q: %+v, exit status %d; want x %.3f y %.3f", c.args, b, status, c.x/mass, c.y/mass)
		}
	}
	heavy := craftFolder(t, strings.Replace(gridCraft+namedMagnet, "cg_x_mm = [-9, 9]", "cg_x_mm = [0, 9]", 1))
	var b balanceJSON
	status := ask(t, heavy, &b, "balance", "--spot", "-190,80,-20")
	x := (8*118.0 - 400*20 + 700*5 - 20*190) / 1128
	if want := -x * 1128 / 400; status != 3 || b.OK || b.Move == nil || math.Abs(*b.Move-want) > 1e-6 {
		t.Errorf("%+v, exit status %d; want a move of %.2f mm", b, status, want)
	}
	if r := call(t, craftFolder(t, gridCraft), "balance"); r.status != 1 || !strings.Contains(r.stderr, "no masses are described") || !strings.Contains(r.stderr, "mass_g") {
		t.Errorf("no masses: exit status %d: %s", r.status, r.stderr)
	}
}

func TestSourcesWithoutRuns(t *testing.T) {
	dir := craftFolder(t, gridCraft+namedMagnet)
	for _, args := range [][]string{{"sources"}, {"whatif", "--without", "hatch magnet"}, {"balance", "--rank", "1"}} {
		if r := call(t, dir, args...); r.status != 1 || !strings.Contains(r.stderr, "no runs") {
			t.Errorf("%q: exit status %d: %s", args, r.status, r.stderr)
		}
	}
	for _, args := range [][]string{
		{"whatif"}, {"whatif", "--add-magnet", "10,2"}, {"whatif", "--add-magnet", "10,2,N99", "--at", "0,0,0"}, {"whatif", "--add-magnet", "10,2,N52"},
		{"whatif", "--add-magnet", "10,-2,N52", "--at", "0,0,0"}, {"whatif", "--add-lead", "0,0,0", "--current-a", "1"}, {"whatif", "--add-lead", "0,0,0:1,1,1"},
		{"whatif", "--move", "pack"}, {"whatif", "--turn", "pack", "--along", "up"}, {"whatif", "--to", "1,2,3", "--without", "pack"},
		{"balance", "--spot", "1,2"}, {"balance", "--spot", "1,2,NaN"}, {"balance", "--rank", "0"}, {"balance", "--rank", "1", "--spot", "1,2,3"},
	} {
		if r := call(t, dir, args...); r.status != 2 || r.out != "" {
			t.Errorf("%q: exit status %d, output %q", args, r.status, r.out)
		}
	}
}

// listing is every file of a folder with its size and hash.
func listing(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		fmt.Fprintf(&b, "%s %x\n", path, sha256.Sum256(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}
