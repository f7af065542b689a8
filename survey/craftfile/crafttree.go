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

// craftPos is a place in a craft file, counted from 1, columns in characters.
type craftPos struct{ line, col int }

// craftKind sorts the values of a craft file.
type craftKind int

const (
	craftOther craftKind = iota
	craftNumber
	craftText
	craftTruth
	craftDate
	craftList
	craftTable
)

// craftNode is a value of a craft file that knows where it was written.
type craftNode struct {
	kind   craftKind
	at     craftPos     // of the value, or of its key where the parser gives no place
	text   string       // a text's content, or any other scalar as written
	items  []*craftNode // of a list
	fields map[string]*craftNode
	keys   []craftKey // of a table, in the order written
	blocks bool       // a list written as [[name]]
}

// craftKey is a key as written.
type craftKey struct {
	name string
	at   craftPos
}

func craftNewTable(at craftPos) *craftNode {
	return &craftNode{kind: craftTable, at: at, fields: map[string]*craftNode{}}
}

func (n *craftNode) set(key craftKey, v *craftNode) {
	n.fields[key.name] = v
	n.keys = append(n.keys, key)
}

// craftDocument reads src into a tree. The library's decoder goes first: it
// refuses what is not TOML, doubled keys included, so that the walk over its
// syntax tree may assume a sound document. The error is a *CraftError.
func craftDocument(src []byte, name string) (*craftNode, error) {
	lines := newCraftLines(src)
	var sound map[string]any
	if err := toml.Unmarshal(src, &sound); err != nil {
		return nil, craftSyntaxError(err, src, lines, name)
	}
	b := craftBuilder{lines: lines, root: craftNewTable(craftPos{1, 1})}
	b.current = b.root
	b.parser.Reset(src)
	for b.parser.NextExpression() {
		if at, ok := b.expression(b.parser.Expression()); !ok {
			return nil, &CraftError{Name: name, Line: at.line, Column: at.col, Msg: "this name is already taken by something of another kind"}
		}
	}
	if err := b.parser.Error(); err != nil {
		return nil, &CraftError{Name: name, Line: 1, Column: 1, Msg: err.Error()}
	}
	return b.root, nil
}

type craftBuilder struct {
	parser        unstable.Parser
	lines         craftLines
	root, current *craftNode
}

// expression takes in one line or block heading. It reports the place and
// false where the document contradicts itself.
func (b *craftBuilder) expression(e *unstable.Node) (craftPos, bool) {
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
			list = &craftNode{kind: craftList, at: last.at, blocks: true}
			into.set(last, list)
		}
		b.current = craftNewTable(last.at)
		list.items = append(list.items, b.current)
	}
	return last.at, true
}

// path is the dotted key of an expression; it has at least one part.
func (b *craftBuilder) path(e *unstable.Node) []craftKey {
	var path []craftKey
	for it := e.Key(); it.Next(); {
		n := it.Node()
		path = append(path, craftKey{string(n.Data), b.lines.at(int(n.Raw.Offset))})
	}
	return path
}

// descend walks from n along path, making tables as it goes and entering the
// last block of a list of blocks.
func (b *craftBuilder) descend(n *craftNode, path []craftKey) (*craftNode, bool) {
	for _, key := range path {
		next := n.fields[key.name]
		if next == nil {
			next = craftNewTable(key.at)
			n.set(key, next)
		}
		if next.kind == craftList && len(next.items) > 0 {
			next = next.items[len(next.items)-1]
		}
		if next.kind != craftTable {
			return nil, false
		}
		n = next
	}
	return n, true
}

// value turns a syntax node into a craftNode; key is where its key stands.
func (b *craftBuilder) value(n *unstable.Node, key craftPos) *craftNode {
	v := &craftNode{at: key, text: string(n.Data)}
	if n.Raw.Length > 0 {
		v.at = b.lines.at(int(n.Raw.Offset))
	}
	switch n.Kind {
	case unstable.Integer, unstable.Float:
		v.kind = craftNumber
	case unstable.String:
		v.kind = craftText
	case unstable.Bool:
		v.kind = craftTruth
	case unstable.LocalDate:
		v.kind = craftDate
	case unstable.Array:
		v.kind = craftList
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

func (b *craftBuilder) inline(v *craftNode, n *unstable.Node) {
	v.kind, v.fields = craftTable, map[string]*craftNode{}
	for it := n.Children(); it.Next(); {
		path := b.path(it.Node())
		last := path[len(path)-1]
		if into, ok := b.descend(v, path[:len(path)-1]); ok {
			into.set(last, b.value(it.Node().Value(), last.at))
		}
	}
}

// craftLines turns byte offsets into lines and columns.
type craftLines struct {
	src    []byte
	starts []int
}

func newCraftLines(src []byte) craftLines {
	starts := []int{0}
	for i, c := range src {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	return craftLines{src, starts}
}

func (l craftLines) at(offset int) craftPos {
	offset = min(max(offset, 0), len(l.src))
	i := sort.SearchInts(l.starts, offset+1) - 1
	return craftPos{i + 1, utf8.RuneCount(l.src[l.starts[i]:offset]) + 1}
}

// line is the text of line n, counted from 1, without its end.
func (l craftLines) line(n int) string {
	if n < 1 || n > len(l.starts) {
		return ""
	}
	rest := l.src[l.starts[n-1]:]
	if end := bytes.IndexByte(rest, '\n'); end >= 0 {
		rest = rest[:end]
	}
	return strings.TrimSuffix(string(rest), "\r")
}

// The slips that craftSyntaxHint knows.
var (
	craftDecimalComma = regexp.MustCompile(`([-+]?[0-9]+),([0-9]+)`)
	craftLoosePoint   = regexp.MustCompile(`^[-+]?([0-9]+\.|\.[0-9]+)($|[^0-9])`)
	craftUnit         = regexp.MustCompile(`^[-+]?[0-9.]+ *[\pL°"]`)
	craftBareText     = regexp.MustCompile(`^[\pL][^"'\[{#]*$`)
)

// craftSyntaxError words the library's error and adds a hint for the slips
// that people make.
func craftSyntaxError(err error, src []byte, lines craftLines, name string) *CraftError {
	out := &CraftError{Name: name, Line: 1, Column: 1, Msg: err.Error()}
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
	out.Hint = craftSyntaxHint(lines.line(line), byteCol)
	return out
}

// craftSyntaxHint guesses what the writer meant by the line that is no TOML.
func craftSyntaxHint(line string, byteCol int) string {
	for _, m := range craftDecimalComma.FindAllStringSubmatchIndex(line, -1) {
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
	case craftLoosePoint.MatchString(value):
		return "write a digit on each side of the point"
	case craftUnit.MatchString(value):
		return "the key names the unit: write the number alone"
	case craftBareText.MatchString(value):
		return fmt.Sprintf("a text stands in quotes: write \"%s\"", value)
	}
	return ""
}
