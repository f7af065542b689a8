package craftfile

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"sort"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// position is a place in a craft file, counted from 1, columns in characters.
type position struct{ line, col int }

// kind sorts the values of a craft file.
type kind int

const (
	kindOther kind = iota
	kindNumber
	kindText
	kindTruth
	kindDate
	kindList
	kindTable
)

// node is a value of a craft file that knows where it was written.
type node struct {
	kind   kind
	at     position // of the value, or of its key where the parser gives no place
	text   string   // a text's content, or any other scalar as written
	items  []*node  // of a list
	fields map[string]*node
	keys   []writtenKey // of a table, in the order written
	blocks bool         // a list written as [[name]]
}

// writtenKey is a key as written.
type writtenKey struct {
	name string
	at   position
}

func newTableNode(at position) *node {
	return &node{kind: kindTable, at: at, fields: map[string]*node{}}
}

func (n *node) set(key writtenKey, v *node) {
	n.fields[key.name] = v
	n.keys = append(n.keys, key)
}

// parseTree reads src into a tree. The library's decoder goes first: it
// refuses what is not TOML, doubled keys included, so that the walk over its
// syntax tree may assume a sound document. The error is a *MistakeError.
func parseTree(src []byte, name string) (*node, error) {
	lines := newLineIndex(src)
	var sound map[string]any
	if err := toml.Unmarshal(src, &sound); err != nil {
		return nil, syntaxError(err, src, lines, name)
	}
	b := builder{lines: lines, root: newTableNode(position{1, 1})}
	b.current = b.root
	b.parser.Reset(src)
	for b.parser.NextExpression() {
		if at, ok := b.expression(b.parser.Expression()); !ok {
			return nil, &MistakeError{Name: name, Line: at.line, Column: at.col, Msg: "this name is already taken by something of another kind"}
		}
	}
	if err := b.parser.Error(); err != nil {
		return nil, &MistakeError{Name: name, Line: 1, Column: 1, Msg: err.Error()}
	}
	return b.root, nil
}

type builder struct {
	parser        unstable.Parser
	lines         lineIndex
	root, current *node
}

// expression takes in one line or block heading. It reports the place and
// false where the document contradicts itself.
func (b *builder) expression(e *unstable.Node) (position, bool) {
	path := b.path(e)
	last := path[len(path)-1]
	switch e.Kind {
	case unstable.KeyValue:
		into, ok := b.descend(b.current, path[:len(path)-1])
		if !ok {
			return last.at, false
		}
		into.set(last, b.value(e.Value(), last.at))
	case unstable.Table:
		into, ok := b.descend(b.root, path)
		if !ok {
			return last.at, false
		}
		b.current = into
	case unstable.ArrayTable:
		into, ok := b.descend(b.root, path[:len(path)-1])
		if !ok {
			return last.at, false
		}
		list := into.fields[last.name]
		if list == nil {
			list = &node{kind: kindList, at: last.at, blocks: true}
			into.set(last, list)
		}
		b.current = newTableNode(last.at)
		list.items = append(list.items, b.current)
	}
	return last.at, true
}

// path is the dotted key of an expression; it has at least one part.
func (b *builder) path(e *unstable.Node) []writtenKey {
	var path []writtenKey
	for it := e.Key(); it.Next(); {
		n := it.Node()
		path = append(path, writtenKey{string(n.Data), b.lines.at(int(n.Raw.Offset))})
	}
	return path
}

// descend walks from n along path, making tables as it goes and entering the
// last block of a list of blocks.
func (b *builder) descend(n *node, path []writtenKey) (*node, bool) {
	for _, key := range path {
		next := n.fields[key.name]
		if next == nil {
			next = newTableNode(key.at)
			n.set(key, next)
		}
		if next.kind == kindList && len(next.items) > 0 {
			next = next.items[len(next.items)-1]
		}
		if next.kind != kindTable {
			return nil, false
		}
		n = next
	}
	return n, true
}

// value turns a syntax node into a node; key is where its key stands.
func (b *builder) value(n *unstable.Node, key position) *node {
	v := &node{at: key, text: string(n.Data)}
	if n.Raw.Length > 0 {
		v.at = b.lines.at(int(n.Raw.Offset))
	}
	switch n.Kind {
	case unstable.Integer, unstable.Float:
		v.kind = kindNumber
	case unstable.String:
		v.kind = kindText
	case unstable.Bool:
		v.kind = kindTruth
	case unstable.LocalDate:
		v.kind = kindDate
	case unstable.Array:
		v.kind = kindList
		for it := n.Children(); it.Next(); {
			v.items = append(v.items, b.value(it.Node(), v.at))
		}
		if len(v.items) > 0 {
			v.at = v.items[0].at
		}
	case unstable.InlineTable:
		b.inline(v, n)
	}
	return v
}

func (b *builder) inline(v *node, n *unstable.Node) {
	v.kind, v.fields = kindTable, map[string]*node{}
	for it := n.Children(); it.Next(); {
		path := b.path(it.Node())
		last := path[len(path)-1]
		if into, ok := b.descend(v, path[:len(path)-1]); ok {
			into.set(last, b.value(it.Node().Value(), last.at))
		}
	}
}

// lineIndex turns byte offsets into lines and columns.
type lineIndex struct {
	src    []byte
	starts []int
}

func newLineIndex(src []byte) lineIndex {
	starts := []int{0}
	for i, c := range src {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	return lineIndex{src, starts}
}

func (l lineIndex) at(offset int) position {
	offset = min(max(offset, 0), len(l.src))
	i := sort.SearchInts(l.starts, offset+1) - 1
	return position{i + 1, utf8.RuneCount(l.src[l.starts[i]:offset]) + 1}
}

// line is the text of line n, counted from 1, without its end.
func (l lineIndex) line(n int) string {
	if n < 1 || n > len(l.starts) {
		return ""
	}
	rest := l.src[l.starts[n-1]:]
	if end := bytes.IndexByte(rest, '\n'); end >= 0 {
		rest = rest[:end]
	}
	return strings.TrimSuffix(string(rest), "\r")
}

// The slips that syntaxHint knows.
var (
	decimalComma = regexp.MustCompile(`([-+]?[0-9]+),([0-9]+)`)
	loosePoint   = regexp.MustCompile(`^[-+]?([0-9]+\.|\.[0-9]+)($|[^0-9])`)
	unitAfter    = regexp.MustCompile(`^[-+]?[0-9.]+ *[\pL°"]`)
	bareText     = regexp.MustCompile(`^[\pL][^"'\[{#]*$`)
)

// syntaxError words the library's error and adds a hint for the slips
// that people make.
func syntaxError(err error, src []byte, lines lineIndex, name string) *MistakeError {
	out := &MistakeError{Name: name, Line: 1, Column: 1, Msg: err.Error()}
	var decode *toml.DecodeError
	if !errors.As(err, &decode) {
		return out
	}
	line, byteCol := decode.Position()
	out.Msg = strings.TrimPrefix(decode.Error(), "toml: ")
	if line < 1 || line > len(lines.starts) {
		return out
	}
	at := lines.at(lines.starts[line-1] + max(byteCol-1, 0))
	out.Line, out.Column = at.line, at.col
	out.Hint = syntaxHint(lines.line(line), byteCol)
	return out
}

// syntaxHint guesses what the writer meant by the line that is no TOML.
func syntaxHint(line string, byteCol int) string {
	for _, m := range decimalComma.FindAllStringSubmatchIndex(line, -1) {
		if m[0] < byteCol && byteCol-1 <= m[1] {
			return fmt.Sprintf("a decimal takes a point: write %s.%s", line[m[2]:m[3]], line[m[4]:m[5]])
		}
	}
	_, value, found := strings.Cut(line, "=")
	value = strings.TrimSpace(value)
	switch {
	case !found:
	case value == "True" || value == "False" || value == "TRUE" || value == "FALSE":
		return "write " + strings.ToLower(value)
	case loosePoint.MatchString(value):
		return "write a digit on each side of the point"
	case unitAfter.MatchString(value):
		return "the key names the unit: write the number alone"
	case bareText.MatchString(value):
		return fmt.Sprintf("a text stands in quotes: write \"%s\"", value)
	}
	return ""
}
