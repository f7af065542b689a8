package swing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/arrow"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/number"
)

// headingName returns the name of a mark: three digits, and decimals where it has
// any.
func headingName(deg float64) string {
	deg = heading.Wrap360(deg)
	whole := fmt.Sprintf("%03.0f", deg)
	if deg == math.Trunc(deg) {
		return whole
	}
	return fmt.Sprintf("%05.1f", deg)
}

// ParseHeading reads a name of a mark back.
func ParseHeading(name string) (float64, error) {
	v, ok := number.Parse(strings.TrimSpace(name))
	if !ok || !(v >= -360 && v <= 360) {
		return 0, fmt.Errorf("%.40q is no heading: give degrees, 0 to 360", name)
	}
	return heading.Wrap360(v), nil
}

// parsePose reads a pose: its name, alone or after "nose", or a letter for the
// four level ones, in any letter case.
func parsePose(text string) (arrow.PoseName, error) {
	word := strings.TrimSpace(strings.TrimPrefix(strings.ToLower(strings.TrimSpace(text)), "nose "))
	if full, ok := map[string]string{"n": "north", "e": "east", "s": "south", "w": "west", "upside down": "inverted"}[word]; ok {
		word = full
	}
	if slices.Contains(arrow.PoseNames(), arrow.PoseName(word)) {
		return arrow.PoseName(word), nil
	}
	return "", fmt.Errorf("%.40q is no pose: north, east, south, west, up, down, left, right or inverted", text)
}

// Held says how to hold the craft at a stop, a mark or a pose.
func Held(stop string) remark.Remark {
	if _, err := ParseHeading(stop); err == nil {
		return remark.New("swing.held", remark.Values{"mark": stop})
	}
	return arrow.PoseName(stop).Held()
}

// UsualPoses returns the poses of an arrow check. The quick check has three with a
// calibrated probe, and one more without, which tells mirrored axes from turned
// ones.
func UsualPoses(quick, calibrated bool) []arrow.PoseName {
	switch {
	case quick && calibrated:
		return []arrow.PoseName{arrow.NoseNorth, arrow.NoseEast, arrow.NoseDown}
	case quick:
		return []arrow.PoseName{arrow.NoseNorth, arrow.NoseEast, arrow.NoseDown, arrow.NoseSouth}
	}
	return []arrow.PoseName{arrow.NoseNorth, arrow.NoseEast, arrow.NoseSouth, arrow.NoseWest, arrow.NoseDown}
}

// UsualHeadings returns n marks evenly all round and the first one again at the
// end, which shows whether anything moved meanwhile.
func UsualHeadings(n int) []float64 {
	out := make([]float64, 0, n+1)
	for i := range n {
		out = append(out, 360*float64(i)/float64(n))
	}
	return append(out, 0)
}

// route returns a walk through named stops. They have no place, so that the guide
// compares none with its neighbours.
func route(names []string) *guide.Route {
	r := &guide.Route{Rules: guide.DefaultRules(), Rhythm: logbook.DefaultRhythm()}
	seen := map[string]bool{}
	for _, n := range names {
		kind := logbook.VisitStation
		if seen[n] {
			kind = logbook.VisitRepeat
		}
		seen[n] = true
		r.Visits = append(r.Visits, guide.Visit{Station: survey.Station{Name: n, At: r3.Vec{}}, Kind: kind})
	}
	return r
}

// stops returns the names along a route, a name that comes again each time.
func stops(r *guide.Route) []string {
	var names []string
	for _, v := range r.Visits {
		names = append(names, v.Station.Name)
	}
	return names
}

// ArrowRoute returns the walk through poses.
func ArrowRoute(poses []arrow.PoseName) *guide.Route {
	var names []string
	for _, p := range poses {
		names = append(names, string(p))
	}
	return route(names)
}

// HeadingRoute returns the walk through marks.
func HeadingRoute(headings []float64) *guide.Route {
	var names []string
	for _, h := range headings {
		names = append(names, headingName(h))
	}
	return route(names)
}

// parseHeadings reads a list of marks apart by commas.
func parseHeadings(list string) ([]float64, error) {
	var out []float64
	for word := range strings.SplitSeq(list, ",") {
		h, err := ParseHeading(word)
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	return out, nil
}

// ParsePoses reads a list of poses apart by commas.
func ParsePoses(list string) ([]arrow.PoseName, error) {
	var out []arrow.PoseName
	for word := range strings.SplitSeq(list, ",") {
		p, err := parsePose(word)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}
