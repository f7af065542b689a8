// Package serve lets browsers on this machine see one page and work on it: HTTP
// routes, who may come in, forms, texts, and the stream of what happens. It
// knows no panel, no craft and no run; package live brings those.
//
// In come panels (functions that answer requests), their templates, scripts,
// styles and words as a file system, and what is put into a Stream. Out go the
// shell of the page with the numbered path, the fragments of the panels, JSON,
// files, and server-sent events.
//
// A request goes through these files: server.go (listeners and limits),
// routes.go (Host header, session, origin; then the panel), guard.go (tokens and
// sessions), form.go (fields with their bounds), page.go (templates).
// Events go through stream.go (what is kept and who follows) and sse.go (the
// bytes to one page). Start reading at Server.routes.
package serve

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"net"
	"net/http"
	"sync"
	"time"
)

// Options are what a page is made of.
type Options struct {
	Hosts  []string         // exact Host headers to answer to, "127.0.0.1:8123"; the first names the cookie
	Now    func() time.Time // the clock
	Token  func() string    // unguessable words, each once: crypto/rand.Text
	Tool   string           // version, at the foot of the page
	Words  Words
	Stream *Stream

	Assets fs.FS   // NAME.html, NAME.js and NAME.css of the panels; may be missing where a panel needs none
	Panels []Panel // those of one step in the order in which they are shown
	// Path gives the craft's name, empty if unknown, and the steps of the path
	// as they stand.
	Path func() (craft string, steps []Step)
}

// Step is one step of the numbered path and its state.
type Step struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	State  string `json:"state"` // "done", "begun", "next" or "open"
	Detail string `json:"detail"`
}

// Server serves one page; it is an http.Handler too.
type Server struct {
	opts    Options
	guard   *guard
	pages   *pages
	panels  map[string]Panel
	handler http.Handler
	limits  limits
	closing chan struct{} // closed when the server ends, which ends the streams
}

// limits bound what a client can use up.
type limits struct {
	header time.Duration // for the header of a request
	read   time.Duration // for a whole request
	reply  time.Duration // for a page to take an answer
	event  time.Duration // for a page to take an event
	idle   time.Duration
	conns  int
}

// ReplyLimit is how long an answer may take to be worked out, and again to be
// read by the page.
const ReplyLimit = 30 * time.Second

const (
	maxHeader  = 16 << 10
	maxBody    = 64 << 10
	closeLimit = 2 * time.Second
)

// New prepares a page; it opens no port. The error names a template that is
// missing or does not parse.
func New(o Options) (*Server, error) {
	s := &Server{
		opts: o, guard: newGuard(o.Hosts, o.Token, o.Now), panels: map[string]Panel{}, closing: make(chan struct{}),
		limits: limits{
			header: 5 * time.Second, read: 15 * time.Second, reply: ReplyLimit, event: 10 * time.Second,
			idle: 2 * time.Minute, conns: 512,
		},
	}
	for _, p := range o.Panels {
		s.panels[p.Name] = p
	}
	var err error
	if s.pages, err = newPages(o); err != nil {
		return nil, fmt.Errorf("bench page: %w", err)
	}
	s.handler = s.routes()
	return s, nil
}

// Address returns an address that lets one browser in, once, while it is valid.
// host is one of Options.Hosts.
func (s *Server) Address(host string, valid time.Duration) string {
	return "http://" + host + "/enter?token=" + s.guard.offer(valid)
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Serve answers on the listeners until ctx ends. It then calls ending, whose
// events the pages still get, says goodbye to the pages, and returns.
func (s *Server) Serve(ctx context.Context, ending func(), listeners ...net.Listener) error {
	server := &http.Server{
		Handler: s, ReadHeaderTimeout: s.limits.header, ReadTimeout: s.limits.read,
		IdleTimeout: s.limits.idle, MaxHeaderBytes: maxHeader, ErrorLog: log.New(io.Discard, "", 0),
	}
	var wg sync.WaitGroup
	failed := make(chan error, len(listeners))
	room := make(chan struct{}, s.limits.conns)
	for _, l := range listeners {
		wg.Go(func() { failed <- server.Serve(&boundedListener{Listener: l, room: room}) })
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	ending()
	close(s.closing)
	late, done := context.WithTimeout(context.Background(), closeLimit)
	defer done()
	if server.Shutdown(late) != nil {
		_ = server.Close() // a client holds on to its connection: cut it
	}
	wg.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// boundedListener takes only so many connections at a time; the next one waits
// in the system's queue.
type boundedListener struct {
	net.Listener
	room chan struct{}
}

// Accept waits for room, then for a connection.
func (l *boundedListener) Accept() (net.Conn, error) {
	l.room <- struct{}{}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.room
		return nil, err
	}
	return &boundedConn{Conn: c, leave: sync.OnceFunc(func() { <-l.room })}, nil
}

type boundedConn struct {
	net.Conn
	leave func()
}

// Close makes room for the next connection.
func (c *boundedConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
