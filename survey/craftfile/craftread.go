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
)

// craftRange is the range of a number.
type craftRange struct {
	low, high float64
	open      bool // low itself is out
}

func (r craftRange) holds(v float64) bool {
	return v <= r.high && (v > r.low || !r.open && v == r.low)
}

func (r craftRange) String() string {
	if r.open {
		return fmt.Sprintf("more than %s and at most %s", survey.CraftFormat(r.low), survey.CraftFormat(r.high))
	}
	return fmt.Sprintf("%s to %s", survey.CraftFormat(r.low), survey.CraftFormat(r.high))
}

var (
	craftPlace    = craftRange{low: -survey.CraftReachMM, high: survey.CraftReachMM}
	craftLength   = craftRange{low: 0, high: survey.CraftReachMM}
	craftMass     = craftRange{low: 0, high: 1e7}
	craftHowMany  = [...]string{"no", "one", "two", "three"}
	craftPointFor = [...]string{2: "[x, y]", 3: "[x, y, z]"}
)

// craftBlock reads one table of a craft file. Everything that is wrong goes to
// its report; the readers then return what they were given as default.
type craftBlock struct {
	*craftReport
	node    *craftNode // nil: the table is not in the file
	section craftSection
	label   string   // how messages name it
	meant   []string // keys that were misspelt, by their right names
}

// open begins to read node as a table of section: it refuses unknown keys.
func (r *craftReport) open(node *craftNode, section, label string) *craftBlock {
	s, _ := craftSectionNamed(section)
	b := &craftBlock{craftReport: r, node: node, section: s, label: label}
	if node == nil {
		return b
	}
	if node.kind != craftTable {
		r.fail(node.at, "write "+s.heading()+" on a line of its own and its keys below", "%q is a table, not a value", section)
		return b.silent()
	}
	for _, key := range node.keys {
		if slices.Contains(s.keys, key.name) || section == "" && slices.Contains(craftTopNames(), key.name) {
			continue
		}
		hint, meant := craftKeyHint(key.name, s)
		b.meant = append(b.meant, meant)
		r.fail(key.at, hint, "unknown key %q in %s", survey.CraftShort(key.name), label)
	}
	return b
}

// silent is b as if the file had none and no key were missing: what is wrong
// with it has been said.
func (b *craftBlock) silent() *craftBlock {
	b.node, b.meant = nil, b.section.keys
	return b
}

func (b *craftBlock) has(key string) bool { return b.node != nil && b.node.fields[key] != nil }

// at is where key was written, or the table if it was not.
func (b *craftBlock) at(key string) craftPos {
	if b.node == nil {
		return craftPos{1, 1}
	}
	for _, k := range b.node.keys {
		if k.name == key {
			return k.at
		}
	}
	return b.node.at
}

// need reports that key is missing, unless a misspelling of it was reported.
func (b *craftBlock) need(key, hint string) {
	if b.has(key) || slices.Contains(b.meant, key) {
		return
	}
	b.fail(b.at(key), hint, "%s needs %s", b.label, key)
}

// number is key's value, or def where it is missing or wrong.
func (b *craftBlock) number(key string, def float64, in craftRange) float64 {
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
func (b *craftBlock) numberIn(key string, n *craftNode, in craftRange) (float64, bool) {
	if n.kind != craftNumber {
		hint := ""
		if n.kind == craftText {
			hint = "leave the quotes out"
		}
		b.fail(n.at, hint, "%s wants a number, not %s", key, n.describe())
		return 0, false
	}
	v, ok := craftParseNumber(n.text)
	if !ok {
		b.fail(n.at, "", "%s = %s is not a finite number", key, survey.CraftShort(n.text))
		return 0, false
	}
	if !in.holds(v) {
		b.fail(n.at, "", "%s = %s is out of its range: it must be %v", key, survey.CraftFormat(v), in)
		return 0, false
	}
	return v, true
}

// craftParseNumber reads a TOML integer or float; false for nan, inf and what
// does not fit.
func craftParseNumber(text string) (float64, bool) {
	text = strings.ReplaceAll(text, "_", "")
	if len(text) > 1 && text[0] == '0' && strings.ContainsRune("xob", rune(text[1])) {
		i, err := strconv.ParseInt(text, 0, 64)
		return float64(i), err == nil
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// numbers is key's list of n numbers, or nil.
func (b *craftBlock) numbers(key string, n int, in craftRange) []float64 {
	if !b.has(key) {
		return nil
	}
	return b.numbersIn(key, b.node.fields[key], n, in)
}

// numbersIn reads list, which belongs to key, as n numbers.
func (b *craftBlock) numbersIn(key string, list *craftNode, n int, in craftRange) []float64 {
	want := craftHowMany[n] + " numbers " + craftPointFor[n]
	if list.kind != craftList || list.blocks {
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

func (b *craftBlock) vec2(key string, def r2.Vec, in craftRange) r2.Vec {
	if v := b.numbers(key, 2, in); v != nil {
		return r2.Vec{X: v[0], Y: v[1]}
	}
	return def
}

// vec3 is key's place, or nil.
func (b *craftBlock) vec3(key string) *r3.Vec {
	if v := b.numbers(key, 3, craftPlace); v != nil {
		return &r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	}
	return nil
}

// interval is key's range, from low to high, or nil.
func (b *craftBlock) interval(key string) *[2]float64 {
	v := b.numbers(key, 2, craftPlace)
	if v == nil {
		return nil
	}
	if v[0] > v[1] {
		b.fail(b.at(key), fmt.Sprintf("write [%s, %s]", survey.CraftFormat(v[1]), survey.CraftFormat(v[0])), "%s wants the smaller number first", key)
		return nil
	}
	return &[2]float64{v[0], v[1]}
}

// points is key's list of places of n numbers each with the place of each in
// the file; nil if the key is missing or anything in it is wrong.
func (b *craftBlock) points(key string, n, most int) ([][]float64, []craftPos) {
	if !b.has(key) {
		return nil, nil
	}
	list := b.node.fields[key]
	if list.kind != craftList || list.blocks {
		b.fail(list.at, "", "%s wants a list of points [%s, ...], not %s", key, craftPointFor[n], list.describe())
		return nil, nil
	}
	if len(list.items) > most {
		b.fail(list.at, "leave some out", "%s has %d points, more than %d", key, len(list.items), most)
		return nil, nil
	}
	out, places := make([][]float64, len(list.items)), make([]craftPos, len(list.items))
	for i, item := range list.items {
		if item.kind == craftNumber {
			b.fail(item.at, fmt.Sprintf("write [%s, ...]", craftPointFor[n]), "%s wants a list of points, not of numbers", key)
			return nil, nil
		}
		if out[i] = b.numbersIn(key, item, n, craftPlace); out[i] == nil {
			return nil, nil
		}
		places[i] = item.at
	}
	return out, places
}

// text is key's text, or def.
func (b *craftBlock) text(key, def string) string {
	if !b.has(key) {
		return def
	}
	n := b.node.fields[key]
	if n.kind != craftText {
		b.fail(n.at, fmt.Sprintf("write it in quotes: %q", survey.CraftShort(n.text)), "%s wants a text, not %s", key, n.describe())
		return def
	}
	return n.text
}

// named is key's text if it can serve as a name, or def.
func (b *craftBlock) named(key, def string) string {
	if !b.has(key) {
		return def
	}
	name := b.text(key, def)
	if b.node.fields[key].kind != craftText {
		return def
	}
	if why := craftNameFault(name); why != "" {
		b.fail(b.at(key), "", "%s %s", key, why)
		return def
	}
	return name
}

// craftNameFault says what keeps name from being a name; empty if nothing.
func craftNameFault(name string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return "is empty"
	case strings.TrimSpace(name) != name:
		return "begins or ends with a blank"
	case utf8.RuneCountInString(name) > survey.CraftNameRunes:
		return fmt.Sprintf("is longer than %d characters", survey.CraftNameRunes)
	case strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return "holds a character that cannot be printed"
	}
	return ""
}

// texts is key's list of texts; nil if it is missing or wrong.
func (b *craftBlock) texts(key string) ([]string, []craftPos) {
	if !b.has(key) {
		return nil, nil
	}
	list := b.node.fields[key]
	if list.kind != craftList || list.blocks {
		b.fail(list.at, `write it as ["...", "..."]`, "%s wants a list of texts, not %s", key, list.describe())
		return nil, nil
	}
	var out []string
	var places []craftPos
	for _, item := range list.items {
		if item.kind != craftText {
			b.fail(item.at, "", "%s wants texts, not %s", key, item.describe())
			return nil, nil
		}
		out, places = append(out, item.text), append(places, item.at)
	}
	return out, places
}

// truth is key's true or false.
func (b *craftBlock) truth(key string) bool {
	if !b.has(key) {
		return false
	}
	n := b.node.fields[key]
	if n.kind != craftTruth {
		b.fail(n.at, "", "%s wants true or false, not %s", key, n.describe())
	}
	return n.kind == craftTruth && n.text == "true"
}

// describe names a value in a message.
func (n *craftNode) describe() string {
	switch n.kind {
	case craftNumber:
		return "the number " + survey.CraftShort(n.text)
	case craftText:
		return fmt.Sprintf("the text %q", survey.CraftShort(n.text))
	case craftTruth:
		return n.text
	case craftDate:
		return "the date " + n.text
	case craftList:
		return "a list"
	case craftTable:
		return "a table"
	}
	return "this"
}
