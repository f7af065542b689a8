package serve

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

const testHost = "127.0.0.1:8123"

// testServer is a page with one panel, asked without a network. Its action
// "begin" takes any form; its data is what the field "data" holds.
func testServer(t testing.TB) *Server {
	t.Helper()
	assets := fstest.MapFS{
		"walk.html":      {Data: []byte(`{{define "walk"}}<p>{{.}}</p>{{end}}`)},
		"words/walk.txt": {Data: []byte("step.Walk = Walk\nlead.Walk = lead\n")},
	}
	words, err := ReadWords(assets)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{
		Hosts: []string{testHost, "localhost:8123"}, Now: time.Now, Token: rand.Text, Tool: "test", Words: words, Stream: NewStream("ep"), Assets: assets,
		Path: func() (string, []Step) { return "Sandpiper", []Step{{Number: 1, Name: "Walk", State: "next"}} },
		Panels: []Panel{{
			Name: "walk", Step: "Walk",
			Data: func(a Ask) (any, error) {
				if a.Form.Raw("data") == "bad" {
					return nil, BadField("data", "not %s", "this")
				}
				return a.Form.Raw("data"), a.Ctx.Err()
			},
			Actions: map[string]func(Ask) (any, error){
				"begin":   func(Ask) (any, error) { return Done{Say: "begun"}, nil },
				"command": func(Ask) (any, error) { return nil, errors.New("nothing is under way") },
			},
			Files: map[string]func(Ask) (File, error){
				"map": func(Ask) (File, error) {
					return File{Type: "image/svg+xml", Body: []byte("<svg/>"), Download: "map.svg"}, nil
				},
			},
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// request asks a page as its own script does. A nil form is a GET.
func request(s *Server, path string, form url.Values) *httptest.ResponseRecorder {
	return serve(s, newRequest(s, path, form))
}

// newRequest is a request of the page's own script.
func newRequest(s *Server, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodGet, "http://"+testHost+path, nil)
	if form != nil {
		r = httptest.NewRequest(http.MethodPost, "http://"+testHost+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Origin", "http://"+testHost)
	}
	r.Header.Set("Cookie", cookieOf(s))
	return r
}

func cookieOf(s *Server) string {
	session, _ := s.guard.redeem(s.guard.offer(time.Minute))
	return s.guard.cookie + "=" + session
}

func serve(s *Server, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// TestPanelsAnswer asks for each kind of answer, and for what is not there.
func TestPanelsAnswer(t *testing.T) {
	s := testServer(t)
	for _, tt := range []struct {
		path   string
		form   url.Values
		status int
		want   string
	}{
		{"/panel/walk?data=%3Cb%3E", nil, 200, "<p>&lt;b&gt;</p>"},
		{"/panel/walk?data=bad", nil, 200, "That did not work: data: not this"},
		{"/data/walk?data=x", nil, 200, `"x"`},
		{"/data/walk?data=bad", nil, 422, `{"error":"not this","field":"data"}`},
		{"/file/walk/map", nil, 200, "<svg/>"},
		{"/file/walk/other", nil, 404, "nothing"},
		{"/panel/other", nil, 404, "nothing"},
		{"/do/walk/begin", url.Values{"a": {"1"}}, 200, `{"say":"begun"}`},
		{"/do/walk/command", url.Values{}, 422, `{"error":"nothing is under way"}`},
		{"/do/walk/other", url.Values{}, 404, "nothing"},
		{"/path", nil, 200, `"craft":"Sandpiper"`},
	} {
		if w := request(s, tt.path, tt.form); w.Code != tt.status || !strings.Contains(w.Body.String(), tt.want) {
			t.Errorf("%s: %d %s, want %d %s", tt.path, w.Code, w.Body, tt.status, tt.want)
		}
	}
	if w := request(s, "/file/walk/map", nil); w.Header().Get("Content-Disposition") != "attachment; filename=map.svg" {
		t.Errorf("%v", w.Header())
	}
	if w := request(s, "/", nil); !strings.Contains(w.Body.String(), `data-panel="walk"`) || !strings.Contains(w.Body.String(), "Sandpiper") {
		t.Errorf("the shell is %s", w.Body)
	}
}

func TestWordsRefuseSlips(t *testing.T) {
	w := Words{}
	if err := w.add("a.txt", "# a remark\n\na.b = c %d\n"); err != nil || w.Say("a.b", 3) != "c 3" {
		t.Errorf("%v %v", w, err)
	}
	for _, text := range []string{"a.b = twice", "no text", "a.c=tight"} {
		if err := w.add("b.txt", text); err == nil {
			t.Errorf("%q is accepted", text)
		}
	}
	if _, err := w.say("a.z"); err == nil {
		t.Error("a key without a text is no error")
	}
}

func TestNumbersOfTheTemplates(t *testing.T) {
	x := 2.345
	for _, tt := range []struct {
		digits int
		v      any
		want   string
	}{{2, x, "2.35"}, {1, &x, "2.3"}, {0, 7, "7"}, {1, -0.04, "0.0"}, {0, -0.4, "0"}, {1, (*float64)(nil), "–"}, {1, "x", "–"}} {
		if got := typedNumber(tt.digits, tt.v); got != tt.want {
			t.Errorf("number(%d, %v) = %q, want %q", tt.digits, tt.v, got, tt.want)
		}
	}
}

// A panel without a template is refused at the start, not when it is opened.
func TestAPanelNeedsATemplate(t *testing.T) {
	_, err := New(Options{Hosts: []string{testHost}, Now: time.Now, Token: rand.Text, Words: Words{}, Stream: NewStream("ep"),
		Assets: fstest.MapFS{"other.html": {Data: []byte(`{{define "other"}}{{end}}`)}}, Panels: []Panel{{Name: "walk"}}})
	if err == nil || !strings.Contains(err.Error(), "walk.html") {
		t.Errorf("%v", err)
	}
}

func TestJSONThatCannotBeWritten(t *testing.T) {
	w := httptest.NewRecorder()
	testServer(t).replyJSON(w, 200, func() {})
	if w.Code != 500 || !json.Valid(w.Body.Bytes()) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
