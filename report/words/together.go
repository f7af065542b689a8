package words

import (
	"fmt"
	"maps"
	"strings"
	"text/template"

	"quietmount/magmath/remark"
	"quietmount/report/say"
)

// several ends the key of the words that stand for remarks which differ in nothing
// but their place. Such words see {{.where}}, the places in words, and {{.count}}
// beside the values of the first.
const several = ":several"

// Together returns the sentences for rs, in their order, those that would say the
// same of several captures or loads as one; never nil. It is for readers: a
// companion in codes keeps them apart.
func (f Face) Together(rs []remark.Remark) []string {
	t := faces[f]()
	groups, order := map[string][]remark.Remark{}, []string{}
	for i, r := range rs {
		key := fmt.Sprint(i)
		if t.Lookup(r.Code+several) != nil {
			key = r.Code + ": " + ofSeveral(t, r, "", 0)
		}
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], r)
	}
	out := make([]string, 0, len(order))
	for _, key := range order {
		if g := groups[key]; len(g) > 1 {
			out = append(out, ofSeveral(t, g[0], where(g), len(g)))
		} else {
			out = append(out, worded(t, g[0]))
		}
	}
	return out
}

// ofSeveral returns the words for remarks like r at count places.
func ofSeveral(t *template.Template, r remark.Remark, where string, count int) string {
	data := map[string]any{"where": where, "count": count}
	maps.Copy(data, r.Values)
	text, err := execute(t, r.Code+several, data)
	if err != nil {
		return plain(r)
	}
	return text
}

// where lists the places of remarks: loads by their names, captures run by run.
func where(rs []remark.Remark) string {
	if rs[0].Place.Run == 0 {
		names := make([]string, len(rs))
		for i, r := range rs {
			names[i] = fmt.Sprintf("%q", r.Place.Load)
		}
		return say.Listed(names)
	}
	var runs []string
	for len(rs) > 0 {
		var captures []string
		run := rs[0].Place.Run
		for len(rs) > 0 && rs[0].Place.Run == run {
			captures = append(captures, fmt.Sprintf("%d at %s", rs[0].Place.Capture, rs[0].Place.Station))
			rs = rs[1:]
		}
		noun := "capture"
		if len(captures) > 1 {
			noun = "captures"
		}
		runs = append(runs, fmt.Sprintf("run %d, %s %s", run, noun, say.Listed(captures)))
	}
	return strings.Join(runs, "; ")
}
