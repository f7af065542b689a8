package answer

import (
	"fmt"
	"io"

	"quietmount/magmath/geomag"
	"quietmount/report/text"
	"quietmount/report/words"
)

// Field is the answer of `field`.
type Field struct {
	elementValues

	DXntPerYear  float64 `json:"dx_nt_per_year"`
	DYntPerYear  float64 `json:"dy_nt_per_year"`
	DZntPerYear  float64 `json:"dz_nt_per_year"`
	DHntPerYear  float64 `json:"dh_nt_per_year"`
	DFntPerYear  float64 `json:"df_nt_per_year"`
	DDdegPerYear float64 `json:"dd_deg_per_year"`
	DIdegPerYear float64 `json:"di_deg_per_year"`

	Uncertainty elementValues `json:"uncertainty"`
	Zone        geomag.Zone   `json:"zone"`
	Model       string        `json:"model"`
	Valid       bool          `json:"valid"`
	Cautions

	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	AltitudeM    float64 `json:"altitude_m"`
	DecimalYear  float64 `json:"decimal_year"`
}

// elementValues holds a value for each element of the field.
type elementValues struct {
	Xnt  float64 `json:"x_nt"`
	Ynt  float64 `json:"y_nt"`
	Znt  float64 `json:"z_nt"`
	Hnt  float64 `json:"h_nt"`
	Fnt  float64 `json:"f_nt"`
	Ddeg float64 `json:"d_deg"`
	Ideg float64 `json:"i_deg"`
}

// NewField states the elements at a place and date with what the model
// says of its own error, zone and validity.
func NewField(m *geomag.Model, p geomag.Place, year float64) Field {
	e := m.At(p, year)
	u := geomag.UncertaintyBeyond(e, m.YearsOutside(year))
	warnings := m.Validity(year, p.AltitudeM)
	return Field{
		elementValues: elementValues{e.X, e.Y, e.Z, e.H, e.F, e.D, e.I},
		DXntPerYear:   e.DotX, DYntPerYear: e.DotY, DZntPerYear: e.DotZ, DHntPerYear: e.DotH,
		DFntPerYear: e.DotF, DDdegPerYear: e.DotD, DIdegPerYear: e.DotI,
		Uncertainty: elementValues{u.X, u.Y, u.Z, u.H, u.F, u.D, u.I}, Zone: geomag.ZoneOf(e.H),
		Model: m.Name(), Valid: len(warnings) == 0, Cautions: cautions(words.Terminal, warnings),
		LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg, AltitudeM: p.AltitudeM, DecimalYear: year,
	}
}

// Text prints the answer for a reader: a line an element.
func (a Field) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("%s at %.5f, %.5f, %.0f m, %.3f", a.Model, a.LatitudeDeg, a.LongitudeDeg, a.AltitudeM, a.DecimalYear)
	p.Line("")
	p.Line("%-18s %11s %8s %10s", "", "value", "+- 1 s", "a year")
	row := func(name, unit, verb string, v, u, d float64) {
		p.Line("%-15s%3s "+verb+" "+verb2(verb, 8)+" "+verb2(verb, 10), name, unit, v, u, d)
	}
	row("X north", "nT", "%11.1f", a.Xnt, a.Uncertainty.Xnt, a.DXntPerYear)
	row("Y east", "nT", "%11.1f", a.Ynt, a.Uncertainty.Ynt, a.DYntPerYear)
	row("Z down", "nT", "%11.1f", a.Znt, a.Uncertainty.Znt, a.DZntPerYear)
	row("H horizontal", "nT", "%11.1f", a.Hnt, a.Uncertainty.Hnt, a.DHntPerYear)
	row("F total", "nT", "%11.1f", a.Fnt, a.Uncertainty.Fnt, a.DFntPerYear)
	row("D declination", "deg", "%11.2f", a.Ddeg, a.Uncertainty.Ddeg, a.DDdegPerYear)
	row("I dip", "deg", "%11.2f", a.Ideg, a.Uncertainty.Ideg, a.DIdegPerYear)
	p.Line("")
	p.Line("Zone: %s. %s", a.Zone, zoneWords(a.Zone))
	for _, warning := range a.Warnings {
		p.Line("Caution: %s", warning)
	}
	p.Line("The model covers the Earth's main field only: no local iron, no magnetic storm.")
	return p.Err()
}

func verb2(verb string, width int) string {
	return fmt.Sprintf("%%%d%s", width, verb[3:])
}

func zoneWords(z geomag.Zone) string {
	switch z {
	case geomag.ZoneBlackout:
		return "H is under 2000 nT: a compass is unreliable here."
	case geomag.ZoneCaution:
		return "H is under 6000 nT: a compass is weak here and every disturbance counts more."
	}
	return "H is 6000 nT or more."
}
