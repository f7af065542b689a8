package craftfile

import (
	"fmt"
	"slices"
	"strings"

	"quietmount/survey"
)

// section is one table of a craft file with the keys it may hold. An
// empty name is the top of the file.
type section struct {
	name   string
	blocks bool // written [[name]], once for each
	keys   []string
}

// sections are all sections in the order in which a craft file is best
// written.
func sections() []section {
	unit := []string{"name", "mass_g", "range_ut", "cable_mm", "footprint_mm", "sensor_height_mm", "sensor_offset_mm", "axes"}
	return []section{
		{"", false, []string{"name"}},
		{"site", false, []string{"latitude_deg", "longitude_deg", "altitude_m", "date"}},
		{"module", false, unit},
		{"probe", false, unit},
		{"craft", false, []string{"outline_mm", "surface_z_mm", "surface_points_mm", "fitted"}},
		{"mount", false, []string{"heights_mm"}},
		{"grid", false, []string{"spacing_mm", "origin_mm"}},
		{"station", true, []string{"name", "at_mm"}},
		{"base", false, []string{"name", "at_mm"}},
		{"keepout", true, []string{"name", "outline_mm"}},
		{"load", true, []string{"name", "kind", "max_current_a", "together_with", "reverses"}},
		{"part", true, []string{"name", "at_mm", "mass_g", "slide_mm", "clearance_mm", "magnetic", "warms_k", "path_mm", "load", "gap_mm", "return_path_mm"}},
		{"cable", false, []string{"from_mm", "via_mm", "slack_mm"}},
		{"balance", false, []string{"cg_x_mm", "cg_y_mm"}},
		{"limits", false, []string{"heading_error_deg", "steady_ut", "tilt_deg", "slip_mm"}},
	}
}

// sectionNamed is the section called name; false if there is none.
func sectionNamed(name string) (section, bool) {
	for _, s := range sections() {
		if s.name == name {
			return s, true
		}
	}
	return section{}, false
}

// heading is how the section's heading is written.
func (s section) heading() string {
	switch {
	case s.name == "":
		return "the top of the file"
	case s.blocks:
		return "[[" + s.name + "]]"
	}
	return "[" + s.name + "]"
}

// topNames are the names that may stand at the top of the file.
func topNames() []string {
	var names []string
	for _, s := range sections() {
		if s.name != "" {
			names = append(names, s.name)
		}
	}
	return append(names, "name")
}

// keyHint helps with a key that section does not have: the nearest of
// its own keys, else the sections that do have it. The second result is the
// key of this section that was probably meant, or empty.
func keyHint(key string, section section) (hint, meant string) {
	own := section.keys
	if section.name == "" {
		own = topNames()
	}
	near := survey.Nearest(key, own)
	for _, k := range own {
		if near == "" && strings.HasPrefix(k, key+"_") {
			near = k // the unit was left out
		}
	}
	if near != "" {
		return fmt.Sprintf("did you mean %q?", near), near
	}
	for _, s := range sections() {
		if slices.Contains(s.keys, key) {
			return "it belongs in " + s.heading(), ""
		}
	}
	return "", ""
}
