package words_test

import (
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/words"
)

// What the walk, the checks of the finished craft and the standing of a folder
// say, where numbers, places and the two faces shape the sentence.
func TestSentencesOfAWalk(t *testing.T) {
	v := func(key string, value any) remark.Values { return remark.Values{key: value} }
	at := func(r remark.Remark) remark.Remark { return r.At(remark.Place{Station: "B2", Run: 3}) }
	stopped, measured := remark.New("guide.stopped"), remark.New("progress.measured")
	for _, tt := range []struct {
		face words.Face
		r    remark.Remark
		want string
	}{
		{words.Terminal, remark.New("guide.unsteady", v("within_s", 8.0)), "the probe did not come to rest within 8 s; set it down and take the hand away"},
		{words.Terminal, remark.New("guide.moved:touched", v("by_ut", 3.456)), "with the load off the field did not hold still (3.5 uT): the probe was touched, or something magnetic moved"},
		{words.Page, remark.New("guide.drift", v("by_ut", 0.512)), "the field drifted by 0.51 µT during the dwell; it was taken all the same"},
		{words.Terminal, remark.New("guide.pulses", remark.Values{"pulses": 2, "needed": 4, "labelled": true}), "2 complete pulses by the stream's own label, at least 4 are needed"},
		{words.Terminal, remark.New("guide.pulses", remark.Values{"pulses": 2, "needed": 4, "labelled": false}), "2 complete pulses, at least 4 are needed"},
		{words.Terminal, at(remark.New("guide.turned-arrow", v("side", "left"))), "the arrow seems to point to the left at B2: it should point at the nose; redo B2 if so"},
		{words.Terminal, at(remark.New("guide.wrong-mark:exchanged", v("other", "B3"))), "the readings at B2 and B3 fit each other's place better: were the marks confused? redo B2 and redo B3 if so"},
		{words.Terminal, at(remark.New("guide.unknown-station:near", v("near", "B3"))), `no station is called "B2"; did you mean "B3"?`},
		{words.Terminal, remark.New("guide.fitted", v("what", "hatch shut")), "Fitted: hatch shut."},
		{words.Terminal, stopped, "stopped before every station was visited; resume it with --resume"},
		{words.Page, stopped, "Stopped early. Everything captured so far is kept, and it can be resumed."},
		{words.Terminal, at(remark.New("walk.keeps-axes", remark.Values{"axes": "", "craft_axes": "[+x]"})), "run 3 goes on as it was begun, with no axes; the craft file has the axes [+x] by now: if those are right, begin a new run instead"},
		{words.Terminal, at(remark.New("walk.keeps-rhythm", remark.Values{"pulses": 4, "on_s": 2.0, "off_s": 2.5})), "run 3 goes on as it was begun, with 4 pulses of 2 s on and 2.5 s off: begin a new run for another rhythm"},
		{words.Terminal, measured, "everything is measured; keep one with --choose N"},
		{words.Page, measured, "everything is measured: choose a spot"},
		{words.Terminal, at(remark.New("progress.run", remark.Values{"captures": 1, "finished": false})), "run 3, 1 capture, not finished"},
		{words.Terminal, remark.New("progress.to-walk", remark.Values{"captures": 15, "most": 12}), "15 captures to take, at the 12 stations that cover the craft best"},
		{words.Terminal, remark.New("progress.described", remark.Values{"stations": 9, "base": false, "loads": 1}), "9 stations, no base station, 1 load"},
		{words.Terminal, remark.New("swing.turntable", remark.Values{"heading": "045", "by_deg": -14.6}), "from heading 045 on everything is turned by -15 degrees: the turntable or the reference moved; fix it and swing again"},
		{words.Terminal, remark.New("swing.over-limit", remark.Values{"deviation_deg": 6.04, "heading_deg": 45.0, "limit_deg": 5.0}), "the deviation reaches 6.0 degrees at heading 045, and the limit is 5"},
		{words.Terminal, remark.New("swing.from:line", remark.Values{"true_deg": 73.5, "declination_deg": -2.345}), "a line at 73.5 degrees true, declination -2.35 degrees"},
		{words.Page, remark.New("swing.no-axes"), "no axes are known for the module, so its x is taken for the nose and its z for down: make the arrow check and store the axes first"},
		{words.Terminal, remark.New("arrow.held:rolled", v("to", "left")), "from nose north, roll it onto its left side"},
		{words.Terminal, remark.New("arrow.strength", v("ratio", 1.304)), "the field read is 1.30 times the reference: an unusual room, or a wrong unit"},
	} {
		if got := tt.face.Say(tt.r); got != tt.want {
			t.Errorf("%s: %s\nwant %s", tt.r.Code, got, tt.want)
		}
	}
}
