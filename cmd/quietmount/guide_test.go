package main

import (
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// developers is the guide for contributors, and root the folder that its paths
// begin in.
const (
	root       = "../.."
	developers = "DEVELOPERS.md"
)

var (
	fenced   = regexp.MustCompile("(?s)```.*?```")
	quoted   = regexp.MustCompile("`[^`\n]+`")
	laidOut  = regexp.MustCompile(`(?m)^ *((?:cmd|report|survey|magmath|testdata)/\S*)  +\S`)
	followed = regexp.MustCompile("`([a-z/_]+\\.go)`((?:[:,] `[A-Za-z]+`)+)")
	invented = regexp.MustCompile(`\b(NAME|TOPIC)\b`)
	tested   = regexp.MustCompile(`\b(?:Test|Benchmark|Fuzz)[A-Z]\w*`)
)

// namedPaths returns the files and folders that a text names in backquotes or in
// its layout block. NAME and TOPIC stand for any name.
func namedPaths(text string) []string {
	var out []string
	for _, m := range laidOut.FindAllStringSubmatch(text, -1) {
		out = append(out, m[1])
	}
	for _, span := range quoted.FindAllString(fenced.ReplaceAllString(text, ""), -1) {
		for _, word := range strings.Fields(strings.Trim(span, "`")) {
			word = strings.TrimPrefix(strings.Trim(word, `'"`), "./")
			first, _, _ := strings.Cut(word, "/")
			if slices.Contains([]string{"cmd", "report", "survey", "magmath", "testdata", ".ci"}, first) ||
				slices.Contains([]string{".go", ".md", ".txt", ".html", ".css", ".js", ".txtar"}, path.Ext(word)) {
				out = append(out, invented.ReplaceAllString(word, "*"))
			}
		}
	}
	return out
}

// Every file and folder that the guide for contributors names exists, every
// function that it names behind a file is in that file, and every test and
// benchmark is somewhere.
func TestGuideForContributorsNamesWhatIsThere(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(root, developers))
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	paths := namedPaths(text)
	for _, name := range paths {
		if found, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(name))); err != nil || len(found) == 0 {
			t.Errorf("%s names %s, which is not there", developers, name)
		}
	}
	functions := 0
	for _, m := range followed.FindAllStringSubmatch(text, -1) {
		source, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(m[1])))
		if err != nil {
			continue // said above
		}
		for _, f := range quoted.FindAllString(m[2], -1) {
			functions++
			f = strings.Trim(f, "`")
			if !regexp.MustCompile(`(?m)^func (\([^)]*\) )?` + f + `[\[(]`).Match(source) {
				t.Errorf("%s names the function %s of %s, which is not there", developers, f, m[1])
			}
		}
	}
	there := testNames(t)
	for _, name := range tested.FindAllString(text, -1) {
		if !there[name] {
			t.Errorf("%s names %s, which is nowhere", developers, name)
		}
	}
	if len(paths) < 100 || functions < 40 || len(there) < 500 {
		t.Errorf("only %d paths, %d functions and %d tests were looked at", len(paths), functions, len(there))
	}
}

// testNames returns the names of all tests, benchmarks and fuzz targets.
func testNames(t *testing.T) map[string]bool {
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Benchmark|Fuzz)\w+)\(`)
	out := map[string]bool{}
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, "_test.go") {
			return err
		}
		data, err := os.ReadFile(name)
		for _, m := range declared.FindAllSubmatch(data, -1) {
			out[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Every folder of packages stands in the layout of the guide, but those that only
// tests import.
func TestGuideForContributorsListsEveryPackage(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(root, developers))
	if err != nil {
		t.Fatal(err)
	}
	var listed []string
	for _, m := range laidOut.FindAllStringSubmatch(string(data), -1) {
		listed = append(listed, "quietmount/"+strings.TrimSuffix(m[1], "/"))
	}
	helpers := slices.Clone(magmathHelpers)
	for _, h := range helperUses {
		helpers = append(helpers, "quietmount/survey/"+h.pkg)
	}
	for pkg := range imports(t) {
		if !slices.Contains(listed, pkg) && !slices.Contains(helpers, pkg) && !strings.Contains(pkg, "/internal/") {
			t.Errorf("%s does not list %s", developers, pkg)
		}
	}
}
