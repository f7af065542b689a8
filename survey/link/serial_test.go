package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.bug.st/serial"
	"gonum.org/v1/gonum/spatial/r3"
)

func lines(vs []r3.Vec, end string) string {
	var b strings.Builder
	for _, v := range vs {
		fmt.Fprintf(&b, "%.3f,%.3f,%.3f%s", v.X, v.Y, v.Z, end)
	}
	return b.String()
}

// fakePort gives its text once and then nothing, or its error.
type fakePort struct {
	mu   sync.Mutex
	text string
	end  error
}

func (p *fakePort) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := copy(b, p.text)
	p.text = p.text[n:]
	if n == 0 {
		time.Sleep(time.Millisecond)
		return 0, p.end
	}
	return n, nil
}

func (p *fakePort) Close() error { return nil }

func open(t *testing.T, o PortOptions) Source {
	t.Helper()
	o.Now = time.Now
	src, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { src.Close() })
	return src
}

// until fetches items up to the first that ok accepts.
func until(t *testing.T, src Source, ok func(Item) bool) []Item {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var items []Item
	for {
		it, err := src.Next(ctx)
		if err != nil {
			t.Fatalf("after %d items: %v", len(items), err)
		}
		items = append(items, it)
		if ok(it) {
			return items
		}
	}
}

func isRemark(c string) func(Item) bool {
	return func(it Item) bool { return it.Kind == Remark && it.Says.Code == c }
}

func isKind(k ItemKind) func(Item) bool { return func(it Item) bool { return it.Kind == k } }

// readings accepts the n-th sample.
func readings(n int) func(Item) bool {
	return func(it Item) bool {
		if it.Kind == Reading {
			n--
		}
		return n <= 0
	}
}

// wire is a port in memory: what is printed into it waits until it is read.
type wire chan string

func (w wire) open(string, int) (io.ReadCloser, error) { return w, nil }

func (w wire) Close() error { return nil }

func (w wire) Read(b []byte) (int, error) {
	select {
	case text := <-w:
		return copy(b, text), nil
	case <-time.After(readWait):
		return 0, nil
	}
}

func TestSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := make(wire, 10)
		src := open(t, PortOptions{Name: "board", Open: w.open})
		it := until(t, src, isRemark("link.silence"))
		if v := it[len(it)-1].Says.Values; v["ever"] != false || v["for_s"].(float64) < 1 {
			t.Errorf("silence with %v", v)
		}
		w <- "x\n" + lines(vectors(100), "\n")
		until(t, src, readings(1))
		until(t, src, isRemark("link.silence")) // said again after it spoke
	})
}

// The bubble does not end while the reader of the port goes on.
func TestCloseEndsTheReader(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := open(t, PortOptions{Name: "board", Open: make(wire).open})
		waiting := make(chan error)
		go func() {
			for {
				if _, err := src.Next(context.Background()); err != nil {
					waiting <- err
					return
				}
			}
		}()
		if err := src.Close(); err != nil {
			t.Fatal(err)
		}
		if err := <-waiting; !errors.Is(err, ErrClosed) {
			t.Errorf("Next after Close: %v", err)
		}
	})
}

// A context that ends stops the link.
func TestContextEndsTheLink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		src, err := Open(ctx, PortOptions{Name: "board", Now: time.Now, Open: make(wire).open})
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		cancel()
		for {
			if _, err := src.Next(t.Context()); err != nil {
				if !errors.Is(err, ErrClosed) {
					t.Error(err)
				}
				return
			}
		}
	})
}

// Noise at every rate but one, as a wrong rate gives.
func TestProbeBaud(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		good, trials := 57600, 0
		o := PortOptions{Open: func(_ string, baud int) (rawPort, error) {
			trials++
			if baud == good {
				return &fakePort{text: lines(vectors(20), "\n")}, nil
			}
			return &fakePort{text: strings.Repeat("\x80\xfe\x00\x1f\n\xe0\x06", 30)}, nil
		}}
		got, err := ProbeBaud(t.Context(), o, 20*time.Millisecond)
		if err != nil || got != good || trials != 3 {
			t.Fatalf("%d after %d trials, %v", got, trials, err)
		}
		good, trials = 1, 0
		if got, err = ProbeBaud(t.Context(), o, 5*time.Millisecond); got != 0 || trials != len(bauds) || err != nil {
			t.Errorf("nothing to find: %d, %d trials, %v", got, trials, err)
		}
	})
}

// The board comes back under another name and is known by its USB identity;
// another board under the old name is left alone.
func TestReturnUnderAnotherName(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mine := PortInfo{Name: "/dev/fake0", USB: true, VID: "1234", PID: "5678", SerialNumber: "A"}
		var mu sync.Mutex
		present := []PortInfo{mine}
		opened := map[string]int{}
		o := PortOptions{Name: mine.Name, Now: time.Now, PollBack: time.Millisecond,
			ports: func() ([]PortInfo, error) { mu.Lock(); defer mu.Unlock(); return present, nil },
			Open: func(name string, _ int) (rawPort, error) {
				mu.Lock()
				defer mu.Unlock()
				opened[name]++
				p := &fakePort{text: "x\n" + lines(vectors(80), "\n")}
				if name == mine.Name {
					p.end = errors.New("device gone")
					moved := mine
					moved.Name = "/dev/fake1"
					present = []PortInfo{{Name: mine.Name, USB: true, VID: "9999", PID: "5678"}, moved}
				}
				return p, nil
			}}
		// identify sees the first list only if asked before the port is opened
		first := present
		calls := 0
		list := o.ports
		o.ports = func() ([]PortInfo, error) {
			if calls++; calls == 1 {
				return first, nil
			}
			return list()
		}
		src, err := Open(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		n := 0
		for n < 160 {
			it, err := src.Next(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if it.Kind == Reading {
				n++
			}
		}
		mu.Lock()
		defer mu.Unlock()
		if opened["/dev/fake0"] != 1 || opened["/dev/fake1"] != 1 {
			t.Errorf("opened %v", opened)
		}
	})
}

// Nobody fetches: the reader goes on, the newest are kept, changes of state
// are not lost, and the loss is counted and said.
func TestQueueOverflow(t *testing.T) {
	q := newQueue()
	q.put([]Item{{Kind: Lost}})
	const sent = 3 * queueSize
	for i := range sent {
		q.put([]Item{{Kind: Reading, TS: float64(i)}})
	}
	q.close(io.EOF)
	var kinds []ItemKind
	got, last := 0, Item{}
	for {
		it, err := q.next(t.Context())
		if err != nil {
			break
		}
		if it.Kind == Reading {
			got++
		} else {
			kinds = append(kinds, it.Kind)
		}
		last = it
	}
	if got+q.lost() != sent || q.lost() == 0 || last.TS != sent-1 {
		t.Errorf("%d fetched, %d lost of %d, last %g", got, q.lost(), sent, last.TS)
	}
	if len(kinds) != 2 || kinds[0] != Remark || kinds[1] != Lost {
		t.Errorf("kinds %v", kinds)
	}
}

func TestOpenErrorReasons(t *testing.T) {
	for _, c := range []struct {
		err  error
		want Reason
	}{{os.ErrPermission, Denied}, {os.ErrNotExist, NotFound}, {&serial.PortError{}, Busy}, {errors.New("odd"), Failed}} {
		e := openError("/dev/fake", c.err)
		if e.Reason != c.want || !errors.Is(e, c.err) {
			t.Errorf("%v: %s, want %s", c.err, e.Reason, c.want)
		}
	}
	if e := openError("/dev/fake", os.ErrPermission); runtime.GOOS == "linux" && e.Group == "" {
		t.Error("no group is named that may use the port")
	}
}

func TestReplay(t *testing.T) {
	vs := vectors(500)
	src, err := OpenReplay(strings.NewReader(lines(vs, "\n")), "test", ReplayOptions{RateHz: 25})
	if err != nil {
		t.Fatal(err)
	}
	items, err := drain(t.Context(), src)
	if !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
	got := samplesOf(items)
	near(t, got, vs, 0.002)
	if d := got[499].TS - got[0].TS; d < 19.959 || d > 19.961 {
		t.Errorf("499 steps at 25 a second took %g s", d)
	}
}

func drain(ctx context.Context, src Source) ([]Item, error) {
	var items []Item
	for {
		it, err := src.Next(ctx)
		if err != nil {
			return items, err
		}
		items = append(items, it)
	}
}

func TestReplayErrors(t *testing.T) {
	src, _ := OpenReplay(strings.NewReader(strings.Repeat("412,-96,-803\n", 100)), "counts.txt", ReplayOptions{})
	_, err := drain(t.Context(), src)
	if _, ok := errors.AsType[*UndecidedError](err); !ok || !strings.Contains(err.Error(), "counts.txt") {
		t.Errorf("undecided stream: %v", err)
	}
	broken := errors.New("disk on fire")
	src, _ = OpenReplay(io.MultiReader(strings.NewReader("1,2"), &failing{broken}), "log", ReplayOptions{})
	if _, err := drain(t.Context(), src); !errors.Is(err, broken) {
		t.Errorf("failing reader: %v", err)
	}
	if _, err := OpenReplay(new(bytes.Buffer), "log", ReplayOptions{RateHz: -1}); err == nil {
		t.Error("a negative rate was taken")
	}
	src, _ = OpenReplay(new(bytes.Buffer), "log", ReplayOptions{})
	src.Close()
	if _, err := src.Next(t.Context()); !errors.Is(err, ErrClosed) {
		t.Errorf("after Close: %v", err)
	}
}

type failing struct{ err error }

func (f *failing) Read([]byte) (int, error) { return 0, f.err }

func TestReplayRealtime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		text := lines(vectors(20), "\n")
		src, err := OpenReplay(strings.NewReader(text), "log", ReplayOptions{RateHz: 200, Realtime: true, Now: time.Now})
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		if _, err := drain(t.Context(), src); !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
		if d := time.Since(began).Round(time.Millisecond); d != 95*time.Millisecond { // 19 steps of 5 ms
			t.Errorf("played in %v", d)
		}
	})
}
