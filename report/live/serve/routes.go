package serve

import (
	"bytes"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"quietmount/report/words"
)

// routes returns the handler of all requests. The Host header must be one of ours,
// in any letter case, since any web site can make its own name resolve to this
// machine; it is checked before anything else is done with a request.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /enter", s.enter)
	mux.HandleFunc("GET /{$}", s.known(s.shell))
	mux.HandleFunc("GET /page.css", s.known(asset("text/css", s.pages.css)))
	mux.HandleFunc("GET /page.js", s.known(asset("text/javascript", s.pages.js)))
	mux.HandleFunc("GET /events", s.known(s.events))
	mux.HandleFunc("GET /path", s.known(s.path))
	mux.HandleFunc("GET /panel/{name}", s.known(s.fragment))
	mux.HandleFunc("GET /data/{name}", s.known(s.data))
	mux.HandleFunc("GET /file/{name}/{key}", s.known(s.file))
	mux.HandleFunc("POST /do/{name}/{action}", s.known(s.do))
	crossing := http.NewCrossOriginProtection()
	crossing.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		s.refuse(w, http.StatusForbidden, "shell.other_origin")
	}))
	inner := crossing.Handler(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		harden(w.Header())
		if !slices.Contains(s.opts.Hosts, strings.ToLower(r.Host)) {
			s.refuse(w, http.StatusMisdirectedRequest, "shell.wrong_host")
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		inner.ServeHTTP(w, r)
	})
}

// harden sets the headers of every answer. The shell replaces the policy by one
// that lets its own script and style in.
func harden(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	h.Set("Cache-Control", "no-store")
}

// known lets only browsers with a session in.
func (s *Server) known(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !s.guard.knows(r) {
			s.refuse(w, http.StatusForbidden, "shell.no_session")
			return
		}
		next(w, r)
	}
}

func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if s.guard.enter(w, r) {
		return
	}
	if s.guard.knows(r) { // the address was used up by this very browser
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.refuse(w, http.StatusForbidden, "shell.token_used")
}

// refuse answers with a status and a text of the shell's words.
func (s *Server) refuse(w http.ResponseWriter, status int, key string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	s.reply(w, status, []byte(s.opts.Words.Say(key)+"\n"))
}

// reply writes an answer within the time that a page has to take it.
func (s *Server) reply(w http.ResponseWriter, status int, body []byte) {
	// A writer without deadlines falls under the idle limit. Deadlines go by
	// the system's clock, also where the page has another one.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(s.limits.reply))
	w.WriteHeader(status)
	_, _ = w.Write(body) // a page that is gone needs no answer
}

func (s *Server) replyJSON(w http.ResponseWriter, status int, v any) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	if err := e.Encode(v); err != nil {
		status, v = http.StatusInternalServerError, Failure{Error: err.Error()}
		b.Reset()
		_ = e.Encode(v) // two strings always encode
	}
	w.Header().Set("Content-Type", "application/json")
	s.reply(w, status, b.Bytes())
}

// Failure is the JSON of a request that failed.
type Failure struct {
	Error string `json:"error"`
	Field string `json:"field,omitempty"` // of the form, where one is at fault
	Hint  string `json:"hint,omitempty"`  // what to do about it
}

// FailureOf returns what a page is told of an error; a *FieldError names its
// field.
func FailureOf(err error) Failure {
	if bad, ok := errors.AsType[*FieldError](err); ok {
		return Failure{Error: bad.Msg, Field: bad.Field}
	}
	return Failure{Error: err.Error(), Hint: words.Hint(words.Page, err)}
}

func (s *Server) replyError(w http.ResponseWriter, err error) {
	s.replyJSON(w, http.StatusUnprocessableEntity, FailureOf(err))
}

// panel finds the panel that a request names. false: there is none, and the
// request has been answered.
func (s *Server) panel(w http.ResponseWriter, r *http.Request) (Panel, bool) {
	p, ok := s.panels[r.PathValue("name")]
	if !ok {
		s.refuse(w, http.StatusNotFound, "shell.nothing_here")
	}
	return p, ok
}

func ask(r *http.Request, values url.Values) Ask {
	return Ask{Ctx: r.Context(), Form: Form{values}}
}

// path answers with the steps as they stand.
func (s *Server) path(w http.ResponseWriter, _ *http.Request) {
	craft, steps := s.opts.Path()
	s.replyJSON(w, http.StatusOK, map[string]any{"craft": craft, "steps": steps})
}

func (s *Server) fragment(w http.ResponseWriter, r *http.Request) {
	p, ok := s.panel(w, r)
	if !ok {
		return
	}
	v, err := p.Data(ask(r, r.URL.Query()))
	name := p.Name
	if err != nil {
		v, name = Failure{Error: err.Error(), Hint: words.Hint(words.Page, err)}, "failed"
	}
	body, err := s.pages.fragment(name, v)
	if err != nil {
		s.replyError(w, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	s.reply(w, http.StatusOK, body)
}

func (s *Server) data(w http.ResponseWriter, r *http.Request) {
	p, ok := s.panel(w, r)
	if !ok {
		return
	}
	v, err := p.Data(ask(r, r.URL.Query()))
	if err != nil {
		s.replyError(w, err)
		return
	}
	s.replyJSON(w, http.StatusOK, v)
}

// part returns what a panel has under the name in the address. false: there is
// none, and the request has been answered.
func part[T any](s *Server, w http.ResponseWriter, r *http.Request, name string, of func(Panel) map[string]T) (T, bool) {
	var none T
	p, ok := s.panel(w, r)
	if !ok {
		return none, false
	}
	found, ok := of(p)[r.PathValue(name)]
	if !ok {
		s.refuse(w, http.StatusNotFound, "shell.nothing_here")
	}
	return found, ok
}

func (s *Server) file(w http.ResponseWriter, r *http.Request) {
	get, ok := part(s, w, r, "key", func(p Panel) map[string]func(Ask) (File, error) { return p.Files })
	if !ok {
		return
	}
	f, err := get(ask(r, r.URL.Query()))
	if err != nil {
		s.replyError(w, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.Type)
	// Pictures carry their own styles; nothing in them may run or reach out.
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; sandbox")
	if f.Download != "" {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": f.Download}))
	}
	s.reply(w, http.StatusOK, f.Body)
}

func (s *Server) do(w http.ResponseWriter, r *http.Request) {
	act, ok := part(s, w, r, "action", func(p Panel) map[string]func(Ask) (any, error) { return p.Actions })
	if !ok {
		return
	}
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "application/x-www-form-urlencoded" {
		s.refuse(w, http.StatusUnsupportedMediaType, "shell.no_form")
		return
	}
	if err := r.ParseForm(); err != nil {
		if _, big := errors.AsType[*http.MaxBytesError](err); big {
			s.refuse(w, http.StatusRequestEntityTooLarge, "shell.too_big")
			return
		}
		s.refuse(w, http.StatusBadRequest, "shell.no_form")
		return
	}
	v, err := act(ask(r, r.PostForm))
	if err != nil {
		s.replyError(w, err)
		return
	}
	s.replyJSON(w, http.StatusOK, v)
}
