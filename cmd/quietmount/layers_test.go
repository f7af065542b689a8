package main

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// imports lists the packages of the module with what each imports itself.
func imports(t *testing.T) map[string][]string {
	t.Helper()
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "quietmount/...").Output()
	if err != nil {
		t.Skipf("go list is not possible here: %v", err)
	}
	all := map[string][]string{}
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		all[words[0]] = words[1:]
	}
	if len(all) < 10 {
		t.Fatalf("only %d packages", len(all))
	}
	return all
}

// layer is the height of a package in the house; outside of it, -1.
func layer(pkg string) int {
	for i, prefix := range []string{"quietmount/magmath", "quietmount/survey", "quietmount/report", "quietmount/cmd"} {
		if pkg == prefix || strings.HasPrefix(pkg, prefix+"/") {
			return i
		}
	}
	return -1
}

func TestImportsGoDownwardsOnly(t *testing.T) {
	for pkg, uses := range imports(t) {
		for _, u := range uses {
			if l := layer(u); l > layer(pkg) {
				t.Errorf("%s imports %s", pkg, u)
			}
		}
	}
}

// surveyUses names, for each package of the survey, the packages of the survey
// that it may import besides survey itself. Each stands below the packages
// that name it, so no cycle is possible.
var surveyUses = []struct{ pkg, uses string }{
	{"number", ""},
	{"disk", ""},
	{"craftfile", "disk number"},
	{"logbook", "craftfile disk number"},
	{"csvfile", "disk logbook number"},
	{"verify", "craftfile logbook"},
	{"link", ""},
	{"calibrate", "link logbook"},
	{"guide", "logbook"},
	{"walk", "guide link logbook"},
	{"sim", "craftfile guide link logbook number"},
	{"evaluate", "logbook"},
	{"balance", ""},
	{"gate", "evaluate logbook"},
	{"rank", "balance evaluate gate logbook"},
	{"sources", "evaluate"},
	{"prove", "evaluate logbook rank"},
	{"whatif", "evaluate rank sources"},
	{"compare", "evaluate logbook rank sources"},
	{"progress", "craftfile evaluate guide logbook rank"},
	{"swing", "csvfile evaluate guide logbook number rank walk"},
}

// helperUses names the packages that only tests import.
var helperUses = []struct{ pkg, uses string }{
	{"logbook/logbooktest", "craftfile logbook"},
	{"sim/trial", "craftfile logbook sim"},
	{"sim/builtcraft", "logbook"},
	{"sim/walktest", "logbook sim sim/trial"},
	{"evaluate/evaluatetest", "evaluate logbook sim sim/trial sim/walktest"},
}

// magmathHelpers are the packages of magmath that only tests import.
var magmathHelpers = []string{"quietmount/magmath/simtest", "quietmount/magmath/arrow/arrowtest"}

func TestSurveyImportsGoDownwardsOnly(t *testing.T) {
	const root = "quietmount/survey/"
	all := imports(t)
	known, helper := map[string]bool{}, map[string]bool{}
	check := func(pkg, may string) {
		uses, ok := all[root+pkg]
		if !ok {
			t.Errorf("there is no package %s%s", root, pkg)
		}
		for _, u := range uses {
			if name, ok := strings.CutPrefix(u, root); ok && !slices.Contains(strings.Fields(may), name) {
				t.Errorf("%s%s imports %s", root, pkg, u)
			}
		}
		for _, u := range strings.Fields(may) {
			if !known[u] {
				t.Errorf("%s may import %s, which does not stand below it", pkg, u)
			}
			if !slices.Contains(uses, root+u) {
				t.Errorf("%s imports %s no more: take it off the list", pkg, u)
			}
		}
		known[pkg] = true
	}
	for _, s := range surveyUses {
		check(s.pkg, s.uses)
	}
	for _, s := range helperUses {
		check(s.pkg, s.uses)
		helper[root+s.pkg] = true
	}
	for _, u := range all["quietmount/survey"] {
		if layer(u) == 1 {
			t.Errorf("survey itself imports %s", u)
		}
	}
	for pkg, uses := range all {
		if name, ok := strings.CutPrefix(pkg, root); ok && !known[name] {
			t.Errorf("%s has no place in the order", pkg)
		}
		for _, u := range uses {
			if helper[u] && !helper[pkg] && !strings.HasPrefix(pkg, "quietmount/report/internal/") {
				t.Errorf("%s imports %s, which is for tests", pkg, u)
			}
		}
	}
}

// The second generator of craft makes its fields without any forward model of
// the tool, or it would judge the tool by the tool's own laws.
func TestBuiltCraftHasNoForwardModelOfTheTool(t *testing.T) {
	may := []string{"quietmount/survey", "quietmount/survey/logbook"}
	uses := imports(t)["quietmount/survey/sim/builtcraft"]
	if len(uses) == 0 {
		t.Error("there is no package survey/sim/builtcraft")
	}
	for _, u := range uses {
		if layer(u) >= 0 && !slices.Contains(may, u) {
			t.Errorf("survey/sim/builtcraft imports %s", u)
		}
	}
}

// What a person sees is made of packages that each use only those before them.
func TestReportImportsGoDownwardsOnly(t *testing.T) {
	order := []string{"say", "words", "text", "console", "contour", "pdf", "sheet", "answer", "draw", "picture", "record", "filing", "template", "live/serve", "live/conduct", "live"}
	place := func(pkg string) int {
		return slices.Index(order, strings.TrimPrefix(pkg, "quietmount/report/"))
	}
	for pkg, uses := range imports(t) {
		if layer(pkg) != 2 || strings.Contains(pkg, "/internal/") {
			continue
		}
		if place(pkg) < 0 {
			t.Errorf("%s has no place in the order", pkg)
		}
		for _, u := range uses {
			if layer(u) == 2 && (place(u) < 0 || place(u) > place(pkg)) {
				t.Errorf("%s imports %s", pkg, u)
			}
		}
	}
}

// magmath does no input or output, reads no clock and starts nothing (sync serves it
// for constants read once). A date
// may go in as a time.Time, but none is asked for.
func TestMagmathIsPure(t *testing.T) {
	banned := []string{"os", "os/exec", "log", "log/slog", "net", "net/http", "io/fs", "path/filepath", "syscall", "flag", "testing"}
	for pkg, uses := range imports(t) {
		for _, u := range uses {
			if slices.Contains(magmathHelpers, u) {
				t.Errorf("%s imports %s, which is for tests", pkg, u)
			}
			if layer(pkg) == 0 && slices.Contains(banned, u) && !slices.Contains(magmathHelpers, pkg) {
				t.Errorf("%s imports %s", pkg, u)
			}
		}
	}
	root := filepath.Join("..", "..", "magmath")
	clock := regexp.MustCompile(`\btime\.(Now|Since|Until|Sleep|After|AfterFunc|Tick|NewTicker|NewTimer)\(|^\s*go `)
	files := 0
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(name) != ".go" || strings.HasSuffix(name, "_test.go") {
			return err
		}
		files++
		data, err := os.ReadFile(name)
		for line := range strings.Lines(string(data)) {
			if clock.MatchString(line) {
				t.Errorf("%s: %s", name, strings.TrimSpace(line))
			}
		}
		return err
	})
	if err != nil || files < 20 {
		t.Errorf("%d files, %v", files, err)
	}
}

// The guide is a state machine: no terminal, no clock, no file. The context that
// it passes to the fit of a few neighbours is never cancelled.
func TestGuideTouchesNothing(t *testing.T) {
	for _, u := range imports(t)["quietmount/survey/guide"] {
		if slices.Contains([]string{"os", "time", "io", "log", "sync"}, u) {
			t.Errorf("survey/guide imports %s", u)
		}
	}
}
