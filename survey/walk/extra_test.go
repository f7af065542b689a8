package walk

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// A walk over places that the craft file does not name is written down with
// them, verifies, and is taken up again where it stopped.
func TestWalkOverPlacesOfItsOwn(t *testing.T) {
	dir := bed(t)
	extra := []survey.Station{{Name: "N1", At: r3.Vec{X: 31, Y: -17, Z: -20}}, {Name: "N2", At: r3.Vec{X: -40, Y: 22, Z: -20}}}
	change := func(s *Setup) { s.Extra, s.Proof, s.Pulsed = extra, true, true }
	h, file := kept(t, setup(t, dir, "motor", change), 2)
	if !h.Proof || len(h.Extra) != 2 || h.Extra[1] != extra[1] {
		t.Fatalf("header: %+v", h)
	}
	f, err := logbook.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	got := f.Runs[len(f.Runs)-1].Header
	if !got.Proof || len(got.Extra) != 2 || got.Extra[0] != extra[0] || got.Extra[1] != extra[1] {
		t.Errorf("read back from %s: %+v", file, got)
	}
	if _, err := Begin(setup(t, dir, "motor", func(s *Setup) { s.Resume, s.Pulsed = true, true })); err == nil {
		t.Error("a proof was taken up as a survey")
	}
	b, err := Begin(setup(t, dir, "motor", func(s *Setup) { s.Resume, s.Pulsed, s.Proof = true, true, true }))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Writer.Close()
	if names := b.Route.Names(); len(names) != 2 || b.Route.Visits[1].Station.At != extra[0].At && b.Route.Visits[1].Station.At != extra[1].At {
		t.Errorf("taken up over %v", b.Route.Visits)
	}
}
