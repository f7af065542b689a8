// Package words turns remarks into sentences. It is the only place that does,
// so that a message can be mended, translated or tested in one file.
//
// In comes a [remark.Remark] from magmath or survey: a code, numbers and a
// place. Out goes a sentence for one face: the terminal, which may name
// commands and flags, or the page, which names its own steps and buttons.
// The sentences stand in NAME.txt files, "code = template" a line, in the
// syntax of text/template; page/NAME.txt overrides those that read otherwise
// on the page. Start at [Face.Say].
//
// A template sees the values of the remark by their keys ({{.by_ut}}), its
// place ({{.station}}, {{.run}}, {{.capture}}, {{.load}}, {{.part}}, {{.file}},
// {{.line}}), and these functions:
//
//	f0 f1 f2 f3 V    V with that many decimals
//	g2 g3 g4 g6 V    V with that many significant digits
//	signed V         V without decimals, with its sign
//	heading V        V as a heading of three digits
//	ut V             V as a field, two digits or all before the point, and the unit
//	pct V            the fraction V in per cent, without decimals
//	place V          "x, y, z" of the three numbers V
//	quote S          S between quotation marks
//	seconds L        the times L as "15 s and 30 s"
//	list L           "a, b and c"
//	marks L HEIGHT   where something of that height stands, measured from the marks L
//	degrees L        the angles L as "20, 110 and 200 degrees"
//	session S DEG    the session named S with the nose at DEG: session "S" (nose 20 degrees);
//	                 an empty name and an angle that is NaN are left out
//	counted N NOUN   "1 pulse", "3 pulses"
//	were N NOUN      "1 pulse was", "3 pulses were"
//	says L SEP       the sentences of the remarks L with SEP between them
//	cause E          the error E, by the keys "cause.NAME" where one fits
//	do ACTION        what to type or press for it: the key "do.ACTION" of the face
package words

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"path"
	"reflect"
	"slices"
	"strings"
	"sync"
	"text/template"

	"quietmount/magmath/remark"
	"quietmount/report/say"
)

// A Face is where a sentence is read.
type Face int

// The faces.
const (
	Terminal Face = iota // commands and flags may be named
	Page                 // steps and buttons are named
)

//go:embed *.txt page/*.txt
var files embed.FS

var faces = [...]func() *template.Template{
	Terminal: sync.OnceValue(func() *template.Template { return parse(Terminal) }),
	Page:     sync.OnceValue(func() *template.Template { return parse(Page) }),
}

// parse reads the sentences of a face. A mistake in an embedded file is a
// mistake of the program; it panics, and any test finds it.
func parse(f Face) *template.Template {
	t := template.New("").Option("missingkey=error")
	unit := "uT"
	if f == Page {
		unit = "µT"
	}
	t.Funcs(template.FuncMap{
		"f0": fixed(0), "f1": fixed(1), "f2": fixed(2), "f3": fixed(3), "signed": formatted("%+.0f"), "heading": formatted("%03.0f"),
		"g2": digits(2), "g3": digits(3), "g4": digits(4), "g6": digits(6),
		"ut":      func(v any) (string, error) { s, err := field(v); return s + " " + unit, err },
		"pct":     func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) },
		"quote":   func(s string) string { return fmt.Sprintf("%q", s) },
		"place":   func(v [3]float64) string { return fmt.Sprintf("%g, %g, %g", v[0], v[1], v[2]) },
		"list":    say.Listed,
		"marks":   say.FromMarks,
		"degrees": degrees,
		"session": session,
		"seconds": seconds,
		"counted": say.Counted,
		"were": func(n int, noun string) string {
			if n == 1 {
				return "1 " + noun + " was"
			}
			return say.Counted(n, noun) + " were"
		},
		"says": func(rs []remark.Remark, between string) string {
			each := make([]string, len(rs))
			for i, r := range rs {
				each[i] = worded(t, r)
			}
			return strings.Join(each, between)
		},
		"cause": func(err error) string { return cause(t, err) },
		"do":    func(action string) (string, error) { return execute(t, "do."+action, nil) },
	})
	dirs := []string{"."}
	if f == Page {
		dirs = append(dirs, "page")
	}
	for _, dir := range dirs {
		names, err := fs.Glob(files, path.Join(dir, "*.txt"))
		if err != nil {
			panic(err)
		}
		for _, name := range names {
			for key, text := range sentences(name) {
				if f == Page { // the terminal's texts are ASCII
					text = strings.ReplaceAll(text, " uT", " µT")
				}
				if _, err := t.New(key).Parse(text); err != nil {
					panic(fmt.Sprintf("words: %s: %v", name, err))
				}
			}
		}
	}
	return t
}

// sentences returns the lines of a word file by their key.
func sentences(name string) map[string]string {
	text, err := files.ReadFile(name)
	if err != nil {
		panic(err)
	}
	out := map[string]string{}
	n := 0
	for line := range strings.Lines(string(text)) {
		n++
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		key, value, ok := strings.Cut(line, " = ")
		if _, twice := out[key]; !ok || twice {
			panic(fmt.Sprintf("words: %s:%d: want each key once, as key = text", name, n))
		}
		out[key] = strings.TrimSpace(value)
	}
	return out
}

func execute(t *template.Template, key string, data map[string]any) (string, error) {
	s := t.Lookup(key)
	if s == nil {
		return "", fmt.Errorf("no words for %q", key)
	}
	var b strings.Builder
	err := s.Execute(&b, data)
	return b.String(), err
}

// Say returns the sentence for r. A remark without words, which the tests
// exclude, shows as its code and values.
func (f Face) Say(r remark.Remark) string { return worded(faces[f](), r) }

func worded(t *template.Template, r remark.Remark) string {
	if r.IsZero() {
		return ""
	}
	data := map[string]any{
		"file": r.Place.File, "line": r.Place.Line, "run": r.Place.Run, "capture": r.Place.Capture,
		"station": r.Place.Station, "load": r.Place.Load, "part": r.Place.Part,
	}
	maps.Copy(data, r.Values)
	text, err := execute(t, r.Code, data)
	if err != nil {
		return plain(r)
	}
	return text
}

// Placed returns the sentence for r behind the file and line that it is about, as
// "file:line: sentence"; the sentence alone where it is about no file.
func (f Face) Placed(r remark.Remark) string {
	text := f.Say(r)
	switch {
	case r.Place.File == "":
		return text
	case r.Place.Line == 0:
		return r.Place.File + ": " + text
	}
	return fmt.Sprintf("%s:%d: %s", r.Place.File, r.Place.Line, text)
}

// All returns the sentences for rs, in their order; never nil, so that an empty
// list is [] in JSON.
func (f Face) All(rs []remark.Remark) []string {
	out := make([]string, 0, len(rs))
	for _, r := range rs {
		out = append(out, f.Say(r))
	}
	return out
}

// Do returns what to type or press for an action, the key "do.ACTION".
func (f Face) Do(action string) string {
	text, err := execute(faces[f](), "do."+action, nil)
	if err != nil {
		return action
	}
	return text
}

func plain(r remark.Remark) string {
	parts := []string{r.Code}
	for _, k := range slices.Sorted(maps.Keys(r.Values)) {
		parts = append(parts, fmt.Sprintf("%s %v", k, r.Values[k]))
	}
	return strings.Join(parts, ", ")
}

// number returns v as a float, whatever kind of number it is.
func number(v any) (float64, error) {
	x := reflect.ValueOf(v)
	switch {
	case x.IsValid() && x.CanFloat():
		return x.Float(), nil
	case x.IsValid() && x.CanInt():
		return float64(x.Int()), nil
	}
	return math.NaN(), fmt.Errorf("%v is no number", v)
}

func degrees(all []float64) string {
	each := make([]string, len(all))
	for i, deg := range all {
		each[i] = fmt.Sprintf("%.0f", deg)
	}
	return say.Listed(each) + " degrees"
}

func session(name string, noseDeg float64) string {
	s := "session"
	if name != "" {
		s += fmt.Sprintf(" %q", name)
	}
	if !math.IsNaN(noseDeg) {
		s += fmt.Sprintf(" (nose %.0f degrees)", noseDeg)
	}
	return s
}

func fixed(decimals int) func(any) (string, error) {
	return formatted(fmt.Sprintf("%%.%df", decimals))
}

func formatted(as string) func(any) (string, error) {
	return func(v any) (string, error) {
		x, err := number(v)
		return fmt.Sprintf(as, x), err
	}
}

func digits(n int) func(any) (string, error) {
	return func(v any) (string, error) {
		x, err := number(v)
		return fmt.Sprintf("%.*g", n, x), err
	}
}

// Quote returns a word as a shell reads it whole: between quotes if it holds
// anything but letters, digits and the plain marks of file names.
func Quote(word string) string {
	plain := strings.IndexFunc(word, func(r rune) bool {
		return !(r == '/' || r == '.' || r == '-' || r == '_' || r == '\\' || r == ':' ||
			r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z')
	}) < 0
	if plain && word != "" {
		return word
	}
	return `"` + word + `"`
}

// field returns a magnetic field to two digits, or to the microtesla from 10 on.
func field(v any) (string, error) {
	x, err := number(v)
	if math.Abs(x) >= 10 {
		return fmt.Sprintf("%.0f", x), err
	}
	return fmt.Sprintf("%.2g", x), err
}

// seconds returns times as "15 s, 20 s and 30 s".
func seconds(at []float64) string {
	each := make([]string, len(at))
	for i, t := range at {
		each[i] = fmt.Sprintf("%.0f s", t)
	}
	return say.Listed(each)
}
