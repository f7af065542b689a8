package builtcraft

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// TOML returns the craft file as the builder wrote it; package craftfile reads it back
// as Craft.
func (b *Built) TOML() []byte {
	var t strings.Builder
	put := func(format string, args ...any) { fmt.Fprintf(&t, format, args...) }
	c, m := b.Craft, b.Craft.Module
	put("name = %q # invented\n\n[site]\nlatitude_deg = %g\nlongitude_deg = %g\naltitude_m = %g\ndate = %q\n\n",
		c.Name, c.Site.LatitudeDeg, c.Site.LongitudeDeg, c.Site.AltitudeM, c.Site.Date)
	put("[module]\nname = %q\nmass_g = %g\nrange_ut = %g\nfootprint_mm = %s\nsensor_height_mm = %g\naxes = %s\n",
		m.Name, m.MassG, m.RangeUT, flat(m.FootprintMM), m.SensorHeightMM, survey.FormatAxes(*m.Axes))
	if m.CableMM > 0 {
		put("cable_mm = %g\n", m.CableMM)
	}
	put("\n[craft]\noutline_mm = %s\nsurface_z_mm = %g\nfitted = [\"%s\"]\n\n[mount]\nheights_mm = [%g]\n\n[grid]\nspacing_mm = %g\n\n",
		many(c.Body.OutlineMM, flat), c.Body.SurfaceZMM, strings.Join(c.Body.Fitted, `", "`), c.Heights[0], c.Grid.SpacingMM)
	put("[base]\nname = %q\nat_mm = %s\n\n", c.Base.Name, solid(c.Base.At))
	for _, k := range c.Keepouts {
		put("[[keepout]]\nname = %q\noutline_mm = %s\n\n", k.Name, many(k.OutlineMM, flat))
	}
	for _, l := range c.Loads {
		put("[[load]]\nname = %q\nkind = %q\n", l.Name, l.Kind)
		if l.Kind == survey.LoadCurrent {
			put("max_current_a = %g\n", l.MaxCurrentA)
		}
		if len(l.TogetherWith) > 0 {
			put("together_with = [\"%s\"]\n", strings.Join(l.TogetherWith, `", "`))
		}
		if l.Reverses {
			put("reverses = true\n")
		}
		put("\n")
	}
	for _, p := range c.Parts {
		put("[[part]]\nname = %q\n", p.Name)
		if p.AtMM != nil {
			put("at_mm = %s\nmass_g = %g\nmagnetic = true\n", solid(*p.AtMM), p.MassG)
		} else {
			put("load = %q\ngap_mm = %g\npath_mm = %s\n", p.Load, p.GapMM, many(p.PathMM, solid))
		}
		if p.ClearanceMM > 0 {
			put("clearance_mm = %g\n", p.ClearanceMM)
		}
		put("\n")
	}
	if c.Cable != nil {
		put("[cable]\nfrom_mm = %s\nslack_mm = %g\n\n", flat(c.Cable.FromMM), c.Cable.SlackMM)
	}
	put("[limits]\nheading_error_deg = %g\nsteady_ut = %g\ntilt_deg = %g\nslip_mm = %g\n", c.Limits.HeadingErrorDeg, c.Limits.SteadyUT, c.Limits.TiltDeg, c.Limits.SlipMM)
	return []byte(t.String())
}

func flat(v r2.Vec) string { return fmt.Sprintf("[%g, %g]", v.X, v.Y) }

func solid(v r3.Vec) string { return fmt.Sprintf("[%g, %g, %g]", v.X, v.Y, v.Z) }

func many[T any](all []T, one func(T) string) string {
	words := make([]string, len(all))
	for i, v := range all {
		words[i] = one(v)
	}
	return "[" + strings.Join(words, ", ") + "]"
}

func hash(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
