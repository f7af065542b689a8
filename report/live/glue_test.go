package live

import (
	"bytes"
	"net/http"
	"strings"
	"testing"
)

// The glue step says where the chosen spot lies and hands its template out on one
// page; without a choice it asks for one.
func TestGlueGivesATemplateOfTheChosenSpot(t *testing.T) {
	s := example(t)
	v := data[glueView](t, s, "glue")
	if v.Chosen == nil || v.Chosen.Place == "" {
		t.Fatalf("chosen %+v", v.Chosen)
	}
	page := request(t, s, "/panel/glue", nil).Body.String()
	if !strings.Contains(page, v.Chosen.Place) || !strings.Contains(page, "/file/glue/template") {
		t.Errorf("place or template is missing:\n%s", page)
	}
	w := request(t, s, "/file/glue/template?side=top&paper=letter", nil)
	if w.Code != http.StatusOK || bytes.Count(w.Body.Bytes(), []byte("/Type /Page\n")) != 1 || w.Header().Get("Content-Disposition") != "attachment; filename=glue-top.pdf" {
		t.Errorf("%d %v %.20q", w.Code, w.Header(), w.Body)
	}
	for _, bad := range []string{"", "?side=left&paper=a4", "?side=top&paper=../a4"} {
		if w := request(t, s, "/file/glue/template"+bad, nil); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%q: %d", bad, w.Code)
		}
	}
	empty := quietBench(t)
	if v := data[glueView](t, empty, "glue"); v.Chosen != nil {
		t.Errorf("chosen %+v", v.Chosen)
	}
	if page := request(t, empty, "/panel/glue", nil).Body.String(); strings.Contains(page, "<form") || !strings.Contains(page, "#choose") {
		t.Errorf("without a choice:\n%s", page)
	}
	if w := request(t, empty, "/file/glue/template?side=top&paper=a4", nil); w.Code == http.StatusOK {
		t.Error("a template of no choice")
	}
}
