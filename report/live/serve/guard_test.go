package serve

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

// paths are one of each kind.
func paths() []string {
	return []string{"/", "/page.css", "/page.js", "/events", "/path", "/panel/walk", "/data/walk", "/file/walk/map", "/do/walk/begin", "/nothing"}
}

func TestForeignHostsAreMisdirected(t *testing.T) {
	s := testServer(t)
	token := s.guard.offer(time.Minute)
	// The names that a rebinding site or a proxy would bring, and near misses.
	for _, host := range []string{"evil.example", "127.0.0.1", "127.0.0.1:8124", "127.0.0.1:8123.evil.example", "localhost", "[::1]:8123", "0.0.0.0:8123", ""} {
		for _, path := range append(paths(), "/enter?token="+token) {
			r := newRequest(s, path, nil)
			r.Host = host
			if w := serve(s, r); w.Code != http.StatusMisdirectedRequest {
				t.Errorf("%s at host %q: %d, want 421", path, host, w.Code)
			}
		}
	}
	if _, ok := s.guard.redeem(token); !ok {
		t.Error("a foreign host used the token up")
	}
	r := newRequest(s, "/path", nil)
	r.Host = "LocalHost:8123"
	if w := serve(s, r); w.Code != http.StatusOK {
		t.Errorf("our own name in other letters: %d", w.Code)
	}
}

func TestOtherOriginsCannotChangeAnything(t *testing.T) {
	s := testServer(t)
	for name, headers := range map[string]map[string]string{
		"another site":      {"Sec-Fetch-Site": "cross-site", "Origin": "http://evil.example"},
		"same site":         {"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:9999"},
		"an old browser":    {"Sec-Fetch-Site": "", "Origin": "http://evil.example"},
		"a sandboxed frame": {"Sec-Fetch-Site": "", "Origin": "null"},
	} {
		r := newRequest(s, "/do/walk/command", url.Values{"kind": {"stop"}})
		for k, v := range headers {
			r.Header.Set(k, v)
			if v == "" {
				r.Header.Del(k)
			}
		}
		if w := serve(s, r); w.Code != http.StatusForbidden {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
}

func TestNothingWithoutASession(t *testing.T) {
	s := testServer(t)
	for _, path := range paths() {
		if path == "/nothing" {
			continue
		}
		for name, spoil := range map[string]func(*http.Request){
			"no cookie":   func(r *http.Request) { r.Header.Del("Cookie") },
			"wrong value": func(r *http.Request) { r.Header.Set("Cookie", s.guard.cookie+"=AAAAAAAAAAAAAAAAAAAAAAAAAA") },
			"empty value": func(r *http.Request) { r.Header.Set("Cookie", s.guard.cookie+"=") },
			"another port": func(r *http.Request) {
				r.Header.Set("Cookie", strings.Replace(r.Header.Get("Cookie"), "8123", "9999", 1))
			},
		} {
			r := newRequest(s, path, nil)
			if strings.HasPrefix(path, "/do/") {
				r = newRequest(s, path, url.Values{})
			}
			spoil(r)
			if w := serve(s, r); w.Code != http.StatusForbidden || strings.Contains(w.Body.String(), "Sandpiper") {
				t.Errorf("%s with %s: %d %s", path, name, w.Code, w.Body)
			}
		}
	}
}

func TestATokenLetsOneBrowserInOnce(t *testing.T) {
	s := testServer(t)
	now := time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)
	s.guard.now = func() time.Time { return now }
	enter := func(address string) *httptest.ResponseRecorder {
		return serve(s, httptest.NewRequest(http.MethodGet, address, nil))
	}
	address := s.Address(testHost, time.Minute)
	w := enter(address)
	cookies := w.Result().Cookies()
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/" || len(cookies) != 1 {
		t.Fatalf("%d to %q with %v", w.Code, w.Header().Get("Location"), cookies)
	}
	c := cookies[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || c.Name != "quietmount_8123" {
		t.Errorf("cookie %+v", c)
	}
	if strings.Contains(address, c.Value) {
		t.Error("the session is the token")
	}
	if w := enter(address); w.Code != http.StatusForbidden || len(w.Result().Cookies()) > 0 {
		t.Errorf("a second time: %d", w.Code)
	}
	late := s.Address(testHost, time.Minute)
	now = now.Add(2 * time.Minute)
	if w := enter(late); w.Code != http.StatusForbidden {
		t.Errorf("too late: %d", w.Code)
	}
	for _, bad := range []string{"/enter", "/enter?token=", "/enter?token=AAAA"} {
		if w := enter("http://" + testHost + bad); w.Code != http.StatusForbidden {
			t.Errorf("%s: %d", bad, w.Code)
		}
	}
}

func TestOffersAndSessionsAreBounded(t *testing.T) {
	s := testServer(t)
	first := s.guard.offer(time.Minute)
	for range maxOffers {
		s.guard.offer(time.Minute)
	}
	if _, ok := s.guard.redeem(first); ok || len(s.guard.offers) != maxOffers {
		t.Errorf("the oldest of %d offers still counts", len(s.guard.offers))
	}
	for range maxSessions + 5 {
		if _, ok := s.guard.redeem(s.guard.offer(time.Minute)); !ok {
			t.Fatal("a fresh token is refused")
		}
	}
	if len(s.guard.sessions) != maxSessions {
		t.Errorf("%d sessions", len(s.guard.sessions))
	}
}

func TestEveryAnswerIsHardened(t *testing.T) {
	s := testServer(t)
	for _, path := range append(paths(), "/enter") {
		if path == "/events" {
			continue // does not end; its headers are seen in the stream's tests
		}
		h := request(s, path, nil).Header()
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" || h.Get("Cache-Control") != "no-store" {
			t.Errorf("%s: %v", path, h)
		}
		if strings.Contains(csp, "script") && strings.Contains(csp, "unsafe") {
			t.Errorf("%s: a policy that lets anything run: %s", path, csp)
		}
	}
	a, b := request(s, "/", nil), request(s, "/", nil)
	if a.Header().Get("Content-Security-Policy") == b.Header().Get("Content-Security-Policy") {
		t.Error("two answers share a nonce")
	}
	if n := strings.Count(a.Body.String(), "<script"); n != 2 || strings.Contains(a.Body.String(), " style=") || strings.Contains(a.Body.String(), " onclick") {
		t.Errorf("%d scripts, or something inline", n)
	}
}

func TestOnlyFormsChangeSomething(t *testing.T) {
	s := testServer(t)
	if w := request(s, "/do/walk/begin", nil); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("GET of an action: %d", w.Code)
	}
	for _, kind := range []string{"", "text/plain", "application/json", "multipart/form-data; boundary=x"} {
		r := newRequest(s, "/do/walk/begin", url.Values{"state": {"unpowered"}})
		r.Header.Set("Content-Type", kind)
		if w := serve(s, r); w.Code != http.StatusUnsupportedMediaType {
			t.Errorf("a body of type %q: %d", kind, w.Code)
		}
	}
	if w := request(s, "/do/walk/begin", url.Values{"note": {strings.Repeat("x", 2*maxBody)}}); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a body of %d bytes: %d", 2*maxBody, w.Code)
	}
}

func TestNoPathLeadsOutOfTheFolder(t *testing.T) {
	s := testServer(t)
	for _, path := range []string{
		"/file/walk/..%2f..%2fcraft.toml", "/file/..%2f..%2fetc/passwd", "/panel/..%2f..%2fgo.mod", "/data/%00", "/craft.toml",
		"/assets/page.css", "/file/walk/", "//etc/passwd", "/page.css/..%2f..%2fgo.mod", "/runs/0001-background.jsonl",
	} {
		w := request(s, path, nil)
		if w.Code == http.StatusOK || strings.Contains(w.Body.String(), "latitude_deg") || strings.Contains(w.Body.String(), "module quietmount") {
			t.Errorf("%s: %d %.80s", path, w.Code, w.Body)
		}
	}
}
