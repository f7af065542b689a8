package live

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"testing"
)

// The number of pages that is told is that of the PDF, on either side.
func TestMarkTellsThePagesOfTheTemplate(t *testing.T) {
	s := quietBench(t)
	v := data[markView](t, s, "mark")
	if len(v.Papers) != 2 {
		t.Fatalf("papers %+v", v.Papers)
	}
	page := request(t, s, "/panel/mark", nil).Body.String()
	for _, p := range v.Papers {
		for _, side := range []string{"top", "underside"} {
			pdf := request(t, s, "/file/mark/template?side="+side+"&paper="+p.Name, nil).Body.Bytes()
			if got := bytes.Count(pdf, []byte("/Type /Page\n")); got != p.Pages || p.Pages != 1+p.Columns*p.Rows {
				t.Errorf("%s, %s: %d pages, told %+v", side, p.Name, got, p)
			}
		}
		if want := fmt.Sprintf("%s: %d pages", p.Title, p.Pages); !strings.Contains(page, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
}

func TestMarkGivesATemplate(t *testing.T) {
	s := quietBench(t)
	w := request(t, s, "/file/mark/template?side=underside&paper=letter", nil)
	if w.Code != http.StatusOK || !bytes.HasPrefix(w.Body.Bytes(), []byte("%PDF-")) || w.Header().Get("Content-Disposition") != "attachment; filename=stations-underside.pdf" {
		t.Errorf("%d %v %.20q", w.Code, w.Header(), w.Body)
	}
	if again := request(t, s, "/file/mark/template?side=underside&paper=letter", nil); !bytes.Equal(again.Body.Bytes(), w.Body.Bytes()) {
		t.Error("the same request gives other bytes")
	}
	for _, bad := range []string{"", "?side=left&paper=a4", "?side=top&paper=../a4"} {
		if w := request(t, s, "/file/mark/template"+bad, nil); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%q: %d", bad, w.Code)
		}
	}
	page := request(t, s, "/panel/mark", nil).Body.String()
	if !strings.Contains(page, "<td>mast</td>") || !strings.Contains(page, "base station T") {
		t.Errorf("stations are missing:\n%s", page)
	}
}
