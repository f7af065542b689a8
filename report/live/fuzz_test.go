package live

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// FuzzHandlers sends what a browser, a foreign page or a program may send. It
// must never bring the server down, make it fail, or get anything from another
// name or without a session.
func FuzzHandlers(f *testing.F) {
	for _, path := range []string{"/", "/page.css", "/page.js", "/events", "/path", "/panel/walk", "/data/link", "/file/walk/map", "/do/walk/begin", "/nothing"} {
		f.Add("GET", path, "", testHost, "", "", true)
	}
	f.Add("POST", "/do/walk/begin", "state=unpowered&nose_deg=12,5&most=3", testHost, "application/x-www-form-urlencoded", "same-origin", true)
	f.Add("POST", "/do/walk/command", "kind=goto&text=B2", testHost, "application/x-www-form-urlencoded", "same-origin", true)
	f.Add("POST", "/do/link/connect", "port=..%2F..%2Fdev%2Fnull&baud=9600", testHost, "application/x-www-form-urlencoded", "cross-site", true)
	f.Add("POST", "/do/walk/command", "kind=note&text=%00%ff", testHost, "multipart/form-data; boundary=\"", "", false)
	f.Add("GET", "/file/walk/map?state=%zz", "", "evil.example", "", "", true)
	s := quietBench(f)
	cookie := enter(f, s)
	f.Fuzz(func(t *testing.T, method, path, body, host, kind, site string, signed bool) {
		u, err := url.ParseRequestURI(path)
		if err != nil || strings.HasPrefix(path, "/events") || !token(method) {
			return
		}
		r := &http.Request{Method: method, URL: u, Host: host, Header: http.Header{}, Body: http.NoBody, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, RequestURI: path}
		r = r.WithContext(t.Context())
		if body != "" {
			r.Body = nopBody{strings.NewReader(body)}
		}
		r.Header.Set("Content-Type", kind)
		r.Header.Set("Sec-Fetch-Site", site)
		if signed {
			r.Header.Set("Cookie", cookie)
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		ours := strings.EqualFold(host, testHost) || strings.EqualFold(host, "localhost:8123")
		switch {
		case w.Code >= 500:
			t.Errorf("%s %s: %d %s", method, path, w.Code, w.Body)
		case !ours && w.Code != http.StatusMisdirectedRequest:
			t.Errorf("host %q: %d", host, w.Code)
		case !signed && w.Code == http.StatusOK:
			t.Errorf("%s %s without a session: %s", method, path, w.Body)
		case w.Header().Get("Content-Type") == "application/json" && !json.Valid(w.Body.Bytes()):
			t.Errorf("no JSON: %s", w.Body)
		}
		if strings.Contains(w.Header().Get("Content-Type"), "html") && bytes.Contains(w.Body.Bytes(), []byte("<script>")) {
			t.Errorf("a script in %s", w.Body)
		}
	})
}

// token reports whether a word can be a method.
func token(m string) bool {
	return m != "" && strings.Trim(m, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
}

type nopBody struct{ *strings.Reader }

// Close does nothing.
func (nopBody) Close() error { return nil }
