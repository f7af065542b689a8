package source

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// remanence is a range in tesla.
type remanence struct{ low, high float64 }

// grades returns the ranges in which magnet makers say the remanence of a grade
// lies at 20 degrees Celsius. Where makers differ by a hundredth or two the
// range takes in both.
//
// Source: makers' tables of sintered neodymium grades, as published at
// magnetexpert.com (Magnetic properties of neodymium magnets),
// vormagelectronics.com (NdFeB magnets) and shanghaimagnet.com (magnet
// grades); of ferrite grades at aomagnet.com (Magnetic properties of permanent
// magnets).
func grades() map[string]remanence {
	return map[string]remanence{
		"N30": {1.08, 1.13}, "N33": {1.13, 1.18}, "N35": {1.17, 1.22}, "N38": {1.22, 1.25},
		"N40": {1.25, 1.28}, "N42": {1.28, 1.32}, "N45": {1.32, 1.38}, "N48": {1.37, 1.42},
		"N50": {1.39, 1.45}, "N52": {1.42, 1.48}, "N54": {1.44, 1.48}, "N55": {1.47, 1.52},
		"Y10T": {0.200, 0.235}, "Y25": {0.360, 0.400}, "Y28": {0.370, 0.400}, "Y30": {0.370, 0.400},
		"Y30BH": {0.380, 0.390}, "Y33": {0.410, 0.420}, "Y35": {0.400, 0.410},
		"C1": {0.200, 0.235}, "C5": {0.370, 0.400}, "C8": {0.385, 0.390}, "C10": {0.400, 0.410},
	}
}

// temperatureLetters returns the letters that follow a neodymium grade that
// stands more heat; its remanence is that of the grade without them.
func temperatureLetters() []string { return []string{"SH", "UH", "EH", "AH", "M", "H"} }

// Grades returns the names that Grade knows, in order.
func Grades() []string { return slices.Sorted(maps.Keys(grades())) }

// Grade returns the remanence of a grade of magnet in tesla: the middle of the
// published range and half its width. Case does not matter, and the letters of
// a heat-resisting neodymium grade (N42SH) may follow. FERRITE stands for Y30,
// the common one.
func Grade(name string) (brT, errT float64, err error) {
	key := strings.ToUpper(strings.TrimSpace(name))
	if key == "FERRITE" {
		key = "Y30"
	}
	table := grades()
	r, ok := table[key]
	if !ok && strings.HasPrefix(key, "N") {
		for _, l := range temperatureLetters() {
			if base, found := strings.CutSuffix(key, l); found {
				r, ok = table[base]
				break
			}
		}
	}
	if !ok {
		return 0, 0, fmt.Errorf("magnet grade %q is not known; known are %s", name, strings.Join(Grades(), ", "))
	}
	return (r.low + r.high) / 2, (r.high - r.low) / 2, nil
}
