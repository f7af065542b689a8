package survey

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// craftSection is one table of a craft file with the keys it may hold. An
// empty name is the top of the file.
type craftSection struct {
	name   string
	blocks bool // written [[name]], once for each
	keys   []string
}

// craftSections are all sections in the order in which a craft file is best
// written.
func craftSections() []craftSection {
	unit := []string{"name", "mass_g", "range_ut", "cable_mm", "footprint_mm", "sensor_height_mm", "sensor_offset_mm", "axes"}
	return []craftSection{
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
		{"load", true, []string{"name", "kind", "max_current_a", "together_with"}},
		{"part", true, []string{"name", "at_mm", "mass_g", "slide_mm", "clearance_mm", "magnetic", "path_mm", "load", "gap_mm", "return_path_mm"}},
		{"cable", false, []string{"from_mm", "via_mm", "slack_mm"}},
		{"balance", false, []string{"cg_x_mm", "cg_y_mm"}},
		{"limits", false, []string{"heading_error_deg", "steady_ut", "tilt_deg"}},
	}
}

// craftSectionNamed is the section called name; false if there is none.
func craftSectionNamed(name string) (craftSection, bool) {
	for _, s := range craftSections() {
		if s.name == name {
			return s, true
		}
	}
	return craftSection{}, false
}

// heading is how the section's heading is written.
func (s craftSection) heading() string {
	switch {
	case s.name == "":
		return "the top of the file"
	case s.blocks:
		return "[[" + s.name + "]]"
	}
	return "[" + s.name + "]"
}

// craftTopNames are the names that may stand at the top of the file.
func craftTopNames() []string {
	var names []string
	for _, s := range craftSections() {
		if s.name != "" {
			names = append(names, s.name)
		}
	}
	return append(names, "name")
}

// craftKeyHint helps with a key that section does not have: the nearest of
// its own keys, else the sections that do have it. The second result is the
// key of this section that was probably meant, or empty.
func craftKeyHint(key string, section craftSection) (hint, meant string) {
	own := section.keys
	if section.name == "" {
		own = craftTopNames()
	}
	near := Nearest(key, own)
	for _, k := range own {
		if near == "" && strings.HasPrefix(k, key+"_") {
			near = k // the unit was left out
		}
	}
	if near != "" {
		return fmt.Sprintf("did you mean %q?", near), near
	}
	for _, s := range craftSections() {
		if slices.Contains(s.keys, key) {
			return "it belongs in " + s.heading(), ""
		}
	}
	return "", ""
}

// Nearest is the entry of known that word was probably meant to be: the one
// with the fewest slips (a letter left out, put in, changed, or two
// neighbours exchanged), at most one slip for every three letters and
// always one. The first wins a tie; empty if none is near or word is empty.
func Nearest(word string, known []string) string {
	if word == "" {
		return ""
	}
	best, slips := "", max(1, utf8.RuneCountInString(word)/3)+1
	for _, k := range known {
		if n := craftSlips(word, k); n < slips {
			best, slips = k, n
		}
	}
	return best
}

// craftSlips is the restricted Damerau-Levenshtein distance of a and b in
// characters ("optimal string alignment": no part is edited twice).
// Source: F. J. Damerau, A technique for computer detection and correction of
// spelling errors, Communications of the ACM 7 (1964) 171-176.
func craftSlips(a, b string) int {
	s, t := []rune(a), []rune(b)
	if len(s) > 200 || len(t) > 200 {
		return len(s) + len(t)
	}
	before, above, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range row {
		above[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			change := above[j-1]
			if s[i-1] != t[j-1] {
				change++
			}
			row[j] = min(change, above[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(t)]
}
