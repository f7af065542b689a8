package swing

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"quietmount/magmath/heading"
)

func TestSunEquatorial(t *testing.T) {
	// Source: Meeus, Astronomical Algorithms, 2nd edition, example 25.a:
	// 1992 October 13.0 TD, right ascension 198.38083, declination -7.78507
	// (from memory).
	ra, declination := sunEquatorial((2448908.5 - 2451545) / 36525)
	if math.Abs(ra-198.38083) > 2e-5 || math.Abs(declination+7.78507) > 2e-5 {
		t.Errorf("right ascension %.5f, declination %.5f", ra, declination)
	}
}

func TestSunAgainstThePublishedExample(t *testing.T) {
	// Source: Reda and Andreas (2004), Solar position algorithm for solar
	// radiation applications, NREL/TP-560-34302, the example of appendix A.5:
	// 2003-10-17 12:30:30, 7 hours west of Greenwich, 39.742476 N, 105.1786 W:
	// azimuth 194.34024 degrees; zenith angle 50.11162 with 0.0163 degrees of
	// refraction (from memory).
	azimuth, height := Sun(39.742476, -105.1786, time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC))
	if math.Abs(azimuth-194.34024) > 0.01 || math.Abs(90-height-50.11162) > 0.03 {
		t.Errorf("azimuth %.5f, zenith angle %.5f", azimuth, 90-height)
	}
}

func TestSunAgainstAnAstronomyLibrary(t *testing.T) {
	f, err := os.Open("testdata/sun.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	worst, n := 0.0, 0
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			t.Fatal(err)
		}
		var v [4]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		azimuth, height := Sun(v[0], v[1], at)
		off := math.Abs(heading.Wrap180(azimuth-v[2])) * math.Cos(rad(v[3]))
		worst = max(worst, off, math.Abs(height-v[3]))
		n++
	}
	// 0.01 degrees is the stated accuracy of the method; the parallax of the
	// sun is 0.0024.
	if n < 40 || worst > 0.0125 {
		t.Errorf("%d places and times, worst %.4f degrees off", n, worst)
	}
	t.Logf("%d places and times, worst %.4f degrees off", n, worst)
}
