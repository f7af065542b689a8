package record

import (
	"strings"
	"testing"

	"quietmount/report/answer"
	"quietmount/report/internal/example"
	"quietmount/report/sheet"
	"quietmount/report/words"
)

func benchmarkSheet(b *testing.B, render func(sheet.Document) ([]byte, error)) {
	s, err := example.Sandpiper()
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		data, err := render(documentOf(b, s.Found, s.Ranking, sheetOptions()))
		if err != nil {
			b.Fatal(err)
		}
		n = len(data)
	}
	b.ReportMetric(float64(n)/1000, "kB")
}

func BenchmarkSheetHTML(b *testing.B) { benchmarkSheet(b, sheet.HTML) }

func BenchmarkSheetPDF(b *testing.B) { benchmarkSheet(b, sheet.PDF) }

// A simulated survey from its captures to the sheet, which contains the verdict and
// stays small.
func TestSurveyToSheet(t *testing.T) {
	s, err := example.Sandpiper()
	if err != nil {
		t.Fatal(err)
	}
	data := htmlOf(t, s.Found, s.Ranking, sheetOptions())
	if n := len(data); n > 2_500_000 {
		t.Errorf("the sheet has %d bytes", n)
	}
	_, verdict, _ := strings.Cut(answer.NewRank(words.Terminal, s.Found, s.Ranking).Verdict(), " is within ")
	if verdict == "" || !strings.Contains(string(data), verdict) {
		t.Errorf("the sheet lacks the verdict %q", verdict)
	}
}
