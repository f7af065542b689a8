package live

import (
	"encoding/json"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/report/answer"
	"quietmount/report/draw"
	"quietmount/report/live/serve"
	"quietmount/report/picture"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/verify"
)

// surveyed is a folder with a simulated survey of the invented catamaran; it may
// be changed.
func surveyed(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../../testdata/example-sandpiper")); err != nil {
		t.Fatal(err)
	}
	return dir
}

// example is a bench over a surveyed folder that tests share, so that its
// findings are computed once: they change nothing in it.
func example(t testing.TB) *Server {
	t.Helper()
	shared.once.Do(func() {
		if shared.dir, shared.err = os.MkdirTemp("", "quietmount-example-*"); shared.err == nil {
			shared.err = os.CopyFS(shared.dir, os.DirFS("../../testdata/example-sandpiper"))
		}
		if shared.err == nil {
			shared.bench = benchAt(t, shared.dir)
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.bench
}

var shared struct {
	once  sync.Once
	dir   string
	bench *Server
	err   error
}

// data asks for a panel's data until it is computed.
func data[T any](t testing.TB, s *Server, path string) T {
	t.Helper()
	for began := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		w := request(t, s, "/data/"+path, nil)
		var v T
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		var how struct{ Progress computing }
		if err := json.Unmarshal(w.Body.Bytes(), &how); err != nil {
			t.Fatal(err)
		}
		if how.Progress.Busy {
			if time.Since(began) > time.Minute {
				t.Fatalf("%s is still being computed", path)
			}
			continue
		}
		if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// file asks for a picture or a download.
func file(t testing.TB, s *Server, path string) string {
	t.Helper()
	w := request(t, s, path, nil)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: %d %s", path, w.Code, w.Body)
	}
	return w.Body.String()
}

// mm writes millimetres as a form sends them.
func mm(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }

// foundIn are the findings of a folder, computed beside the page.
func foundIn(t testing.TB, dir string) (*evaluate.Findings, *rank.Ranking) {
	t.Helper()
	f, err := logbook.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	found, err := evaluate.Evaluate(t.Context(), f.Craft, f.Runs, evaluate.Options{})
	if err != nil {
		t.Fatal(err)
	}
	ranking, err := rank.Rank(t.Context(), found, rank.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return found, ranking
}

// refused is the answer to a form that cannot be taken.
func refused(t testing.TB, s *Server, path string, form url.Values) serve.Failure {
	t.Helper()
	w := request(t, s, path, form)
	var f serve.Failure
	if err := json.Unmarshal(w.Body.Bytes(), &f); err != nil || w.Code != http.StatusUnprocessableEntity || f.Error == "" {
		t.Errorf("%s %v: %d %s", path, form, w.Code, w.Body)
	}
	return f
}

// TestAnswersOfASurvey holds what the panels show against the findings, and the
// findings against the invented craft's own fields.
func TestAnswersOfASurvey(t *testing.T) {
	dir := surveyed(t)
	s := benchAt(t, dir)
	found, ranking := foundIn(t, dir)
	t.Run("map", func(t *testing.T) { mapAgainst(t, s, found) })
	t.Run("sources", func(t *testing.T) { sourcesAgainst(t, s) })
	t.Run("whatif", func(t *testing.T) { whatifAgainst(t, s, found, ranking) })
	t.Run("choose", func(t *testing.T) { chooseAgainst(t, s, dir, ranking) }) // last: it changes the folder
}

type mapShown struct {
	Part    string
	Parts   []picture.MapPart
	Picture *shownPicture
	Trust   string    `json:"standard_error_picture"`
	Spot    draw.Spot `json:"picture_spot"`
	Values  string
	LeftOut map[string]leftOutView `json:"left_out"`
}

type valuesShown struct {
	Xmm      float64 `json:"x_mm"`
	Ymm      float64 `json:"y_mm"`
	StepMM   float64 `json:"step_mm"`
	Rows     int
	Columns  int
	Ground   string
	Deg      []*float64 `json:"heading_error_deg"`
	DegMost  []*float64 `json:"heading_error_upper95_deg"`
	UT       []*float64 `json:"disturbance_ut"`
	Stations []struct{ Name string }
}

func mapAgainst(t *testing.T, s *Server, found *evaluate.Findings) {
	v := data[mapShown](t, s, "map")
	if v.Part != picture.PartShifting || len(v.Parts) != 5 || v.LeftOut["shifting"].RMSE == nil || v.Trust == "" {
		t.Errorf("%+v", v)
	}
	light := file(t, s, v.Picture.Address)
	if dark := file(t, s, v.Picture.Dark); !strings.Contains(light, "<svg") || dark == light {
		t.Error("the dark picture is the light one, or there is none")
	}
	if !strings.Contains(file(t, s, v.Trust), "standard error") {
		t.Error("no picture of the standard error")
	}
	if pdf := file(t, s, "/file/map/download?format=pdf&part=steady"); !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("%.20q is no PDF", pdf)
	}
	steady := data[mapShown](t, s, "map?part=steady")
	var n valuesShown
	text := file(t, s, steady.Values)
	if err := json.Unmarshal([]byte(text), &n); err != nil || len(n.UT) != n.Rows*n.Columns || len(n.Ground) != len(n.UT) || len(n.Stations) != len(found.Stations) {
		t.Fatalf("%v, %d by %d, %d numbers", err, n.Rows, n.Columns, len(n.UT))
	}
	if len(text) > 120_000 {
		t.Errorf("the numbers take %d bytes", len(text))
	}
	known := 0
	for i, ut := range n.UT {
		row, column := i/n.Columns, i%n.Columns
		x, y := n.Xmm+n.StepMM*float64(row), n.Ymm+n.StepMM*float64(column)
		inside := min(350-math.Abs(x), 180-math.Abs(y)) // of the catamaran's deck
		if math.Abs(inside) > 1e-3 && (n.Ground[i] == picture.GroundOff) == (inside > 0) {
			t.Fatalf("x %g, y %g is taken for %c", x, y, n.Ground[i])
		}
		if ut == nil {
			continue
		}
		known++
		mean, _ := found.Map.Steady.At(found.Craft.Module.SensorAt(r3.Vec{X: x, Y: y, Z: -20}, 0))
		if want := r3.Norm(mean); math.Abs(*ut-want) > 0.006*want {
			t.Fatalf("x %g, y %g: %g uT, the map has %g", x, y, *ut, want)
		}
		if n.Deg[i] == nil || n.DegMost[i] == nil || *n.Deg[i] > *n.DegMost[i] {
			t.Fatalf("x %g, y %g: error %v, bound %v", x, y, n.Deg[i], n.DegMost[i])
		}
	}
	if known < 1000 {
		t.Errorf("%d numbers", known)
	}
	for query, field := range map[string]string{"part=propeller": "part", "height_mm=40": "height_mm", "height_mm=x": "height_mm"} {
		w := request(t, s, "/file/map/values?"+query, nil)
		if !strings.Contains(w.Body.String(), `"field":"`+field+`"`) {
			t.Errorf("%s: %d %s", query, w.Code, w.Body)
		}
	}
}

type chooseShown struct {
	Answer  struct{ Spots []struct{ Rank int } }
	Verdict string
	Chosen  *struct{ Changed string }
	Plan    *struct{ Spots []planSpot }
}

func chooseAgainst(t *testing.T, s *Server, dir string, ranking *rank.Ranking) {
	if err := os.Remove(filepath.Join(dir, logbook.ChoiceFile)); err != nil {
		t.Fatal(err)
	}
	v := data[chooseShown](t, s, "choose")
	if len(v.Answer.Spots) != len(ranking.Spots) || len(v.Plan.Spots) != len(ranking.Spots) || v.Chosen != nil || v.Verdict == "" {
		t.Errorf("%+v", v)
	}
	page := request(t, s, "/panel/choose", nil).Body.String()
	if n := strings.Count(page, `class="c-spot"`); n != len(ranking.Spots) {
		t.Errorf("%d spots on the page, %d ranked", n, len(ranking.Spots))
	}
	second := ranking.Spots[1]
	form := func(rank string, at r3.Vec) url.Values {
		return url.Values{"rank": {rank}, "x_mm": {mm(at.X)}, "y_mm": {mm(at.Y)}, "z_mm": {mm(at.Z)}}
	}
	if f := refused(t, s, "/do/choose/spot", form("1", second.At)); f.Field != "rank" {
		t.Errorf("another spot's place: %+v", f)
	}
	if f := refused(t, s, "/do/choose/spot", url.Values{"rank": {"0"}}); f.Field != "rank" {
		t.Errorf("%+v", f)
	}
	if w := request(t, s, "/do/choose/spot", form("2", second.At)); w.Code != http.StatusOK {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	choice, err := logbook.LoadChoice(dir)
	if err != nil {
		t.Fatal(err)
	}
	if choice.Spot.Rank != 2 || !samePlace(choice.At(), second.At) || choice.Tool != "test" || len(choice.Runs) == 0 {
		t.Errorf("stored %+v", choice)
	}
	if problems := verify.Folder(t.Context(), dir); len(problems) > 0 {
		t.Errorf("the stored choice does not stand up: %v", problems)
	}
	if w := request(t, s, "/do/choose/place", url.Values{"x_mm": {"-60"}, "y_mm": {"0"}, "z_mm": {"-20"}}); w.Code != http.StatusOK {
		t.Fatalf("by hand: %d %s", w.Code, w.Body)
	}
	if choice, err = logbook.LoadChoice(dir); err != nil || !choice.ByHand || choice.Spot.XMM != -60 {
		t.Errorf("by hand: %+v, %v", choice, err)
	}
	for _, bad := range []struct{ x, y, z, field string }{{"", "0", "-20", "x_mm"}, {"1", "left", "-20", "y_mm"}, {"1", "2", "500", "z_mm"}, {"1", "2", "1e9", "z_mm"}} {
		if f := refused(t, s, "/do/choose/place", url.Values{"x_mm": {bad.x}, "y_mm": {bad.y}, "z_mm": {bad.z}}); f.Field != bad.field {
			t.Errorf("%+v: %+v", bad, f)
		}
	}
}

// The catamaran's sources are those of sim.Sandpiper: a hatch magnet at 110, 0,
// -10 and a battery at 60, 0, 40, which the craft file names, and one that it
// does not.
func sourcesAgainst(t *testing.T, s *Server) {
	type sources struct {
		Answer struct {
			Sources []struct {
				Part  *string
				State string
				At    [3]float64 `json:"at_mm"`
			}
		}
	}
	named, unnamed := map[string]bool{}, 0
	for _, c := range data[sources](t, s, "sources").Answer.Sources {
		if c.Part == nil {
			unnamed++
			continue
		}
		named[c.State+": "+*c.Part] = true
	}
	for _, want := range []string{"unpowered: hatch magnet", "unpowered: battery", "left thruster: left lead", "right thruster: right lead"} {
		if !named[want] {
			t.Errorf("%s is missing from %v", want, named)
		}
	}
	if unnamed != 1 {
		t.Errorf("%d unnamed sources", unnamed)
	}
	if page := request(t, s, "/panel/sources", nil).Body.String(); !strings.Contains(page, `<th scope="row">hatch magnet</th>`) {
		t.Errorf("the magnet is not in the table:\n%s", page)
	}
}

type whatifShown struct {
	Changes []triedChange
	Part    string
	Problem string
	Before  *shownPicture
	After   *shownPicture
	Answer  *struct {
		OldBest *answer.Spot                  `json:"old_best_after"`
		Before  struct{ Spots []answer.Spot } `json:"before"`
	}
}

// What a magnet adds is held against the field of a dipole, mu0 m / (2 pi r^3)
// on its axis (a textbook's): a disc of N42 of 20 by 5 mm, 100 mm under the
// place of the sensor.
func whatifAgainst(t *testing.T, s *Server, found *evaluate.Findings, ranking *rank.Ranking) {
	if v := data[whatifShown](t, s, "whatif"); v.Answer != nil || len(v.Changes) != 0 {
		t.Errorf("something is tried unasked: %+v", v)
	}
	best := ranking.Spots[0].At
	sensor := found.Craft.Module.SensorAt(best, 0)
	magnet := url.Values{
		"kind": {"magnet"}, "diameter_mm": {"20"}, "thickness_mm": {"5"}, "grade": {"n42"}, "along": {"z"},
		"x_mm": {mm(sensor.X)}, "y_mm": {mm(sensor.Y)}, "z_mm": {mm(sensor.Z + 100)},
	}
	query := tried(t, s, magnet)
	v := data[whatifShown](t, s, "whatif?"+query)
	if len(v.Changes) != 1 || v.Part != picture.PartSteady || v.Answer == nil || v.Answer.OldBest == nil {
		t.Fatalf("%+v", v)
	}
	br, _, err := source.Grade("N42")
	if err != nil {
		t.Fatal(err)
	}
	volume := math.Pi * 10 * 10 * 5 * 1e-9
	moment := br / (4e-7 * math.Pi) * volume
	want := 1e6 * 4e-7 * math.Pi * moment / (2 * math.Pi * 1e-3)
	if got := v.Answer.OldBest.SteadyUT.Estimate; math.Abs(got-want) > 0.1*want {
		t.Errorf("the magnet gives %.1f uT, on the axis of a dipole it is %.1f", got, want)
	}
	if before, after := file(t, s, v.Before.Address), file(t, s, v.After.Address); before == after {
		t.Error("the map is the same after the change")
	}
	if was := v.Answer.Before.Spots[0]; was.Xmm != math.Round(best.X*1e6)/1e6 && math.Abs(was.Xmm-best.X) > 1e-3 {
		t.Errorf("the ranking before is another: %+v", was)
	}
	form := url.Values{"kind": {"move"}, "part": {"hatch magnet"}, "x_mm": {"0"}, "y_mm": {"0"}, "z_mm": {"-10"}}
	form["change"] = []string{v.Changes[0].Query}
	query = tried(t, s, form)
	form.Set("x_mm", "20")
	form["change"], _ = changesIn(query)
	both, _ := changesIn(tried(t, s, form))
	if len(both) != 2 || !strings.Contains(both[1], "x_mm=20") {
		t.Errorf("the second move of a part does not take the place of the first: %v", both)
	}
	long := url.Values{"kind": {"cable"}, "cable_mm": {"400"}}
	query = tried(t, s, long)
	long["change"], _ = changesIn(query)
	long.Set("cable_mm", "500")
	query = tried(t, s, long)
	if all, _ := changesIn(query); len(all) != 1 || !strings.Contains(all[0], "cable_mm=500") {
		t.Errorf("the second length of the cable does not take the place of the first: %v", all)
	}
	long["change"], _ = changesIn(query)
	long.Set("kind", "height")
	long.Set("height_mm", "40")
	if v := data[whatifShown](t, s, "whatif?"+tried(t, s, long)); len(v.Changes) != 2 || v.Answer == nil || len(v.Answer.Before.Spots) == 0 {
		t.Errorf("a longer cable and a higher mount: %+v", v)
	}
	if again := data[whatifShown](t, s, "whatif?change="+url.QueryEscape("kind=without&part=anchor")); again.Problem == "" || again.Answer != nil {
		t.Errorf("a part that does not exist: %+v", again)
	}
}

// tried sends a change and gives the query that the page asks with then.
func tried(t *testing.T, s *Server, form url.Values) string {
	t.Helper()
	w := request(t, s, "/do/whatif/try", form)
	var v struct{ Query string }
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil || w.Code != http.StatusOK || v.Query == "" {
		t.Fatalf("%v: %d %s", form, w.Code, w.Body)
	}
	return v.Query
}

func changesIn(query string) ([]string, error) {
	v, err := url.ParseQuery(query)
	return v["change"], err
}

func TestWhatIfRefusesWithTheField(t *testing.T) {
	s := quietBench(t)
	at := func(more ...string) url.Values {
		v := url.Values{"x_mm": {"1"}, "y_mm": {"2"}, "z_mm": {"-20"}}
		for i := 0; i < len(more); i += 2 {
			v.Set(more[i], more[i+1])
		}
		return v
	}
	disc := []string{"kind", "magnet", "diameter_mm", "10", "thickness_mm", "2", "grade", "N42", "along", "x"}
	lead := []string{"kind", "lead", "current_a", "10", "gap_mm", "3", "to_x_mm", "0", "to_y_mm", "0", "to_z_mm", "0"}
	for field, form := range map[string]url.Values{
		"kind":         at("kind", "anchor"),
		"diameter_mm":  at(append(disc, "diameter_mm", "-1")...),
		"thickness_mm": at(append(disc, "thickness_mm", "")...),
		"grade":        at(append(disc, "grade", "N99")...),
		"along":        at(append(disc, "along", "up")...),
		"x_mm":         at(append(disc, "x_mm", "nan")...),
		"z_mm":         at(append(disc, "z_mm", "")...),
		"current_a":    at(append(lead, "current_a", "0")...),
		"gap_mm":       at(append(lead, "gap_mm", "x")...),
		"load":         at(append(lead, "load", "anchor winch")...),
		"to_x_mm":      at(append(lead, "to_x_mm", "1", "to_y_mm", "2", "to_z_mm", "-20")...),
		"part":         at("kind", "move", "part", "anchor"),
		"change":       at("kind", "without", "part", "battery", "change", "%zz"),
	} {
		if f := refused(t, s, "/do/whatif/try", form); f.Field != field {
			t.Errorf("want the field %s: %+v", field, f)
		}
	}
}

// TestBeforeAnythingIsMeasured: the panels say what has to be done first.
func TestBeforeAnythingIsMeasured(t *testing.T) {
	s := quietBench(t)
	for _, name := range []string{"map", "choose", "sources"} {
		if v := data[struct{ Wait string }](t, s, name); !strings.Contains(v.Wait, "Walk") {
			t.Errorf("%s: %q", name, v.Wait)
		}
		if page := request(t, s, "/panel/"+name, nil).Body.String(); strings.Contains(page, `role="alert"`) {
			t.Errorf("%s takes it for a failure:\n%s", name, page)
		}
	}
}

// TestDescribePointsAtErrors breaks a craft file that was read before: the page
// points at the place, and the drawing stays.
func TestDescribePointsAtErrors(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, craftfile.Name)
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	type described struct {
		Lines   []tomlLine
		Faults  []fault
		Picture *shownPicture
		Old     bool `json:"picture_is_old"`
		Missing string
	}
	s := benchAt(t, dir)
	if v := data[described](t, s, "describe"); v.Missing == "" {
		t.Errorf("without a file: %+v", v)
	}
	sound := string(sim.SandpiperTOML())
	write(sound)
	v := data[described](t, s, "describe")
	if len(v.Faults) != 0 || v.Picture == nil || v.Old || len(v.Lines) != strings.Count(sound, "\n") {
		t.Fatalf("a sound file: %+v", v)
	}
	if svg := file(t, s, v.Picture.Address); !strings.Contains(svg, "battery, 430 g") {
		t.Error("the battery is not drawn")
	}
	write(strings.NewReplacer("spacing_mm = 60", `spacing_mm = "<b>wide</b>"`, `["hatch shut", "pack A"]`, `["écoutille", 3]`).Replace(sound))
	v = data[described](t, s, "describe")
	if len(v.Faults) != 2 || !v.Old || v.Picture == nil {
		t.Fatalf("a broken file: %+v", v.Faults)
	}
	for _, f := range v.Faults {
		line := v.Lines[f.Line-1]
		if whole := line.Text + line.Fault + line.After; !line.Faulty || len([]rune(line.Text)) != f.Column-1 || !strings.Contains(whole, "=") {
			t.Errorf("line %d, column %d: %+v", f.Line, f.Column, line)
		}
	}
	page := request(t, s, "/panel/describe", nil).Body.String()
	if strings.Contains(page, "<b>") || !strings.Contains(page, "<mark>&#34;</mark>&lt;b&gt;wide") {
		t.Errorf("the fault is not marked, or not escaped:\n%s", page)
	}
}

// TestHostileNames: what stands in a craft file stays text on every panel.
func TestHostileNames(t *testing.T) {
	dir := surveyed(t)
	name := filepath.Join(dir, craftfile.Name)
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	hostile := `<img src=x onerror='alert(1)'>`
	text = []byte(strings.ReplaceAll(strings.ReplaceAll(string(text), `"hatch magnet"`, `"`+hostile+`"`), `"hatch"`, `"</svg>`+hostile+`"`))
	if err := os.WriteFile(name, text, 0o600); err != nil {
		t.Fatal(err)
	}
	s := benchAt(t, dir)
	query := tried(t, s, url.Values{"kind": {"without"}, "part": {hostile}})
	seen := 0
	for _, panel := range []string{"describe", "mark", "map", "choose", "sources", "whatif?" + query} {
		data[any](t, s, panel)
		page := request(t, s, "/panel/"+panel, nil).Body.String()
		if strings.Contains(page, "<img src=x") || strings.Contains(page, "</svg><img") {
			t.Errorf("%s lets a name be more than text", panel)
		}
		if strings.Contains(page, "&lt;img src=x") {
			seen++
		}
	}
	if seen < 3 {
		t.Errorf("the name is shown by %d panels only", seen)
	}
}

// FuzzTrial reads changes as a page might send them: no panic, a *serve.FieldError or
// finite places, and what is read comes back from its own query.
func FuzzTrial(f *testing.F) {
	for _, seed := range []string{
		"kind=magnet&diameter_mm=10&thickness_mm=2&grade=N42&along=-x&x_mm=1&y_mm=2,5&z_mm=-20",
		"kind=lead&current_a=18&gap_mm=3&load=left+thruster&x_mm=1&y_mm=2&z_mm=3&to_x_mm=4&to_y_mm=5&to_z_mm=6",
		"kind=move&part=battery&x_mm=1&y_mm=2&z_mm=3", "kind=turn&part=hatch+magnet&along=z", "kind=without&part=left+lead",
		"kind=magnet&diameter_mm=NaN", "kind=move&part=%00", "%zz", "", "kind=lead&current_a=1e309",
	} {
		f.Add(seed, seed)
	}
	craft, err := craftfile.Parse(sim.SandpiperTOML(), "craft.toml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, one, two string) {
		read, err := readTrial(serve.Form{Values: url.Values{"change": {one, two}}}, craft)
		if err != nil {
			if bad, ok := err.(*serve.FieldError); !ok || bad.Field == "" {
				t.Fatalf("%q, %q: %v names no field", one, two, err)
			}
			return
		}
		for _, m := range read.Changes.AddMagnets {
			if v := m.AtMM.X + m.AtMM.Y + m.AtMM.Z + r3.Norm(m.MomentAm2); math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%q gives %+v", one, m)
			}
		}
		values, err := url.ParseQuery(read.query(""))
		if err != nil {
			t.Fatal(err)
		}
		again, err := readTrial(serve.Form{Values: values}, craft)
		if err != nil || strings.Join(again.Words, "|") != strings.Join(read.Words, "|") || again.query("") != read.query("") {
			t.Fatalf("%q, %q become %q, then %v, %v", one, two, read.Words, again, err)
		}
	})
}
