package craftfile

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/number"
)

// bounds is the range of a number.
type bounds struct {
	low, high float64
	open      bool // low itself is out
}

func (r bounds) holds(v float64) bool {
	return v <= r.high && (v > r.low || !r.open && v == r.low)
}

func (r bounds) String() string {
	if r.open {
		return fmt.Sprintf("more than %s and at most %s", number.Format(r.low), number.Format(r.high))
	}
	return fmt.Sprintf("%s to %s", number.Format(r.low), number.Format(r.high))
}

var (
	anyPlace  = bounds{low: -survey.ReachMM, high: survey.ReachMM}
	anyLength = bounds{low: 0, high: survey.ReachMM}
	anyMass   = bounds{low: 0, high: 1e7}
	howMany   = [...]string{"no", "one", "two", "three"}
	pointForm = [...]string{2: "[x, y]", 3: "[x, y, z]"}
)

// table reads one table of a craft file. Everything that is wrong goes to
// its report; the readers then return what they were given as default.
type table struct {
	*report
	node    *node // nil: the table is not in the file
	section section
	label   string   // how messages name it
	meant   []string // keys that were misspelt, by their right names
}

// open begins to read node as a table of section: it refuses unknown keys.
func (r *report) open(node *node, section, label string) *table {
	s, _ := sectionNamed(section)
	b := &table{report: r, node: node, section: s, label: label}
	if node == nil {
		return b
	}
	if node.kind != kindTable {
		r.fail(node.at, "write "+s.heading()+" on a line of its own and its keys below", "%q is a table, not a value", section)
		return b.silent()
	}
	for _, key := range node.keys {
		if slices.Contains(s.keys, key.name) || section == "" && slices.Contains(topNames(), key.name) {
			continue
		}
		hint, meant := keyHint(key.name, s)
		b.meant = append(b.meant, meant)
		r.fail(key.at, hint, "unknown key %q in %s", short(key.name), label)
	}
	return b
}

// silent is b as if the file had none and no key were missing: what is wrong
// with it has been said.
func (b *table) silent() *table {
	b.node, b.meant = nil, b.section.keys
	return b
}

func (b *table) has(key string) bool { return b.node != nil && b.node.fields[key] != nil }

// at is where key was written, or the table if it was not.
func (b *table) at(key string) position {
	if b.node == nil {
		return position{1, 1}
	}
	for _, k := range b.node.keys {
		if k.name == key {
			return k.at
		}
	}
	return b.node.at
}

// need reports that key is missing, unless a misspelling of it was reported.
func (b *table) need(key, hint string) {
	if b.has(key) || slices.Contains(b.meant, key) {
		return
	}
	b.fail(b.at(key), hint, "%s needs %s", b.label, key)
}

// number is key's value, or def where it is missing or wrong.
func (b *table) number(key string, def float64, in bounds) float64 {
	if !b.has(key) {
		return def
	}
	v, ok := b.numberIn(key, b.node.fields[key], in)
	if !ok {
		return def
	}
	return v
}

// numberIn reads n, which belongs to key.
func (b *table) numberIn(key string, n *node, in bounds) (float64, bool) {
	if n.kind != kindNumber {
		hint := ""
		if n.kind == kindText {
			hint = "leave the quotes out"
		}
		b.fail(n.at, hint, "%s wants a number, not %s", key, n.describe())
		return 0, false
	}
	v, ok := parseNumber(n.text)
	if !ok {
		b.fail(n.at, "", "%s = %s is not a finite number", key, short(n.text))
		return 0, false
	}
	if !in.holds(v) {
		b.fail(n.at, "", "%s = %s is out of its range: it must be %v", key, number.Format(v), in)
		return 0, false
	}
	return v, true
}

// parseNumber reads a TOML integer or float; false for nan, inf and what
// does not fit.
func parseNumber(text string) (float64, bool) {
	text = strings.ReplaceAll(text, "_", "")
	if len(text) > 1 && text[0] == '0' && strings.ContainsRune("xob", rune(text[1])) {
		i, err := strconv.ParseInt(text, 0, 64)
		return float64(i), err == nil
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// numbers is key's list of n numbers, or nil.
func (b *table) numbers(key string, n int, in bounds) []float64 {
	if !b.has(key) {
		return nil
	}
	return b.numbersIn(key, b.node.fields[key], n, in)
}

// numbersIn reads list, which belongs to key, as n numbers.
func (b *table) numbersIn(key string, list *node, n int, in bounds) []float64 {
	want := howMany[n] + " numbers " + pointForm[n]
	if list.kind != kindList || list.blocks {
		b.fail(list.at, "", "%s wants %s, not %s", key, want, list.describe())
		return nil
	}
	if len(list.items) != n {
		hint := ""
		if len(list.items) == 2*n {
			hint = "a decimal takes a point, the comma stands between two numbers"
		}
		b.fail(list.at, hint, "%s wants %s, not %d", key, want, len(list.items))
		return nil
	}
	out := make([]float64, n)
	for i, item := range list.items {
		v, ok := b.numberIn(key, item, in)
		if !ok {
			return nil
		}
		out[i] = v
	}
	return out
}

func (b *table) vec2(key string, def r2.Vec, in bounds) r2.Vec {
	if v := b.numbers(key, 2, in); v != nil {
		return r2.Vec{X: v[0], Y: v[1]}
	}
	return def
}

// vec3 is key's place, or nil.
func (b *table) vec3(key string) *r3.Vec {
	if v := b.numbers(key, 3, anyPlace); v != nil {
		return &r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	}
	return nil
}

// interval is key's range, from low to high, or nil.
func (b *table) interval(key string) *[2]float64 {
	v := b.numbers(key, 2, anyPlace)
	if v == nil {
		return nil
	}
	if v[0] > v[1] {
		b.fail(b.at(key), fmt.Sprintf("write [%s, %s]", number.Format(v[1]), number.Format(v[0])), "%s wants the smaller number first", key)
		return nil
	}
	return &[2]float64{v[0], v[1]}
}

// points is key's list of places of n numbers each with the place of each in
// the file; nil if the key is missing or anything in it is wrong.
func (b *table) points(key string, n, most int) ([][]float64, []position) {
	if !b.has(key) {
		return nil, nil
	}
	list := b.node.fields[key]
	if list.kind != kindList || list.blocks {
		b.fail(list.at, "", "%s wants a list of points [%s, ...], not %s", key, pointForm[n], list.describe())
		return nil, nil
	}
	if len(list.items) > most {
		b.fail(list.at, "leave some out", "%s has %d points, more than %d", key, len(list.items), most)
		return nil, nil
	}
	out, places := make([][]float64, len(list.items)), make([]position, len(list.items))
	for i, item := range list.items {
		if item.kind == kindNumber {
			b.fail(item.at, fmt.Sprintf("write [%s, ...]", pointForm[n]), "%s wants a list of points, not of numbers", key)
			return nil, nil
		}
		if out[i] = b.numbersIn(key, item, n, anyPlace); out[i] == nil {
			return nil, nil
		}
		places[i] = item.at
	}
	return out, places
}

// text is key's text, or def.
func (b *table) text(key, def string) string {
	if !b.has(key) {
		return def
	}
	n := b.node.fields[key]
	if n.kind != kindText {
		b.fail(n.at, fmt.Sprintf("write it in quotes: %q", short(n.text)), "%s wants a text, not %s", key, n.describe())
		return def
	}
	return n.text
}

// named is key's text if it can serve as a name, or def.
func (b *table) named(key, def string) string {
	if !b.has(key) {
		return def
	}
	name := b.text(key, def)
	if b.node.fields[key].kind != kindText {
		return def
	}
	if why := nameFault(name); why != "" {
		b.fail(b.at(key), "", "%s %s", key, why)
		return def
	}
	return name
}

// nameFault says what keeps name from being a name; empty if nothing.
func nameFault(name string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return "is empty"
	case strings.TrimSpace(name) != name:
		return "begins or ends with a blank"
	case utf8.RuneCountInString(name) > mostNameRunes:
		return fmt.Sprintf("is longer than %d characters", mostNameRunes)
	case strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "holds a character that cannot be printed"
	}
	return ""
}

// texts is key's list of texts; nil if it is missing or wrong.
func (b *table) texts(key string) ([]string, []position) {
	if !b.has(key) {
		return nil, nil
	}
	list := b.node.fields[key]
	if list.kind != kindList || list.blocks {
		b.fail(list.at, `write it as ["...", "..."]`, "%s wants a list of texts, not %s", key, list.describe())
		return nil, nil
	}
	var out []string
	var places []position
	for _, item := range list.items {
		if item.kind != kindText {
			b.fail(item.at, "", "%s wants texts, not %s", key, item.describe())
			return nil, nil
		}
		out, places = append(out, item.text), append(places, item.at)
	}
	return out, places
}

// truth is key's true or false.
func (b *table) truth(key string) bool {
	if !b.has(key) {
		return false
	}
	n := b.node.fields[key]
	if n.kind != kindTruth {
		b.fail(n.at, "", "%s wants true or false, not %s", key, n.describe())
	}
	return n.kind == kindTruth && n.text == "true"
}

// describe names a value in a message.
func (n *node) describe() string {
	switch n.kind {
	case kindNumber:
		return "the number " + short(n.text)
	case kindText:
		return fmt.Sprintf("the text %q", short(n.text))
	case kindTruth:
		return n.text
	case kindDate:
		return "the date " + n.text
	case kindList:
		return "a list"
	case kindTable:
		return "a table"
	}
	return "this"
}
