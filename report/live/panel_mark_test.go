package live

import (
	"bytes"
	"net/http"
	"strings"
	"testing"
)

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
