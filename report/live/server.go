package live

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"
)

//go:embed assets
var assets embed.FS

// Server is the bench page.
type Server struct {
	opts    Options
	bench   *Bench
	guard   *guard
	pages   *pages
	panels  map[string]Panel
	order   []Panel
	handler http.Handler
	limits  limits
	closing chan struct{} // closed when the server ends, so that streams do
}

// limits bound what nobody outside shall be able to wear out.
type limits struct {
	header time.Duration // for the header of a request
	read   time.Duration // for a whole request
	reply  time.Duration // for a page to take an answer
	event  time.Duration // for a page to take an event
	idle   time.Duration
	conns  int
}

func defaultLimits() limits {
	return limits{
		header: 5 * time.Second, read: 15 * time.Second, reply: replyLimit, event: 10 * time.Second,
		idle: 2 * time.Minute, conns: 512,
	}
}

const (
	maxHeader  = 16 << 10
	maxBody    = 64 << 10
	closeLimit = 2 * time.Second
	replyLimit = 30 * time.Second
)

// New readies a bench page. It reads and writes nothing outside of the craft
// folder.
func New(o Options) (*Server, error) {
	if o.Now == nil || o.Token == nil || o.Standing == nil || o.Ports == nil || o.Open == nil || len(o.Hosts) == 0 {
		return nil, errors.New("bench page: clock, tokens, standing, ports and hosts are all needed")
	}
	w, err := readWords(assets)
	if err != nil {
		return nil, fmt.Errorf("bench page: %w", err)
	}
	s := &Server{
		opts: o, limits: defaultLimits(), guard: newGuard(o.Hosts, o.Token, o.Now),
		panels: map[string]Panel{}, order: panels(), closing: make(chan struct{}),
	}
	s.bench = &Bench{opts: o, words: w, stream: newStream(o.Token()[:8]), ctx: context.Background()}
	s.bench.probe = &Probe{bench: s.bench}
	s.bench.walker = newWalker(s.bench)
	for _, p := range s.order {
		s.panels[p.Name] = p
	}
	if s.pages, err = newPages(w, s.order); err != nil {
		return nil, fmt.Errorf("bench page: %w", err)
	}
	s.handler = s.routes()
	return s, nil
}

// Address is where a browser gets in, once, until the time has run out. host is
// one of Options.Hosts.
func (s *Server) Address(host string, valid time.Duration) string {
	return "http://" + host + "/enter?token=" + s.guard.offer(valid)
}

// Bench is what the panels share.
func (s *Server) Bench() *Bench { return s.bench }

// Serve answers on the listeners until ctx ends. A run that is under way is then
// stopped as the operator's stop does, and can be resumed.
func (s *Server) Serve(ctx context.Context, listeners ...net.Listener) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s.bench.ctx = ctx
	server := &http.Server{
		Handler: s.handler, ReadHeaderTimeout: s.limits.header, ReadTimeout: s.limits.read,
		IdleTimeout: s.limits.idle, MaxHeaderBytes: maxHeader, ErrorLog: discardLog(),
	}
	var wg sync.WaitGroup
	wg.Go(func() { s.bench.watch(ctx) })
	wg.Go(s.bench.probe.openNamed)
	for _, p := range s.order {
		if p.Start != nil {
			wg.Go(func() { p.Start(ctx, s.bench) })
		}
	}
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
	s.shut(server, cancel)
	wg.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// shut ends the run under way, then the streams, then the rest.
func (s *Server) shut(server *http.Server, cancel context.CancelFunc) {
	s.bench.walker.close()
	cancel()
	s.bench.probe.Disconnect()
	close(s.closing)
	late, done := context.WithTimeout(context.Background(), closeLimit)
	defer done()
	if server.Shutdown(late) != nil {
		_ = server.Close() // somebody holds on: they are let go
	}
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

// Close makes room for another.
func (c *boundedConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
