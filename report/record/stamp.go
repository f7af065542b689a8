package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"quietmount/report/sheet"
)

// stamp is what anyone needs to make the sheet again: its inputs, and the version
// and command that made it.
type stamp struct {
	digest string // of all inputs, hex
	inputs []Input
	facts  []sheet.Fact
}

func (m *sheetMaker) stamp() stamp {
	s := stamp{inputs: slices.Clone(m.o.Inputs)}
	slices.SortFunc(s.inputs, func(a, b Input) int { return strings.Compare(a.Name, b.Name) })
	h := sha256.New()
	for _, in := range s.inputs {
		fmt.Fprintf(h, "%s  %s\n", in.SHA256, in.Name)
	}
	s.digest = hex.EncodeToString(h.Sum(nil))
	newest := "–"
	if t := m.newest(); !t.IsZero() {
		newest = t.Format("2006-01-02 15:04:05 -07:00")
	}
	s.facts = []sheet.Fact{
		{Name: "newest input", Value: newest}, {Name: "made by", Value: "quietmount " + orDash(m.o.Tool)}, {Name: "with the command", Value: orDash(m.o.Command)},
		{Name: "reference field", Value: m.f.Model + " on " + m.f.Date}, {Name: "SHA-256 of all inputs", Value: s.digest},
	}
	return s
}

func (s stamp) section() sheet.Section {
	blocks := []sheet.Block{sheet.Facts{Rows: s.facts}}
	if len(s.inputs) > 0 {
		t := sheet.Table{Columns: []sheet.Column{{Name: "file", Words: true}, {Name: "lines"}, {Name: "SHA-256", Code: true}}}
		for _, in := range s.inputs {
			t.Rows = append(t.Rows, sheet.Row{Cells: []string{in.Name, fmt.Sprint(in.Lines), in.SHA256}})
		}
		blocks = append(blocks, t)
	}
	return sheet.Section{Title: "Stamp", Blocks: append(blocks, sheet.Text{Small: true,
		Body: "The same files, version and command give this sheet again, byte for byte. The hash of all inputs is that of the lines “hash, two blanks, file name” of the table above, in its order."})}
}
