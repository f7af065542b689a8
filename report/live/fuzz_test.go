package live

import (
	"bytes"
	"encoding/json"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// FuzzHandlers sends what a browser, a foreign page or a program may send. It
// must never bring the server down, make it fail, or get anything from another
// name or without a session.
func FuzzHandlers(f *testing.F) {
	for _, path := range paths() {
		f.Add("GET", path, "", testHost, "", "", true)
	}
	f.Add("POST", "/do/walk/begin", "state=unpowered&nose_deg=12,5&most=3", testHost, "application/x-www-form-urlencoded", "same-origin", true)
	f.Add("POST", "/do/walk/command", "kind=goto&text=B2", testHost, "application/x-www-form-urlencoded", "same-origin", true)
	f.Add("POST", "/do/link/connect", "port=..%2F..%2Fdev%2Fnull&baud=9600", testHost, "application/x-www-form-urlencoded", "cross-site", true)
	f.Add("POST", "/do/walk/command", "kind=note&text=%00%ff", testHost, "multipart/form-data; boundary=\"", "", false)
	f.Add("GET", "/file/walk/map?state=%zz", "", "evil.example", "", "", true)
	s := quietBench(f)
	session, _ := s.guard.redeem(s.guard.offer(time.Hour))
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
			r.AddCookie(&http.Cookie{Name: s.guard.cookie, Value: session})
		}
		w := httptest.NewRecorder()
		s.handler.ServeHTTP(w, r)
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

// FuzzForm reads every kind of field from any query: no panic, and what is
// taken is within the bounds asked for.
func FuzzForm(f *testing.F) {
	for _, q := range []string{"a=12,5", "a=1e400", "a=0x1p-2", "a=NaN", "a=1_000", "a=+inf", "a=30,5+cm", "a=7+1/2%22", "a=%ff%00", "a=on&a=off&a=1", "a=1.234,5", "a=-0", "b=&&;"} {
		f.Add(q)
	}
	f.Fuzz(func(t *testing.T, query string) {
		values, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		form := Form{values}
		if v, err := form.Number("a", -5, 360); err == nil && v != nil && !(*v >= -5 && *v <= 360) {
			t.Errorf("number %v", *v)
		}
		if n, err := form.Int("a", 3, 0, 10); err == nil && (n < 0 || n > 10) {
			t.Errorf("int %d", n)
		}
		if text, err := form.Text("a", 20); err == nil && (!utf8.ValidString(text) || utf8.RuneCountInString(text) > 20 || strings.ContainsRune(text, 0)) {
			t.Errorf("text %q", text)
		}
		if v, err := form.LengthMM("a"); err == nil && v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0) || *v < 0) {
			t.Errorf("length %v", *v)
		}
		if word, err := form.Pick("a", "x", "y"); err == nil && word != "x" && word != "y" {
			t.Errorf("picked %q", word)
		}
		if all, err := form.All("a", 2); err == nil && len(all) > 2 {
			t.Errorf("%d values", len(all))
		}
		form.On("a")
	})
}

// FuzzLastEventID follows after any id: no panic, and never an event of the
// future or one twice.
func FuzzLastEventID(f *testing.F) {
	for _, id := range []string{"", "ep-0", "ep-3", "ep-7", "ep-8", "other-2", "ep--1", "ep-99999999999999999999", "-", "ep-+3"} {
		f.Add(id)
	}
	f.Fuzz(func(t *testing.T, id string) {
		s := newStream("ep")
		for i := range 7 {
			s.Say("a", i)
		}
		fo, missed := s.follow(id)
		got := s.events(fo)
		if missed && len(got) > 0 {
			t.Errorf("%q: missed, and %d events", id, len(got))
		}
		for i, m := range got {
			if m.number != 7-len(got)+i+1 {
				t.Errorf("%q: event %d at place %d of %d", id, m.number, i, len(got))
			}
		}
	})
}
