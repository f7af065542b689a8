package trial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/sim"
)

// Family is a shape of random craft.
type Family string

// The families.
const (
	Hull     Family = "hull"     // 700 x 360 mm
	Plate    Family = "plate"    // octagonal, 330 mm
	Wing     Family = "wing"     // 920 mm span
	Fuselage Family = "fuselage" // narrow, 640 x 100 mm
)

// Families returns all families, in order.
func Families() []Family { return []Family{Hull, Plate, Wing, Fuselage} }

// Complication is what makes a random craft harder than most.
type Complication string

// The complications.
const (
	Plain Complication = ""
	Hatch Complication = "hatch" // a magnet 6 to 16 mm under the sensor
	Pod   Complication = "pod"   // a magnet beside the outline, level with the deck
	Mast  Complication = "mast"  // stations on a mast, and a magnet half way up
)

// Trial is a random craft and everything else that one simulated survey
// draws: the module, the hand, the current that the bench allows.
type Trial struct {
	World        *sim.World
	TOML         []byte // the craft file as the builder wrote it
	Probe        sim.Probe
	Hand         sim.Hand
	Family       Family
	Complication Complication
	CurrentPart  float64 // of the maximum current at which the loads are pulsed: 1, or about a tenth
	Seed         uint64
}

// Random draws a craft of the family: two to four magnets of 0.02 to 0.3 A
// m2, one or two lead pairs 6 to 22 mm apart with 12 to 38 A lying 20 to 60
// mm under the surface, stations 45 to 65 mm apart, H from 11 to 31 uT, hand
// 0.7 to 2 degrees and 1 to 3 mm. Six tenths of the sources are named in the
// craft file, at places measured to 2 mm. With hard, a third is pulsed at about a
// tenth of the maximum current and a quarter has a complication.
func Random(seed uint64, f Family, hard bool) (*Trial, error) {
	g := &generator{rng: rand.New(rand.NewPCG(seed, 0xc4af7+uint64(slices.Index(Families(), f)))), family: f}
	t := &Trial{Family: f, Seed: seed, CurrentPart: 1, Probe: sim.DefaultProbe()}
	tilt := g.between(0.7, 2)
	t.Hand = sim.Hand{TiltDeg: tilt, YawDeg: tilt, PlaceMM: g.between(1, 3), LagS: g.between(0.15, 0.4), LagSDS: 0.08}
	slow, odd := g.rng.Float64() < 1./3, g.rng.Float64() < 0.25
	which := []Complication{Hatch, Pod, Mast}[g.rng.IntN(3)]
	part := g.between(0.07, 0.14)
	if hard && slow {
		t.CurrentPart = part
	}
	if hard && odd {
		t.Complication = which
	}
	t.World = &sim.World{NoseDeg: g.between(0, 360)}
	g.describe(t)
	craft, err := craftfile.Parse(t.TOML, "random.toml")
	if err != nil {
		return nil, fmt.Errorf("random craft %d: %w", seed, err)
	}
	t.World.Craft = craft
	t.World.Room = sim.IndoorRoom(g.rng, craft.Site)
	return t, nil
}

// generator draws a craft and writes its file.
type generator struct {
	rng     *rand.Rand
	family  Family
	outline []r2.Vec
	surface float64
	sensor  float64 // height above the surface
	text    strings.Builder
}

func (g *generator) between(a, b float64) float64 { return a + (b-a)*g.rng.Float64() }

func (g *generator) printf(format string, args ...any) { fmt.Fprintf(&g.text, format, args...) }

// describe draws the sources into t.World and the craft file into t.TOML.
func (g *generator) describe(t *Trial) {
	g.outline = outlineOf(g.family)
	g.surface = math.Round(g.between(-30, 0))
	g.sensor = math.Round(g.between(4, 12))
	g.head()
	if t.Complication == Mast {
		g.mast(t.World)
	}
	g.magnets(t)
	g.leads(t.World)
	g.keepout()
	t.TOML = []byte(g.text.String())
}

func (g *generator) head() {
	site := g.site()
	side := math.Round(g.between(26, 40))
	g.printf("name = \"random %s\" # invented\n\n", g.family)
	g.printf("[site]\nlatitude_deg = %.2f\nlongitude_deg = %.2f\naltitude_m = 10\ndate = \"2026-06-01\"\n\n", site.LatitudeDeg, site.LongitudeDeg)
	g.printf("[module]\nname = \"puck\"\nmass_g = 24\nrange_ut = 2000\nfootprint_mm = [%g, %g]\n", side, side)
	g.printf("sensor_height_mm = %g\naxes = [\"+x\", \"+y\", \"+z\"]\n\n", g.sensor)
	g.printf("[craft]\noutline_mm = [")
	for i, p := range g.outline {
		if i > 0 {
			g.printf(", ")
		}
		g.printf("[%g, %g]", p.X, p.Y)
	}
	g.printf("]\nsurface_z_mm = %g\n\n[mount]\nheights_mm = [0]\n\n", g.surface)
	spacing, shift := math.Round(g.between(45, 65)), 0.
	if g.family == Fuselage { // two rows beside the middle line
		shift = spacing / 2
	}
	g.printf("[grid]\nspacing_mm = %g\norigin_mm = [0, %g]\n\n", spacing, shift)
	g.printf("[base]\nname = \"T\"\nat_mm = [900, 0, %g]\n\n", g.surface)
	g.printf("[limits]\nheading_error_deg = 5\nsteady_ut = 200\n\n")
}

// site draws a place whose horizontal field is anything from 11 to 31 uT.
func (g *generator) site() survey.Site {
	want := g.between(11, 31)
	s := survey.Site{Date: "2026-06-01", AltitudeM: 10}
	for range 10000 {
		s.LatitudeDeg = math.Round(g.between(-6500, 7000)) / 100
		s.LongitudeDeg = math.Round(g.between(-18000, 18000)) / 100
		if math.Abs(sim.Reference(s).X-want) < 0.5 {
			break
		}
	}
	return s
}

// keepout takes a piece of the surface, smaller than most of it.
func (g *generator) keepout() {
	c, w, h := g.inside(), g.between(15, 45), g.between(15, 45)
	g.printf("[[keepout]]\nname = \"hatch\"\noutline_mm = [[%.0f, %.0f], [%.0f, %.0f], [%.0f, %.0f], [%.0f, %.0f]]\n",
		c.X+w, c.Y-h, c.X+w, c.Y+h, c.X-w, c.Y+h, c.X-w, c.Y-h)
}
