package live

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"quietmount/survey"
	"quietmount/survey/link"
	"quietmount/survey/sim"
	"quietmount/survey/standing"
)

const testHost = "127.0.0.1:8123"

// quietBench is a bench without a module, asked without a network.
func quietBench(t testing.TB) *Server {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, survey.CraftFile), sim.SandpiperTOML(), 0o600); err != nil {
		t.Fatal(err)
	}
	return benchAt(t, dir)
}

func benchAt(t testing.TB, dir string) *Server {
	t.Helper()
	s, err := New(Options{
		Dir: dir, Tool: "test", Hosts: []string{testHost, "localhost:8123"}, Now: time.Now, Token: rand.Text, Baud: 115200,
		Standing: func() (*standing.Standing, error) { return standingOf(dir) },
		Ports:    func() ([]link.PortInfo, error) { return nil, nil },
		Open: func(context.Context, string, int) (link.Source, error) {
			return nil, errors.New("this bench has no module")
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func standingOf(dir string) (*standing.Standing, error) {
	f, err := standing.Read(dir, false)
	if err != nil {
		return nil, err
	}
	return standing.Of(f), nil
}

// request asks a bench as its own page does. A nil form is a GET.
func request(t testing.TB, s *Server, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	return ask(s, newRequest(s, path, form))
}

// newRequest is a request of the bench's own page.
func newRequest(s *Server, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodGet, "http://"+testHost+path, nil)
	if form != nil {
		r = httptest.NewRequest(http.MethodPost, "http://"+testHost+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Origin", "http://"+testHost)
	}
	session, _ := s.guard.redeem(s.guard.offer(time.Minute))
	r.AddCookie(&http.Cookie{Name: s.guard.cookie, Value: session})
	return r
}

func ask(s *Server, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r)
	return w
}

func TestThePageIsServedWhole(t *testing.T) {
	s := quietBench(t)
	w := request(t, s, "/", nil)
	page := w.Body.String()
	if w.Code != http.StatusOK || !strings.Contains(page, "Sandpiper") {
		t.Fatalf("%d\n%s", w.Code, page)
	}
	at := 0
	for _, step := range stepNames() {
		i := strings.Index(page, `data-step="`+step+`"`)
		if i < at {
			t.Errorf("%s is missing or out of order", step)
		}
		at = max(at, i)
	}
	if regexp.MustCompile(`(?i)https?://|//[a-z]+\.[a-z]`).MatchString(page) {
		t.Error("the page names another address")
	}
}

func TestEveryPanelAnswers(t *testing.T) {
	s := quietBench(t)
	for name := range s.panels {
		if w := request(t, s, "/panel/"+name, nil); w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			t.Errorf("panel %s: %d %s", name, w.Code, w.Body)
		}
		w := request(t, s, "/data/"+name, nil)
		if !json.Valid(w.Body.Bytes()) {
			t.Errorf("data of %s: %s", name, w.Body)
		}
	}
}

// TestWordsAreThereAndUsed looks for keys in the templates, the scripts and the
// code; those that are put together from a prefix are listed here.
func TestWordsAreThereAndUsed(t *testing.T) {
	w, err := readWords(assets)
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	key := regexp.MustCompile(`"([a-z]+\.[a-z_A-Z0-9]+)"`)
	look := func(text []byte) {
		for _, m := range key.FindAllSubmatch(text, -1) {
			used[string(m[1])] = true
		}
	}
	for _, pattern := range []string{"*.go", "assets/*.html", "assets/*.js"} {
		names, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasSuffix(name, "_test.go") {
				look(text)
			}
		}
	}
	built := regexp.MustCompile(`^(step|lead|state|phase|word|visit|way)\.|^shell\.(sound|keys)_`)
	for k := range w {
		if !used[k] && !built.MatchString(k) {
			t.Errorf("nobody says %s", k)
		}
	}
	families := map[string]bool{}
	for k := range w {
		families[strings.SplitN(k, ".", 2)[0]] = true
	}
	for k := range used {
		if _, ok := w[k]; !ok && families[strings.SplitN(k, ".", 2)[0]] && !regexp.MustCompile(`\.(go|html|css|js|json|toml)$`).MatchString(k) {
			t.Errorf("no words for %s", k)
		}
	}
}

func TestWordsRefuseSlips(t *testing.T) {
	w := words{}
	if err := w.add("a.txt", "# a remark\n\na.b = c %d\n"); err != nil || w.must("a.b", 3) != "c 3" {
		t.Errorf("%v %v", w, err)
	}
	for _, text := range []string{"a.b = twice", "no text", "a.c=tight"} {
		if err := w.add("b.txt", text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
	if _, err := w.say("a.z"); err == nil {
		t.Error("a key without a text is no error")
	}
}

// TestThePageIsSmall bounds what a browser fetches before the walk can begin.
func TestThePageIsSmall(t *testing.T) {
	s := quietBench(t)
	total := 0
	for _, path := range []string{"/", "/page.css", "/page.js", "/panel/walk"} {
		n := request(t, s, path, nil).Body.Len()
		t.Logf("%s: %d bytes", path, n)
		total += n
	}
	if total > 250_000 {
		t.Errorf("%d bytes", total)
	}
}
