package source

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Sources that lie under the deck are found under it, also where readings that err
// would be fitted better by one above.
func TestSourcesStayUnderTheDeck(t *testing.T) {
	above := Dipole{AtMM: r3.Vec{X: 10, Z: -40}, MomentAm2: r3.Vec{Z: 0.02}}
	var d magmath.Readings
	var noise []magmath.Mat3
	for x := -120.0; x <= 120; x += 40 {
		for y := -120.0; y <= 120; y += 40 {
			p := r3.Vec{X: x, Y: y, Z: -20}
			d.At, d.B, noise = append(d.At, p), append(d.B, above.Field(p)), append(noise, magmath.Diagonal(0.01, 0.01, 0.01))
		}
	}
	d.Noise = magmath.BlockNoise(noise)
	path := []r3.Vec{{X: -100, Z: -14}, {X: 100, Z: -13}}
	for _, o := range []Options{{}, {Under: true, DeckZMM: -14.5, MostLeads: 1}} {
		found, err := Find(t.Context(), d, nil, []NamedLead{{Name: "lead", PathMM: path, CurrentA: 10}}, o)
		if err != nil {
			t.Fatal(err)
		}
		highest := 0.0
		for _, e := range found.all.es {
			for i := range max(1, e.points) {
				highest = min(highest, e.coords[3*i+2])
			}
		}
		if o.Under && highest < o.DeckZMM-1e-9 {
			t.Errorf("a source at z %g, over the deck at %g", highest, o.DeckZMM)
		}
		if !o.Under && highest > -30 {
			t.Errorf("free to lie anywhere, the highest source is at z %g; the true one at %g", highest, above.AtMM.Z)
		}
	}
}
