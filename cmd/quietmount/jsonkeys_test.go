package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptJSONKeys demands keys and types of a JSON answer:
// jsonkeys FILE|stdout PATH:TYPE...
//
// PATH goes down by dots; [] is every element of a list that must not be
// empty. TYPE is number, string, bool, list, object, vec (three numbers), mat
// (three by three numbers), quantiles (an object with the numbers estimate and
// upper95) or null; types apart by | are alternatives.
func scriptJSONKeys(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: jsonkeys FILE PATH:TYPE...")
	}
	var v any
	if err := json.Unmarshal([]byte(ts.ReadFile(args[0])), &v); err != nil {
		ts.Fatalf("%s is not JSON: %v", args[0], err)
	}
	for _, arg := range args[1:] {
		if err := checkPath(v, arg); err != nil {
			ts.Fatalf("%v", err)
		}
	}
}

func checkPath(v any, arg string) error {
	path, types, ok := strings.Cut(arg, ":")
	if !ok {
		return fmt.Errorf("%s: no type", arg)
	}
	found := []any{v}
	for step := range strings.SplitSeq(path, ".") {
		name, each := strings.CutSuffix(step, "[]")
		var next []any
		for _, f := range found {
			o, ok := f.(map[string]any)
			if !ok {
				return fmt.Errorf("%s: what holds %s is no object", path, name)
			}
			got, ok := o[name]
			if !ok {
				return fmt.Errorf("%s: no key %s", path, name)
			}
			list, _ := got.([]any)
			switch {
			case !each:
				next = append(next, got)
			case len(list) == 0:
				return fmt.Errorf("%s: %s is no list with something in it", path, name)
			default:
				next = append(next, list...)
			}
		}
		found = next
	}
	for _, f := range found {
		if !isAny(f, types) {
			return fmt.Errorf("%s is %v, want %s", path, f, types)
		}
	}
	return nil
}

func isAny(v any, types string) bool {
	for t := range strings.SplitSeq(types, "|") {
		if isType(v, t) {
			return true
		}
	}
	return false
}

func isType(v any, t string) bool {
	switch t {
	case "vec":
		return isList(v, "number")
	case "mat":
		return isList(v, "vec")
	case "quantiles":
		o, ok := v.(map[string]any)
		return ok && isType(o["estimate"], "number") && isType(o["upper95"], "number")
	}
	switch v.(type) {
	case float64:
		return t == "number"
	case string:
		return t == "string"
	case bool:
		return t == "bool"
	case []any:
		return t == "list"
	case map[string]any:
		return t == "object"
	}
	return v == nil && t == "null"
}

func isList(v any, of string) bool {
	list, ok := v.([]any)
	if !ok || len(list) != 3 {
		return false
	}
	for _, e := range list {
		if !isType(e, of) {
			return false
		}
	}
	return true
}
