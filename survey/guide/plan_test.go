package guide

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// onceEach are the planned visits of kind station, in order.
func onceEach(r Route) []survey.Station {
	var out []survey.Station
	for _, v := range r.Visits {
		if v.Kind == logbook.VisitStation {
			out = append(out, v.Station)
		}
	}
	return out
}

func correlations(order []survey.Station) (cx, cy float64) {
	var i, x, y []float64
	for k, s := range order {
		i, x, y = append(i, float64(k)), append(x, s.At.X), append(y, s.At.Y)
	}
	return stat.Correlation(i, x, nil), stat.Correlation(i, y, nil)
}

func length(order []survey.Station) float64 {
	l := 0.0
	for i := 1; i < len(order); i++ {
		l += r3.Norm(r3.Sub(order[i].At, order[i-1].At))
	}
	return l
}

func TestOrderIsShortAndDoesNotRunAlongTheCraft(t *testing.T) {
	scattered := func(n int) *survey.Craft {
		c := hull(2, 2, true)
		rng := rand.New(rand.NewPCG(uint64(n), 1))
		c.Grid = nil
		for i := range n {
			c.Singles = append(c.Singles, survey.Station{Name: fmt.Sprintf("S%d", i), At: r3.Vec{X: rng.Float64()*700 - 350, Y: rng.Float64()*300 - 150}})
		}
		return c
	}
	for _, tt := range []struct {
		name  string
		craft *survey.Craft
		steps float64 // mean move, in spacings of a square grid of that area
	}{
		{"12 on a grid", hull(4, 3, true), 1.9},
		{"60 on a grid", hull(12, 5, true), 1.6},
		{"300 on a grid", hull(30, 10, true), 1.5},
		{"a long line", hull(20, 1, true), 2.3},
		{"a line across", hull(1, 20, true), 2.3},
		{"25 scattered", scattered(25), 1.7},
		{"120 scattered", scattered(120), 1.7},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := Plan(tt.craft, PlanOptions{})
			if err != nil {
				t.Fatal(err)
			}
			order := onceEach(r)
			if len(order) != len(tt.craft.Stations()) {
				t.Fatalf("%d stations in the plan, the craft has %d", len(order), len(tt.craft.Stations()))
			}
			seen := map[string]bool{}
			for _, s := range order {
				if seen[s.Name] {
					t.Errorf("%s twice", s.Name)
				}
				seen[s.Name] = true
			}
			cx, cy := correlations(order)
			if math.Abs(cx) > 0.15 || math.Abs(cy) > 0.15 {
				t.Errorf("order goes with place: correlation %.2f along, %.2f across", cx, cy)
			}
			spacing := 60.0
			if tt.craft.Grid == nil {
				spacing = math.Sqrt(700 * 300 / float64(len(order)))
			}
			mean := length(order) / float64(len(order)-1) / spacing
			t.Logf("mean move %.2f spacings, correlations %.3f %.3f, %.0f minutes", mean, cx, cy, r.Minutes())
			if mean > tt.steps {
				t.Errorf("a move is %.2f spacings on average, want at most %.1f", mean, tt.steps)
			}
		})
	}
}

func TestPlanReturnsToTheBaseAndRepeats(t *testing.T) {
	r, err := Plan(hull(12, 5, true), PlanOptions{})
	if err != nil {
		t.Fatal(err)
	}
	first, last := r.Visits[0], r.Visits[len(r.Visits)-1]
	if first.Kind != logbook.VisitBase || last.Kind != logbook.VisitBase {
		t.Errorf("begins with %v and ends with %v, want the base", first, last)
	}
	run, repeats, repeated := 0, 0, map[string]bool{}
	for i, v := range r.Visits {
		switch v.Kind {
		case logbook.VisitBase:
			run = 0
			continue
		case logbook.VisitRepeat:
			repeats++
			repeated[v.Station.Name] = true
			if r.Visits[i-1].Station.Name == v.Station.Name {
				t.Errorf("visit %d repeats the station before it", i)
			}
		}
		if run++; run > 10 {
			t.Errorf("visit %d is the %dth since the base", i, run)
		}
	}
	if repeats != 6 || len(repeated) != 1 {
		t.Errorf("%d repeats of %d stations, want 6 of one", repeats, len(repeated))
	}
	if again, _ := Plan(hull(12, 5, true), PlanOptions{}); !slices.Equal(again.Visits, r.Visits) {
		t.Error("the same craft gave another plan")
	}
}

func TestBackgroundTakesFewWellSpreadStations(t *testing.T) {
	c := hull(12, 5, true)
	r, err := Plan(c, PlanOptions{State: survey.StateBackground})
	if err != nil {
		t.Fatal(err)
	}
	order := onceEach(r)
	if len(order) != 8 {
		t.Fatalf("%d stations, want 8", len(order))
	}
	corners := 0
	for _, s := range order {
		if math.Abs(s.At.X) > 325 && math.Abs(s.At.Y) > 115 {
			corners++
		}
	}
	if corners != 4 {
		t.Errorf("%d of the four corners are in it: %v", corners, order)
	}
	full, err := Plan(c, PlanOptions{State: survey.StateBackground, Full: true})
	if err != nil || len(onceEach(full)) != 60 {
		t.Errorf("the full background has %d stations, %v", len(onceEach(full)), err)
	}
	if r.Minutes() > full.Minutes()/3 {
		t.Errorf("8 stations take %.0f minutes, 60 take %.0f", r.Minutes(), full.Minutes())
	}
}

func TestMostTakesTheStationsThatCoverTheCraft(t *testing.T) {
	c := hull(12, 5, true)
	for _, most := range []int{1, 2, 6, 12, 59, 60, 200} {
		r, err := Plan(c, PlanOptions{State: "motor", Pulsed: true, Most: most})
		if err != nil {
			t.Fatal(err)
		}
		order := onceEach(r)
		if len(order) != min(most, 60) || r.Stations() != len(order) || r.Base == nil || r.Visits[0].Kind != logbook.VisitBase {
			t.Errorf("most %d: %d stations, base %v", most, len(order), r.Base)
		}
		// Discs of this radius about n places of a k-center choice reach every
		// station: twice the radius of a square share of the area, the known
		// bound of taking the farthest again and again.
		// Source: Gonzalez 1985, Clustering to minimize the maximum intercluster
		// distance, Theoretical Computer Science 38 (from memory).
		reach := 2 * math.Sqrt(670*250/float64(len(order))) / math.Sqrt2
		for _, s := range c.Stations() {
			best := math.Inf(1)
			for _, taken := range order {
				best = min(best, r3.Norm(r3.Sub(s.At, taken.At)))
			}
			if best > reach && most > 2 {
				t.Errorf("most %d: %s is %.0f mm from the nearest station taken, want %.0f", most, s.Name, best, reach)
			}
		}
	}
	few, _ := Plan(c, PlanOptions{State: survey.StateBackground, Most: 5, Full: true})
	if few.Stations() != 5 {
		t.Errorf("a background of most 5 takes %d stations", few.Stations())
	}
}

func TestPlanOfVeryFewStations(t *testing.T) {
	for n := 1; n <= 4; n++ {
		r, err := Plan(hull(n, 1, true), PlanOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if len(onceEach(r)) != n || len(r.Visits) != n+3 {
			t.Errorf("%d stations: %v, want each once, a repeat and two base readings", n, r.Visits)
		}
	}
	if _, err := Plan(&survey.Craft{}, PlanOptions{}); !errors.Is(err, ErrNoStations) {
		t.Errorf("no stations: %v", err)
	}
	r, err := Plan(hull(2, 1, false), PlanOptions{})
	if err != nil || len(r.Warnings) != 1 || r.Base != nil || r.Visits[0].Kind != logbook.VisitStation {
		t.Errorf("without a base: %+v, %v; want a warning and no base visits", r, err)
	}
}

func TestShortFormFitsInAnHour(t *testing.T) {
	// A dozen pulsed stations, the project's own short form; no source.
	r, err := Plan(hull(4, 3, true), PlanOptions{State: "motor", Pulsed: true})
	if err != nil {
		t.Fatal(err)
	}
	if m := r.Minutes(); m < 10 || m > 30 {
		t.Errorf("a dozen pulsed stations take %.0f minutes, want 10 to 30 of the hour", m)
	}
}

func BenchmarkPlan300(b *testing.B) {
	c := hull(30, 10, true)
	for b.Loop() {
		if _, err := Plan(c, PlanOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
