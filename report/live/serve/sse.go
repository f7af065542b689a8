package serve

import (
	"fmt"
	"net/http"
	"time"
)

// At this pace a page that shows a pulsed dwell, the module at 100 readings a
// second, takes 21 % of one processor in the browser's renderer (12 of it for
// script, style and layout, 5 for putting layers together, 2 for sound) and 5 %
// in its drawing process: headless Chromium at 1280 by 800 without a graphics
// card, 20 s of BenchmarkPageCost on two cores that others kept busy.
const (
	livePace  = 50 * time.Millisecond // between live values to one page
	keepAlive = 15 * time.Second      // between comments, so that nothing on the way closes the line
)

// events is the stream to one page, by the server-sent events of the WHATWG
// HTML standard, section 9.2.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	f, missed := s.opts.Stream.follow(r.Header.Get("Last-Event-ID"))
	if f == nil {
		s.refuse(w, http.StatusServiceUnavailable, "shell.crowded")
		return
	}
	defer s.opts.Stream.leave(f)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	out := &sseWriter{w: w, rc: http.NewResponseController(w), now: s.opts.Now, stream: s.opts.Stream, limit: s.limits.event}
	_ = out.rc.SetReadDeadline(time.Time{}) // the request has been read; the page may stay for hours
	out.hello(missed)
	out.serve(r, f, s.closing)
}

// sseWriter writes events until something fails.
type sseWriter struct {
	w      http.ResponseWriter
	rc     *http.ResponseController
	now    func() time.Time
	stream *Stream
	limit  time.Duration // a page that takes longer to take an event is let go
	err    error
}

func (o *sseWriter) printf(format string, args ...any) {
	if o.err != nil {
		return
	}
	if err := o.rc.SetWriteDeadline(time.Now().Add(o.limit)); err != nil {
		o.err = err
		return
	}
	_, o.err = fmt.Fprintf(o.w, format, args...)
}

func (o *sseWriter) flush() {
	if o.err == nil {
		o.err = o.rc.Flush()
	}
}

// hello tells the page which server this is and whether it missed events. Where
// it did, the id of hello is that of the newest event, so that a connection lost
// before the next event resumes after it.
func (o *sseWriter) hello(missed bool) {
	o.stream.mu.Lock()
	id := o.stream.id(o.stream.last)
	o.stream.mu.Unlock()
	o.printf("retry: 1000\n")
	if missed {
		o.printf("id: %s\n", id)
	}
	o.printf("event: hello\ndata: {\"epoch\":%q,\"missed\":%t,\"now_ms\":%d}\n\n", o.stream.epoch, missed, o.now().UnixMilli())
	o.flush()
}

func (o *sseWriter) send(m message) {
	if m.number > 0 {
		o.printf("id: %s\n", o.stream.id(m.number))
	}
	o.printf("event: %s\ndata: %s\n\n", m.topic, m.data)
}

// serve sends events at once and live values at their pace until the page goes
// or the server ends.
func (o *sseWriter) serve(r *http.Request, f *follower, closing <-chan struct{}) {
	alive := time.NewTicker(keepAlive)
	defer alive.Stop()
	pace := time.NewTimer(0)
	defer pace.Stop()
	ready, waiting := false, false
	for o.err == nil {
		select {
		case <-r.Context().Done():
			return
		case <-closing:
			o.printf("event: bye\ndata: {}\n\n")
			o.flush()
			return
		case <-alive.C:
			o.printf(": still here\n\n")
		case <-pace.C:
			ready = true
		case <-f.wake:
			waiting = true
		}
		for _, m := range o.stream.events(f) {
			o.send(m)
		}
		if ready && waiting {
			for _, m := range o.stream.values(f) {
				o.send(m)
			}
			ready, waiting = false, false
			pace.Reset(livePace)
		}
		o.flush()
	}
}
