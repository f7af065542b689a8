package words_test

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"quietmount/magmath/remark"
	"quietmount/report/words"
)

// sources parses all Go files of the module's folders that are no tests.
func sources(t *testing.T, folders ...string) map[string]*ast.File {
	t.Helper()
	out := map[string]*ast.File{}
	set := token.NewFileSet()
	for _, folder := range folders {
		err := filepath.WalkDir(filepath.Join("..", "..", folder), func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
				return err
			}
			f, err := parser.ParseFile(set, name, nil, 0)
			out[name] = f
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// coded returns the codes that the program makes remarks of, each with the keys
// of its values; complete is false where a remark's values are no literal.
func coded(t *testing.T) (keys map[string]map[string]bool, complete map[string]bool) {
	t.Helper()
	keys, complete = map[string]map[string]bool{}, map[string]bool{}
	for name, f := range sources(t, "magmath", "survey", "report", "cmd") {
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			fn, ok := call.Fun.(*ast.SelectorExpr)
			if x, is := fn2(fn, ok); !is || x != "remark" || fn.Sel.Name != "New" {
				return true
			}
			lit, ok := call.Args[0].(*ast.BasicLit)
			if !ok {
				t.Errorf("%s: the code of a remark is not a literal string", name)
				return true
			}
			code, _ := strconv.Unquote(lit.Value)
			if keys[code] == nil {
				keys[code], complete[code] = map[string]bool{}, true
			}
			for _, a := range call.Args[1:] {
				values, ok := a.(*ast.CompositeLit)
				if !ok {
					complete[code] = false
					continue
				}
				for _, e := range values.Elts {
					kv := e.(*ast.KeyValueExpr)
					if k, ok := kv.Key.(*ast.BasicLit); ok {
						key, _ := strconv.Unquote(k.Value)
						keys[code][key] = true
					}
				}
			}
			return true
		})
	}
	return keys, complete
}

func fn2(s *ast.SelectorExpr, ok bool) (string, bool) {
	if !ok {
		return "", false
	}
	x, ok := s.X.(*ast.Ident)
	if !ok {
		return "", false
	}
	return x.Name, true
}

var place = map[string]bool{"file": true, "line": true, "run": true, "capture": true, "station": true, "load": true, "part": true}

// field finds the values that a template names.
var field = regexp.MustCompile(`\.([a-z_0-9]+)`)

func texts(t *testing.T, dir string) map[string]string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(b) {
			if key, text, ok := strings.Cut(strings.TrimSpace(string(line)), " = "); ok && !strings.HasPrefix(key, "#") {
				if _, twice := out[key]; twice {
					t.Errorf("%s: %s stands twice in %s", name, key, dir)
				}
				out[key] = text
			}
		}
	}
	return out
}

// actions within a template
var action = regexp.MustCompile(`do "([a-z-]+)"`)

func TestEveryRemarkHasWordsAndEveryWordARemark(t *testing.T) {
	keys, complete := coded(t)
	terminal, page := texts(t, "."), texts(t, "page")
	for code := range keys {
		if _, ok := terminal[code]; !ok {
			t.Errorf("no words for %q", code)
		}
	}
	used := map[string]bool{}
	for _, file := range []map[string]string{terminal, page} {
		for key, text := range file {
			of, several := strings.CutSuffix(key, ":several")
			if !strings.HasPrefix(key, "do.") && keys[of] == nil {
				t.Errorf("words for %q, which nothing says", key)
			}
			for _, m := range action.FindAllStringSubmatch(text, -1) {
				used["do."+m[1]] = true
				if _, ok := terminal["do."+m[1]]; !ok {
					t.Errorf("%s asks for the action %q, which actions.txt lacks", key, m[1])
				}
				if _, ok := page["do."+m[1]]; !ok {
					t.Errorf("%s asks for the action %q, which page/actions.txt lacks", key, m[1])
				}
			}
			if !complete[of] {
				continue
			}
			for _, part := range regexp.MustCompile(`\{\{.*?\}\}`).FindAllString(text, -1) {
				for _, m := range field.FindAllStringSubmatch(part, -1) {
					if !keys[of][m[1]] && !(several && (m[1] == "where" || m[1] == "count")) && !(place[m[1]] && !several) {
						t.Errorf("the words for %q name %q, which no such remark holds", key, m[1])
					}
				}
			}
		}
	}
	for key := range page {
		if _, ok := terminal[key]; !ok {
			t.Errorf("page/ has %q, which the terminal lacks", key)
		}
	}
}

// commandOrFlag finds what only a terminal can be told.
var commandOrFlag = regexp.MustCompile(`--[a-z]|\bquietmount [a-z]`)

func TestNoFlagOrCommandOnThePage(t *testing.T) {
	terminal, page := texts(t, "."), texts(t, "page")
	maps.Copy(terminal, page)
	for _, key := range slices.Sorted(maps.Keys(terminal)) {
		if strings.HasPrefix(key, "do.") && page[key] == "" {
			continue
		}
		if m := commandOrFlag.FindString(terminal[key]); m != "" {
			t.Errorf("the page says %q in %s", m, key)
		}
	}
}

func TestNoFlagOrCommandBelowTheReport(t *testing.T) {
	for name, f := range sources(t, "magmath", "survey") {
		ast.Inspect(f, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				if s, err := strconv.Unquote(lit.Value); err == nil && commandOrFlag.MatchString(s) {
					t.Errorf("%s names a flag or a command: %s", name, lit.Value)
				}
			}
			return true
		})
	}
}

func TestRemarkWithoutWordsShowsItsCode(t *testing.T) {
	r := remark.Remark{Code: "nowhere.known", Values: remark.Values{"by_ut": 2, "a": "b"}}
	if got, want := words.Terminal.Say(r), "nowhere.known, a b, by_ut 2"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := words.Page.Say(remark.Remark{}); got != "" {
		t.Errorf("nothing to say gives %q", got)
	}
}
