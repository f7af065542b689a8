package sheet

import (
	"bytes"
	"compress/zlib"
	"encoding/xml"
	"errors"
	"fmt"
	"html"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"codeberg.org/go-pdf/fpdf"

	"quietmount/report/pdf"
)

// square is a drawing of one invented word.
type square struct{ word string }

func (square) Size() (float64, float64) { return 300, 200 }

func (s square) SVG() (string, error) {
	return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 200"><text>` + html.EscapeString(s.word) + `</text></svg>`, nil
}

func (s square) PaintPDF(doc *fpdf.Fpdf, x, y, scale float64) error {
	doc.SetFont(pdf.Family, "", 9)
	doc.Rect(x, y, 300*scale, 200*scale, "D")
	doc.Text(x+10, y+20, s.word)
	return nil
}

// everything returns an invented document with each kind of block.
func everything() Document {
	numbers := Table{Columns: []Column{{Name: "name", Words: true}, {Name: "length across", Unit: "mm"}, {Name: "hash", Code: true}}}
	for i := range 90 {
		row := Row{Cells: []string{fmt.Sprintf("row%d of some words", i), fmt.Sprintf("−%d.5", i), strings.Repeat("ab", 32)}}
		if i%20 == 3 {
			row.Strong, row.Remark = true, fmt.Sprintf("remark%d", i)
		}
		numbers.Rows = append(numbers.Rows, row)
	}
	return Document{
		Title: `Board <b> & "co"`, Subtitle: "µT ± °", Foot: "the foot", Tool: "0.1", Dated: time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC),
		Sections: []Section{
			{Blocks: []Block{Verdict{Word: "Within", Sentence: "It is within."}, Verdict{Word: "Not", Sentence: "It is not.", Bad: true}, Text{Lead: "Led.", Body: "Then plain words follow."}}},
			{Title: "Values", Blocks: []Block{Facts{Rows: []Fact{{"first", "one"}, {strings.Repeat("long name ", 6), strings.Repeat("and on ", 60)}}}, List{Items: []string{"this", strings.Repeat("that too ", 40)}}}},
			{Title: "Pictures", Blocks: []Block{Pictures{Across: 2, Items: []Picture{square{"leftmost"}, square{"rightmost"}, square{"under"}}}}},
			{Title: "Numbers", Blocks: []Block{numbers, Text{Small: true, Body: "Small words."}}},
			{Title: "Hand", Blocks: []Block{Blanks{Names: []string{"measured by", "date", "checked by"}}, Frames{Captions: []string{"here", "there"}}}},
			{Title: "Box", Boxed: true, Blocks: []Block{List{Items: []string{"in the box"}}}},
		},
	}
}

func made(t testing.TB, d Document) (page, file []byte) {
	t.Helper()
	page, err := HTML(d)
	if err != nil {
		t.Fatal(err)
	}
	if file, err = PDF(d); err != nil {
		t.Fatal(err)
	}
	return page, file
}

// htmlWords returns the words that a reader of the page sees, in order.
func htmlWords(t testing.TB, page []byte) []string {
	t.Helper()
	_, body, _ := bytes.Cut(page, []byte("<body>"))
	d := xml.NewDecoder(bytes.NewReader(body))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var out []string
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if text, ok := token.(xml.CharData); ok {
			out = append(out, strings.Fields(string(text))...)
		}
		if err != nil {
			return out // the closing tags of body and html have no beginning here
		}
	}
}

var (
	pdfStream = regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`)
	pdfText   = regexp.MustCompile(`(?s)\(((?:[^()\\]|\\.)*)\) Tj`)
)

// pdfPages returns the words of each page, in order, from its text operators: strings of two-byte characters.
// Source: ISO 32000-1, 7.3.4.2 (literal strings), 9.4.3 (Tj).
func pdfPages(t testing.TB, file []byte) [][]string {
	t.Helper()
	var out [][]string
	for _, m := range pdfStream.FindAllSubmatch(file, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		data, _ := io.ReadAll(z)
		if !bytes.Contains(data, []byte(" Td (")) {
			continue
		}
		var words []string
		for _, s := range pdfText.FindAllSubmatch(data, -1) {
			words = append(words, strings.Fields(decoded(s[1]))...)
		}
		out = append(out, words)
	}
	return out
}

func decoded(s []byte) string {
	var b []byte
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			i++
			if s[i] == 'r' {
				b = append(b, '\r')
				continue
			}
		}
		b = append(b, s[i])
	}
	var units []uint16
	for i := 0; i+1 < len(b); i += 2 {
		units = append(units, uint16(b[i])<<8|uint16(b[i+1]))
	}
	return string(utf16.Decode(units))
}

// counts returns how often each word occurs, without the hashes, which are broken
// over lines.
func counts(words []string) map[string]int {
	out := map[string]int{}
	for _, w := range words {
		if !strings.Contains(w, "ababab") && w != "•" {
			out[w]++
		}
	}
	return out
}

// Page and file have the same words equally often, except the heads of tables and the
// foot, which the file repeats.
func TestBothSayTheSame(t *testing.T) {
	page, file := made(t, everything())
	pages := pdfPages(t, file)
	if len(pages) < 3 {
		t.Fatalf("%d pages, want some", len(pages))
	}
	got, want := counts(slices.Concat(pages...)), counts(htmlWords(t, page))
	repeated := "name length across mm hash the foot page of"
	for w, n := range want {
		if g := got[w]; g != n && !(g > n && slices.Contains(strings.Fields(repeated), w)) {
			t.Errorf("%q: %d times in the file, %d on the page", w, g, n)
		}
	}
	for w := range got {
		if want[w] == 0 && !slices.Contains(strings.Fields(repeated), w) && !regexp.MustCompile(`^\d+$`).MatchString(w) {
			t.Errorf("%q is only in the file", w)
		}
	}
	if n := strings.Count(strings.Join(slices.Concat(pages...), ""), strings.Repeat("ab", 32)); n != 90 {
		t.Errorf("%d whole hashes, want 90", n)
	}
}

// Each page has the head of the table and the foot with the page's number.
func TestHeadsAndFeet(t *testing.T) {
	_, file := made(t, everything())
	pages := pdfPages(t, file)
	for i, words := range pages {
		text := strings.Join(words, " ")
		if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(text, want) {
			t.Errorf("page %d lacks %q", i+1, want)
		}
		if strings.Contains(text, "of some words") && !strings.Contains(text, "name") {
			t.Errorf("page %d continues a table without its head", i+1)
		}
	}
}

// No text runs over the right margin or under the foot.
func TestNothingRunsOut(t *testing.T) {
	d := everything()
	long := strings.Repeat("Donaudampfschifffahrt", 12)
	d.Title = long
	d.Sections = append(d.Sections, Section{Title: long, Blocks: []Block{
		Text{Lead: long, Body: long}, Facts{Rows: []Fact{{long, long}}}, List{Items: []string{long}}, Blanks{Names: []string{long}},
		Table{Columns: []Column{{Name: "a", Words: true}, {Name: long}, {Name: "c", Words: true}}, Rows: []Row{{Cells: []string{long, long, long}, Remark: long}}},
	}})
	for _, paper := range []pdf.Paper{pdf.A4(), pdf.Letter()} {
		d.Paper = paper
		_, file := made(t, d)
		p, err := newPress(d)
		if err != nil {
			t.Fatal(err)
		}
		at := regexp.MustCompile(`BT /F(\w+) ([0-9.]+) Tf ET\n|BT ([0-9.]+) ([0-9.]+) Td (?s)\(((?:[^()\\]|\\.)*)\) Tj`)
		for _, m := range pdfStream.FindAllSubmatch(file, -1) {
			z, err := zlib.NewReader(bytes.NewReader(m[1]))
			if err != nil {
				continue
			}
			data, _ := io.ReadAll(z)
			size := 0.0
			for _, s := range at.FindAllSubmatch(data, -1) {
				if len(s[2]) > 0 {
					fmt.Sscan(string(s[2]), &size)
					continue
				}
				var x, y float64
				fmt.Sscan(string(s[3]), &x)
				fmt.Sscan(string(s[4]), &y)
				if right := x + p.width(decoded(s[5]), size, false); right > p.x+p.wide+8 || y < 12 {
					t.Errorf("%s: %.40q runs to x %.0f, y %.0f", paper.Name, decoded(s[5]), right, y)
				}
			}
		}
	}
}

func TestRepeatable(t *testing.T) {
	pageA, fileA := made(t, everything())
	pageB, fileB := made(t, everything())
	if !bytes.Equal(pageA, pageB) || !bytes.Equal(fileA, fileB) {
		t.Error("the same document gives other bytes")
	}
}

// Paper sizes: ISO 216 A4 is 595.28 by 841.89 points, Letter 612 by 792.
func TestPaper(t *testing.T) {
	d := everything()
	for _, c := range []struct {
		paper    pdf.Paper
		css, box string
	}{{pdf.Paper{}, "size: A4", "595.28 841.89"}, {pdf.Letter(), "size: letter", "612.00 792.00"}} {
		d.Paper = c.paper
		page, file := made(t, d)
		if !bytes.Contains(page, []byte(c.css)) {
			t.Errorf("the page lacks %q", c.css)
		}
		if !bytes.Contains(file, []byte(c.box)) {
			t.Errorf("the file lacks a page of %q", c.box)
		}
	}
}

// Letters that the font lacks are replaced, and each page explains the sign.
func TestLettersWithoutAShape(t *testing.T) {
	d := everything()
	d.Title = "翼 😀"
	page, file := made(t, d)
	if !bytes.Contains(page, []byte("翼 😀")) {
		t.Error("the page lost letters")
	}
	for i, words := range pdfPages(t, file) {
		if !strings.Contains(strings.Join(words, " "), "□ stands for a letter") {
			t.Errorf("page %d does not say what □ stands for", i+1)
		}
	}
}
