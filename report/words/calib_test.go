package words_test

import (
	"math"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/words"
)

// What a turn of the probe says, by hand.
func TestCalibrationInWords(t *testing.T) {
	turn := func(pitch, yaw, roll string, deg float64) remark.Values {
		return remark.Values{"pitch": pitch, "yaw": yaw, "roll": roll, "angle_deg": deg}
	}
	flat := "the probe was turned about one axis only, so the offset along that axis stays open: tip it nose down, nose up and on both sides as well"
	for _, c := range []struct {
		code   string
		values remark.Values
		want   string
	}{
		{"calib.turn", turn("down", "left", "", 60), "tip the arrow down and left, about 60 degrees"},
		{"calib.turn", turn("", "right", "", 90), "turn the arrow right, about 90 degrees"},
		{"calib.turn", turn("", "", "left", 90), "roll the left side down, about 90 degrees"},
		{"calib.turn", turn("up", "", "right", 40), "tip the arrow up and roll the right side down, about 40 degrees"},
		{"calib.flat", turn("", "", "", 0), flat},
		{"calib.flat", turn("down", "", "", 90), flat + "; next, tip the arrow down, about 90 degrees"},
		{"calib.changed", remark.Values{"at_s": []float64{15.2, 29.9}, "from_s": 0.0, "to_s": 15.2, "used": true},
			"conditions changed at about 15 s and 30 s; only the readings from 0 to 15 s were used"},
		{"calib.stretch", remark.Values{"from_s": []float64{20.2, 50}, "to_s": []float64{30, 52.4}, "count": 300, "of": 1500, "used": false, "longest_from_s": 0.0, "longest_to_s": 20.2},
			"300 of 1500 readings, those from 20 to 30 s and from 50 to 52 s, disagree with the others: something magnetic was near for a while; find out what it was, and take the readings again with it gone and everything left in place, or use one stretch only, the longest is 0 to 20 s"},
		{"calib.chosen", remark.Values{"parameters": 4, "asked": false, "fewest": true, "candidates": []int{3, 4, 9}, "total_ut": []float64{0.5, 0.25, math.Inf(1)},
			"prior_gain_percent": 3.0, "prior_cross": 0.02},
			"4 parameters (offset and strength): the fewest whose expected error over the attitudes to be flown is as good as the least (3: 0.5 uT, 4: 0.25 uT, 9: not determined), noise and, under the prior of 3.0 % gain and 0.020 cross terms, what is left out"},
	} {
		if got := words.Terminal.Say(remark.Remark{Code: c.code, Values: c.values}); got != c.want {
			t.Errorf("%s: got %q, want %q", c.code, got, c.want)
		}
	}
}
