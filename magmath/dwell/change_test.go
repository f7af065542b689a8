package dwell

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

func TestChangedFalseAlarms(t *testing.T) {
	for _, c := range []struct {
		phi  float64
		n    int
		most float64
	}{{0, 120, 0.01}, {0.6, 120, 0.01}, {0.6, 60, 0.01}, {0.6, 30, 0.02}, {0.6, 600, 0.01}, {0.8, 120, 0.03}} {
		noise := newAR1(31, c.phi)
		alarms, runs := 0, simtest.Trials(600, 3000)
		for range runs {
			if _, yes := Changed(noise.still(c.n, 50, somewhere, 0.2), Options{}); yes {
				alarms++
			}
		}
		between(t, fmt.Sprintf("false alarms at %v", c), float64(alarms)/float64(runs), 0, c.most)
	}
}

func TestChangedFindsMagnet(t *testing.T) {
	by := r3.Vec{X: 1.2, Y: -0.6, Z: 0.8} // 1.56 uT in noise of 0.2
	for _, c := range []struct {
		shape    Shape
		from, to float64
	}{{Step, 0.9, 2.4}, {Visit, 0.6, 1.5}, {Step, 2.0, 2.4}, {Visit, 1.8, 2.2}} {
		noise := newAR1(32, 0.6)
		late := 0 // a spike beside an edge can hide it for a few samples
		for range 100 {
			s := noise.still(120, 50, somewhere, 0.2)
			for i, ts := range s.TS {
				if ts >= c.from && (ts < c.to || c.shape == Step) {
					s.B[i] = r3.Add(s.B[i], by)
				}
				if i%20 == 7 {
					s.B[i].Z += 40 // spikes as well
				}
			}
			got, yes := Changed(s, Options{})
			if !yes || got.Shape != c.shape || math.Abs(got.FromTS-c.from) > 0.11 || math.Abs(got.ToTS-c.to) > 0.11 {
				t.Fatalf("%v: %v %#v", c, yes, got)
			}
			if math.Abs(got.FromTS-c.from) > 0.03 || math.Abs(got.ToTS-c.to) > 0.03 {
				late++
			}
			if r3.Norm(r3.Sub(got.By, by)) > 0.5 {
				t.Fatalf("by %v, want %v", got.By, by)
			}
		}
		if late > 5 {
			t.Errorf("%v: %d of 100 edges missed by more than a sample", c, late)
		}
	}
}

func TestChangedFindsDrift(t *testing.T) {
	s := newAR1(33, 0.6).still(120, 50, somewhere, 0.2)
	for i, ts := range s.TS {
		s.B[i].X += 1.0 * ts
	}
	got, yes := Changed(s, Options{})
	if !yes || got.Shape != Drift {
		t.Fatalf("%v %+v", yes, got)
	}
	between(t, "drift over 2.4 s", got.By.X, 2, 2.8)
}

func TestChangedDegenerate(t *testing.T) {
	flat := newAR1(34, 0).still(120, 50, somewhere, 0)
	for name, s := range map[string]Series{
		"flat": flat, "empty": {}, "short": flat.pick([]int{0, 1, 2}), "bad": {[]float64{1}, []r3.Vec{{X: math.NaN()}}},
	} {
		if c, yes := Changed(s, Options{}); yes {
			t.Errorf("%s: %+v", name, c)
		}
	}
	// One step of a coarse scale is no change of conditions; ten are.
	for i := 60; i < 120; i++ {
		flat.B[i].X += 3
	}
	if _, yes := Changed(flat, Options{}); !yes {
		t.Error("a step of 3 uT in flat data passes")
	}
}

// A real recording in which a small magnet 1 cm from the sensor is there from
// about 38 to 95 s: Laidig, Caruso, Cereatti, Seel 2021, BROAD, Data 6(7),
// doi 10.3390/data6070072, trial 32. The sensor turns, so that the magnitude
// is looked at.
func TestChangedRecorded(t *testing.T) {
	dir := os.Getenv("QUIETMOUNT_RECORDED")
	if dir == "" {
		t.Skip("set QUIETMOUNT_RECORDED to the folder of the recordings")
	}
	f, err := os.Open(filepath.Join(dir, "broad_32_attached_magnet_1cm.csv"))
	if err != nil {
		t.Skip("recording not present: ", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var s Series
	for _, row := range rows[1:] {
		if row[4] == "" {
			continue
		}
		b := r3.Vec{X: number(t, row[4]), Y: number(t, row[5]), Z: number(t, row[6])}
		s.TS = append(s.TS, number(t, row[0]))
		s.B = append(s.B, r3.Vec{X: r3.Norm(b)})
	}
	got, yes := Changed(s, Options{})
	t.Log(yes, got)
	if !yes || got.Shape != Visit || math.Abs(got.FromTS-38) > 8 || math.Abs(got.ToTS-95) > 8 {
		t.Errorf("%v %+v", yes, got)
	}
	// At rest at the beginning, before the magnet came: nothing changed.
	early := Series{s.TS[:100], s.B[:100]}
	if c, yes := Changed(early, Options{}); yes {
		t.Errorf("in the first seconds: %+v", c)
	}
}

func BenchmarkChanged120(b *testing.B) {
	s := newAR1(35, 0.6).still(120, 50, somewhere, 0.2)
	for b.Loop() {
		Changed(s, Options{})
	}
}
