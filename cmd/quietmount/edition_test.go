package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// firstEdition is a craft folder that the first edition of this program wrote,
// with the answers that it gave. It is never made again.
const firstEdition = "../../testdata/first-edition-sandpiper"

// A folder of the first edition is read as it is, and each of its answers comes
// out again: every key is there, every number to a relative 1e-6. Texts may be
// worded anew.
func TestFirstEditionComesOutAgain(t *testing.T) {
	dir := t.TempDir()
	files := tree(t, firstEdition)
	copied(t, files, dir)
	must(t, dir, "verify")
	for _, args := range [][]string{{"map"}, {"rank"}, {"sources"}, {"balance"}, {"prove"}} {
		t.Run(args[0], func(t *testing.T) {
			r := call(t, dir, append(args, "--json")...)
			if r.status != 0 && r.status != 3 {
				t.Fatalf("exit status %d\n%s", r.status, r.stderr)
			}
			var want, got any
			if err := json.Unmarshal(files["record/"+args[0]+".json"], &want); err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal([]byte(r.out), &got); err != nil {
				t.Fatal(err)
			}
			for _, d := range differences("", want, got) {
				t.Error(d)
			}
		})
	}
	after := tree(t, dir)
	for name, data := range files {
		if string(after[name]) != string(data) {
			t.Errorf("reading changed %s", name)
		}
	}
}

// texts are the keys whose values are sentences.
var texts = []string{"why", "warnings", "notes", "detail", "remarks"}

// differences lists what got lacks of want, or has otherwise.
func differences(at string, want, got any) []string {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return []string{fmt.Sprintf("%s is no object: %v", at, got)}
		}
		var out []string
		for k, v := range w {
			x, ok := g[k]
			switch {
			case !ok:
				out = append(out, at+"."+k+" is missing")
			case !slices.Contains(texts, k):
				out = append(out, differences(at+"."+k, v, x)...)
			}
		}
		return out
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return []string{fmt.Sprintf("%s has %v, want %d elements", at, got, len(w))}
		}
		var out []string
		for i := range w {
			out = append(out, differences(fmt.Sprintf("%s[%d]", at, i), w[i], g[i])...)
		}
		return out
	case float64:
		if g, ok := got.(float64); !ok || !(math.Abs(g-w) <= 1e-6*math.Abs(w)+1e-9) {
			return []string{fmt.Sprintf("%s is %v, want %v", at, got, w)}
		}
		return nil
	}
	if want != got {
		return []string{fmt.Sprintf("%s is %v, want %v", at, got, want)}
	}
	return nil
}

func TestDifferencesAreSeen(t *testing.T) {
	var want any = map[string]any{"a": []any{1.0, 2.0}, "b": "x", "why": "old", "c": nil}
	for _, got := range []any{
		map[string]any{"a": []any{1.0, 2.00001}, "b": "x", "why": "new", "c": nil},
		map[string]any{"a": []any{1.0}, "b": "x", "why": "new", "c": nil},
		map[string]any{"a": []any{1.0, 2.0}, "b": "y", "why": "new", "c": nil},
		map[string]any{"a": []any{1.0, 2.0}, "b": "x", "c": nil},
		map[string]any{"a": []any{1.0, 2.0}, "b": "x", "why": "new", "c": 1.0},
	} {
		if len(differences("", want, got)) != 1 {
			t.Errorf("%v differs from %v in one place: %v", got, want, differences("", want, got))
		}
	}
	if d := differences("", want, map[string]any{"a": []any{1.0, 2 + 1e-9}, "b": "x", "why": "new", "c": nil, "more": true}); d != nil {
		t.Error(strings.Join(d, "\n"))
	}
	if _, err := os.Stat(filepath.Join(firstEdition, "craft.toml")); err != nil {
		t.Fatal(err)
	}
}
