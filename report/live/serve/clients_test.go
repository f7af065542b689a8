package serve

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
)

// served is a test server on a real port.
func served(t *testing.T, change func(*Server)) (*Server, string) {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := testServer(t)
	s.opts.Hosts = []string{l.Addr().String()}
	s.guard = newGuard(s.opts.Hosts, s.opts.Token, time.Now)
	if change != nil {
		change(s)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, func() {}, l) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
	return s, l.Addr().String()
}

// follow opens the stream of events as a browser does.
func follow(ctx context.Context, client *http.Client, host, cookie, lastID string) (*http.Response, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+host+"/events", nil)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Cookie", cookie)
	if lastID != "" {
		r.Header.Set("Last-Event-ID", lastID)
	}
	return client.Do(r)
}

// TestTwoHundredClients lets two hundred pages follow: each gets every event in
// order and at last the newest value, an ordinary request is answered meanwhile,
// and nothing is left over.
func TestTwoHundredClients(t *testing.T) {
	const clients, events = 200, 50
	before := runtime.NumGoroutine()
	s, host := served(t, nil)
	cookie := cookieOf(s)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: -1}}
	var ready, done sync.WaitGroup
	ready.Add(clients)
	failed := make(chan error, clients)
	for range clients {
		done.Go(func() {
			failed <- func() error {
				resp, err := follow(ctx, client, host, cookie, "")
				if err != nil {
					ready.Done()
					return err
				}
				defer resp.Body.Close()
				return readAll(resp.Body, ready.Done, events)
			}()
		})
	}
	ready.Wait()
	for i := range events {
		s.opts.Stream.Show("test_value", i)
		s.opts.Stream.Say("test_event", i)
	}
	if w := request(s, "/path", nil); w.Code != http.StatusMisdirectedRequest { // of another port's name
		t.Errorf("%d", w.Code)
	}
	r, _ := http.NewRequest(http.MethodGet, "http://"+host+"/path", nil)
	r.Header.Set("Cookie", cookie)
	if resp, err := client.Do(r); err != nil || resp.StatusCode != http.StatusOK {
		t.Errorf("an ordinary request: %v %v", resp, err)
	} else {
		resp.Body.Close()
	}
	done.Wait()
	close(failed)
	for err := range failed {
		if err != nil {
			t.Fatal(err)
		}
	}
	cancel()
	client.CloseIdleConnections()
	for range 100 { // the server notices that they have gone
		if s.opts.Stream.Followers() == 0 && runtime.NumGoroutine() < before+20 {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("%d followers and %d goroutines are left, %d before", s.opts.Stream.Followers(), runtime.NumGoroutine(), before)
}

// readAll reads a stream until the last event and the newest value have come.
func readAll(body io.Reader, hello func(), events int) error {
	once := sync.OnceFunc(hello)
	defer once()
	next, value := 0, ""
	topic := ""
	lines := bufio.NewScanner(body)
	for lines.Scan() {
		line := lines.Text()
		switch {
		case strings.HasPrefix(line, "event: "):
			topic = line[7:]
			if topic == "hello" {
				once()
			}
		case strings.HasPrefix(line, "data: ") && topic == "test_event":
			if line[6:] != fmt.Sprint(next) {
				return fmt.Errorf("event %s, want %d", line[6:], next)
			}
			next++
		case strings.HasPrefix(line, "data: ") && topic == "test_value":
			value = line[6:]
		}
		if next == events && value == fmt.Sprint(events-1) {
			return nil
		}
	}
	return fmt.Errorf("the stream ended after %d events, value %s: %v", next, value, lines.Err())
}

func TestALostLineIsTakenUpAgain(t *testing.T) {
	s, host := served(t, nil)
	cookie := cookieOf(s)
	client := &http.Client{}
	s.opts.Stream.Say("test_event", 0)
	s.opts.Stream.Say("test_event", 1)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	resp, err := follow(ctx, client, host, cookie, s.opts.Stream.id(0))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.Header.Get("Content-Type") != "text/event-stream" || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%v", resp.Header)
	}
	s.opts.Stream.Show("test_value", 1)
	if err := readAll(resp.Body, func() {}, 2); err != nil {
		t.Error(err)
	}
}

// TestASlowClientIsLetGo sends a header bit by bit, and reads nothing of a
// stream: neither keeps a connection for good.
func TestASlowClientIsLetGo(t *testing.T) {
	s, host := served(t, func(s *Server) {
		s.limits.header, s.limits.read, s.limits.event = 200*time.Millisecond, 400*time.Millisecond, 200*time.Millisecond
	})
	cookie := cookieOf(s)
	half := dial(t, host)
	fmt.Fprintf(half, "GET / HTTP/1.1\r\nHost: %s\r\nX-Slow: ", host)
	body := dial(t, host)
	fmt.Fprintf(body, "POST /do/walk/begin HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\nstate=", host, cookie)
	for name, c := range map[string]net.Conn{"half a header": half, "half a body": body} {
		if _, err := io.Copy(io.Discard, c); err != nil && !errors.Is(err, net.ErrClosed) && !strings.Contains(err.Error(), "reset") {
			t.Errorf("%s: %v", name, err)
		}
	}
	deaf := dial(t, host)
	fmt.Fprintf(deaf, "GET /events HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n\r\n", host, cookie)
	await(t, func() bool { return s.opts.Stream.Followers() == 1 })
	big := strings.Repeat("x", 1<<16)
	await(t, func() bool { s.opts.Stream.Say("test_event", big); return s.opts.Stream.Followers() == 0 })
}

func dial(t *testing.T, host string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", host)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
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

func TestConnectionsAreBounded(t *testing.T) {
	s, host := served(t, func(s *Server) { s.limits.conns = 3 })
	cookie := cookieOf(s)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	for range 3 {
		resp, err := follow(ctx, client, host, cookie, "")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
	}
	await(t, func() bool { return s.opts.Stream.Followers() == 3 })
	answered := make(chan int, 1)
	go func() {
		r, _ := http.NewRequest(http.MethodGet, "http://"+host+"/path", nil)
		r.Header.Set("Cookie", cookie)
		if resp, err := client.Do(r); err == nil {
			resp.Body.Close()
			answered <- resp.StatusCode
		}
	}()
	select {
	case <-answered:
		t.Error("a fourth connection was served while three were open")
	case <-time.After(300 * time.Millisecond):
	}
	cancel()
	if code := <-answered; code != http.StatusOK {
		t.Errorf("it was answered with %d when there was room", code)
	}
}
