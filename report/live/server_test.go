package live

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"quietmount/report/live/serve"
	"quietmount/survey/craftfile"
	"quietmount/survey/link"
	"quietmount/survey/progress"
	"quietmount/survey/sim"
)

// TestMain removes the folder and closes the browser that the tests share.
func TestMain(m *testing.M) {
	status := m.Run()
	if shared.dir != "" {
		_ = os.RemoveAll(shared.dir)
	}
	if closeBrowser != nil {
		closeBrowser()
	}
	os.Exit(status)
}

// closeBrowser closes the browser, once one is open.
var closeBrowser func()

const testHost = "127.0.0.1:8123"

// quietBench is a bench without a module, asked without a network.
func quietBench(t testing.TB) *Server {
	t.Helper()
	return benchAt(t, catamaran(t, nil))
}

// catamaran is a craft folder with the invented catamaran. change edits the
// craft file.
func catamaran(t testing.TB, change func(string) string) string {
	t.Helper()
	text := string(sim.SandpiperTOML())
	if change != nil {
		text = change(text)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, craftfile.Name), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

func benchAt(t testing.TB, dir string) *Server {
	t.Helper()
	return newBench(t, Options{Dir: dir, Hosts: []string{testHost, "localhost:8123"}})
}

// newBench is a bench with options; those that are missing are filled in.
func newBench(t testing.TB, o Options) *Server {
	t.Helper()
	o.Tool, o.Token, o.Baud = "test", rand.Text, 115200
	ctx := t.Context() // a fuzz target may not ask its F for it
	o.Job = func() (*progress.Job, error) { return jobOf(ctx, o.Dir) }
	o.Ports = func() ([]link.PortInfo, error) { return nil, nil }
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Open == nil {
		o.Open = func(context.Context, string, int) (link.Source, error) {
			return nil, errors.New("this bench has no module")
		}
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// serveUntilTheEnd serves a bench on a listener until the test ends.
func serveUntilTheEnd(t testing.TB, s *Server, l net.Listener) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
}

func localListener(t testing.TB) net.Listener {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func jobOf(ctx context.Context, dir string) (*progress.Job, error) {
	f, err := progress.Read(ctx, dir, false)
	if err != nil {
		return nil, err
	}
	return progress.Of(f), nil
}

// request asks a bench as its own page does. A nil form is a GET.
func request(t testing.TB, s *Server, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	s.ServeHTTP(w, newRequest(t, s, path, form))
	return w
}

// newRequest is a request of the bench's own page.
func newRequest(t testing.TB, s *Server, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodGet, "http://"+testHost+path, nil)
	if form != nil {
		r = httptest.NewRequest(http.MethodPost, "http://"+testHost+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Origin", "http://"+testHost)
	}
	r.Header.Set("Cookie", enter(t, s))
	return r
}

// enter opens an address of the bench as a browser does, and returns the cookie
// that it is given.
func enter(t testing.TB, s *Server) string {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, s.Address(testHost, time.Minute), nil)
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("the bench lets nobody in: %d %s", w.Code, w.Body)
	}
	return strings.SplitN(w.Header().Get("Set-Cookie"), ";", 2)[0]
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
	for _, p := range s.bench.panels() {
		name := p.Name
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
	assets, err := fs.Sub(embedded, "assets")
	if err != nil {
		t.Fatal(err)
	}
	w, err := serve.ReadWords(assets)
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
	for _, pattern := range []string{"*.go", "*/*.go", "assets/*.html", "assets/*.js", "serve/assets/*.html", "serve/assets/*.js"} {
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
		// A field of a form has its hint beside its label.
		if !used[k] && !used[strings.TrimSuffix(k, "_hint")] && !built.MatchString(k) {
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

// TestNoFormLeadsOutOfTheFolder names files and ports that a page may not name.
func TestNoFormLeadsOutOfTheFolder(t *testing.T) {
	s := quietBench(t)
	for _, form := range []struct {
		path   string
		values url.Values
	}{
		{"/do/link/connect", url.Values{"port": {"../../../../dev/null"}, "baud": {"9600"}}},
		{"/do/link/connect", url.Values{"port": {"/dev/null"}}},
		{"/do/link/connect", url.Values{"port": {""}}},
		{"/do/walk/begin", url.Values{"state": {"unpowered"}, "calibration": {"../../0001"}}},
		{"/do/walk/begin", url.Values{"state": {"../unpowered"}}},
	} {
		if w := request(t, s, form.path, form.values); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s %v: %d %s", form.path, form.values, w.Code, w.Body)
		}
	}
}

// TestNoCommandOnThePage: the words are for a person with a mouse.
func TestNoCommandOnThePage(t *testing.T) {
	assets, err := fs.Sub(embedded, "assets")
	if err != nil {
		t.Fatal(err)
	}
	w, err := serve.ReadWords(assets)
	if err != nil {
		t.Fatal(err)
	}
	for key, text := range w {
		if strings.Contains(text, "--") || strings.Contains(text, "quietmount ") {
			t.Errorf("%s names a command or a flag: %s", key, text)
		}
	}
}

// await looks until something holds; that it does at last is what is tested.
func await(t *testing.T, holds func() bool) {
	t.Helper()
	for range 1500 {
		if holds() {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatal("it never came to hold")
}
