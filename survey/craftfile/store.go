package craftfile

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"quietmount/magmath"
	"quietmount/survey"
	"quietmount/survey/disk"
)

// StoreAxes puts the key axes of a table of a craft file (module or probe) in
// place of the one that is there, or under the table's heading; every other
// byte stays, comments too. value is what FormatAxes writes. The result is
// read back, and where it does not say what it should, src is left alone and
// the error says what to write by hand.
func StoreAxes(src []byte, table string, m magmath.Mat3) ([]byte, error) {
	value := survey.FormatAxes(m)
	if m.Det() < 0 { // letters would be refused, directions are not
		value = formatDirections(m)
	}
	byHand := fmt.Errorf("write under [%s] by hand: axes = %s", table, value)
	out, err := replaceKey(src, table, "axes", value)
	if err != nil {
		return nil, errors.Join(err, byHand)
	}
	craft, err := Parse(out, Name)
	if err != nil {
		return nil, fmt.Errorf("the craft file would not be read any more (%w); %w", err, byHand)
	}
	got := craft.Module.Axes
	if table == "probe" && craft.Probe != nil {
		got = craft.Probe.Axes
	}
	if got == nil || !closeTo(*got, m) {
		return nil, byHand
	}
	return out, nil
}

// StoreAxesIn does the same to the craft file of a folder, whole or not at
// all.
func StoreAxesIn(dir, table string, m magmath.Mat3) error {
	name := filepath.Join(dir, Name)
	src, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	out, err := StoreAxes(src, table, m)
	if err != nil {
		return err
	}
	return disk.Write(name, out)
}

// closeTo reports whether two matrices agree to five decimals.
func closeTo(a, b magmath.Mat3) bool {
	for i := range 3 {
		for j := range 3 {
			if math.Abs(a[i][j]-b[i][j]) > 1e-5 {
				return false
			}
		}
	}
	return true
}

func formatDirections(m magmath.Mat3) string {
	var d []string
	for column := range 3 {
		d = append(d, fmt.Sprintf("[%.6f, %.6f, %.6f]", m[0][column], m[1][column], m[2][column]))
	}
	return "[" + strings.Join(d, ", ") + "]"
}

// replaceKey works on lines: the table's heading, then the key or the heading
// itself. A value may run over several lines, until its brackets close.
func replaceKey(src []byte, table, key, value string) ([]byte, error) {
	lines := bytes.SplitAfter(src, []byte("\n"))
	heading := -1
	for i, line := range lines {
		text := strings.TrimSpace(withoutComment(string(line)))
		switch {
		case text == "["+table+"]":
			heading = i
			continue
		case heading >= 0 && strings.HasPrefix(text, "["):
			return insertKey(lines, heading, key, value), nil
		case heading < 0:
			continue
		}
		name, rest, ok := strings.Cut(text, "=")
		if !ok || strings.Trim(strings.TrimSpace(name), `"'`) != key {
			continue
		}
		return swapValue(lines, i, rest, value)
	}
	if heading < 0 {
		return nil, fmt.Errorf("the craft file has no [%s]", table)
	}
	return insertKey(lines, heading, key, value), nil
}

func insertKey(lines [][]byte, heading int, key, value string) []byte {
	line := string(lines[heading])
	end := "\n"
	if strings.HasSuffix(line, "\r\n") {
		end = "\r\n"
	}
	if !strings.HasSuffix(line, "\n") {
		lines[heading] = []byte(line + end)
	}
	var out []byte
	for i, l := range lines {
		out = append(out, l...)
		if i == heading {
			out = append(out, key+" = "+value+end...)
		}
	}
	return out
}

// swapValue changes the value that begins in line i after the sign of
// equality.
func swapValue(lines [][]byte, i int, begun, value string) ([]byte, error) {
	last, open := i, depth(begun)
	for open > 0 {
		last++
		if last >= len(lines) {
			return nil, errors.New("the value of axes does not end")
		}
		open += depth(withoutComment(string(lines[last])))
	}
	first := string(lines[i])
	before := first[:strings.Index(first, "=")+1]
	tail := string(lines[last])
	rest := tail[len(strings.TrimRight(withoutComment(tail), " \t\r\n")):]
	lines[i] = []byte(before + " " + value + rest)
	return bytes.Join(append(lines[:i+1:i+1], lines[last+1:]...), nil), nil
}

func depth(s string) int { return strings.Count(s, "[") - strings.Count(s, "]") }

// withoutComment cuts a line at the # that begins a comment.
func withoutComment(line string) string {
	var quote rune
	for i, r := range line {
		switch {
		case quote != 0:
			if r == quote {
				quote = 0
			}
		case r == '"' || r == '\'':
			quote = r
		case r == '#':
			return line[:i]
		}
	}
	return line
}
