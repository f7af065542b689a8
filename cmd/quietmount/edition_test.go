package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// firstEdition is a craft folder that the first edition of this program wrote,
// with the answers that it gave. It is never made again.
const firstEdition = "../../testdata/first-edition-sandpiper"

// A folder of the first edition is read as it is: every key of each of its answers
// is there with the same kind of value, and the fields at its stations come out
// again to a tenth of a microtesla. Heading errors and spots do not: they are for
// the module as mounted now, and texts may be worded anew.
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
			if args[0] == "map" {
				sameFields(t, want, got)
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

// sameFields compares the fields at the stations of two maps.
func sameFields(t *testing.T, want, got any) {
	stations := func(v any) []any { return v.(map[string]any)["stations"].([]any) }
	w, g := stations(want), stations(got)
	if len(w) != len(g) || len(w) < 10 {
		t.Fatalf("%d stations, want %d", len(g), len(w))
	}
	compared := 0
	for i := range w {
		for _, key := range []string{"steady_ut", "shifting_ut"} {
			was, ok := w[i].(map[string]any)[key].([]any)
			if !ok {
				continue
			}
			for k, is := range g[i].(map[string]any)[key].([]any) {
				compared++
				if off := math.Abs(is.(float64) - was[k].(float64)); !(off <= 0.1) {
					t.Errorf("station %d, %s[%d] is off by %.3f uT", i, key, k, off)
				}
			}
		}
	}
	if compared < 6*len(w) {
		t.Errorf("%d components compared", compared)
	}
}

// differences lists the keys that got lacks of want, and the values of another kind;
// a list is told by its first element.
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
			if !ok {
				out = append(out, at+"."+k+" is missing")
				continue
			}
			out = append(out, differences(at+"."+k, v, x)...)
		}
		return out
	case []any:
		g, ok := got.([]any)
		switch {
		case !ok:
			return []string{fmt.Sprintf("%s is no list: %v", at, got)}
		case len(w) > 0 && len(g) > 0:
			return differences(at+"[0]", w[0], g[0])
		}
		return nil
	}
	if want != nil && got != nil && reflect.TypeOf(want) != reflect.TypeOf(got) {
		return []string{fmt.Sprintf("%s is %v, want a %T", at, got, want)}
	}
	return nil
}

func TestDifferencesAreSeen(t *testing.T) {
	var want any = map[string]any{"a": []any{1.0, 2.0}, "b": "x", "why": "old", "c": nil}
	for _, got := range []any{
		map[string]any{"a": []any{"1"}, "b": "x", "why": "new", "c": nil},
		map[string]any{"a": 1.0, "b": "x", "why": "new", "c": nil},
		map[string]any{"a": []any{1.0, 2.0}, "b": 1.0, "why": "new", "c": nil},
		map[string]any{"a": []any{1.0, 2.0}, "b": "x", "c": nil},
	} {
		if len(differences("", want, got)) != 1 {
			t.Errorf("%v differs from %v in one place: %v", got, want, differences("", want, got))
		}
	}
	if d := differences("", want, map[string]any{"a": []any{1.0, 3.0}, "b": "y", "why": "new", "c": nil, "more": true}); d != nil {
		t.Error(strings.Join(d, "\n"))
	}
	if _, err := os.Stat(filepath.Join(firstEdition, "craft.toml")); err != nil {
		t.Fatal(err)
	}
}
