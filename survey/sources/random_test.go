package sources

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/sim/trial"
)

// Random craft, two in three of whose sources the builder wrote down to 2 mm:
// magnets come back near their true places and under their names, leads as
// leads, and little is left unexplained.
func TestSourcesOverRandomCraft(t *testing.T) {
	craft := simtest.Trials(1, 4)
	var magnets, near, inside, right, more, named, byName, loads, asLeads int
	var left []float64
	for i := range craft {
		drawn, err := trial.Random(uint64(7000+i), trial.Families()[i%4], i%2 == 1)
		if err != nil {
			t.Fatal(err)
		}
		w := drawn.World
		f := evaluatetest.Evaluate(t, w.Craft, evaluatetest.TrialRuns(drawn, true))
		got, err := Find(t.Context(), f)
		if err != nil {
			t.Fatal(err)
		}
		left = append(left, got.Unexplained)
		for _, s := range got.States {
			if s.State != survey.StateUnpowered {
				loads++
				if len(s.Sources) > 0 && s.Sources[0].Kind == source.KindLead && s.Unexplained < 0.05 {
					asLeads++
				}
				continue
			}
			switch {
			case len(s.Sources) == len(w.Magnets):
				right++
			case len(s.Sources) > len(w.Magnets):
				more++
			}
			for _, m := range w.Magnets {
				magnets++
				k := nearestSource(s.Sources, m.AtMM)
				if k < 0 {
					continue
				}
				c := s.Sources[k]
				e := r3.Sub(c.AtMM, m.AtMM)
				if r3.Norm(e) < 15 {
					near++
				}
				if math.Abs(e.X) < 1.96*math.Sqrt(c.AtCov[0][0]) {
					inside++
				}
			}
			for _, p := range w.Craft.Parts {
				if !p.Magnetic {
					continue
				}
				named++
				for _, c := range s.Sources {
					if c.Name == p.Name && r3.Norm(r3.Sub(c.AtMM, *p.AtMM)) < 12 && strings.HasPrefix(c.Name, "magnet") {
						byName++
					}
				}
			}
		}
	}
	t.Logf("%d craft: %d of %d magnets within 15 mm, x inside 95 %% at %d; the right number in %d, more in %d; %d of %d named magnets under their names; %d of %d loads explained by leads; half of the craft leave less than %.3f unexplained",
		craft, near, magnets, inside, right, more, byName, named, asLeads, loads, magmath.Median(left))
	if float64(near) < 0.9*float64(magnets) || float64(inside) < 0.8*float64(magnets) {
		t.Error("magnets are missed")
	}
	if float64(byName) < 0.9*float64(named) || float64(asLeads) < 0.8*float64(loads) {
		t.Error("parts are missed")
	}
	if m := magmath.Median(left); !(m <= 0.05) {
		t.Errorf("%.2f is left unexplained", m)
	}
}
