//go:build linux || darwin

package sim

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.bug.st/serial"
)

// The served terminal is opened by the serial library that the tool uses.
// Nothing here depends on how fast the machine is, only on the order.
func TestServeATerminal(t *testing.T) {
	name := filepath.Join(t.TempDir(), "module")
	ctx, cancel := context.WithCancel(t.Context())
	commands, opened := make(chan string), make(chan string, 4)
	var said bytes.Buffer
	w := plainWorld()
	w.Craft.Base.At.X = 9000
	b := NewBench(w, Probe{RateHz: 200}, Hand{}, BenchOptions{})
	done := make(chan error, 1)
	go func() {
		done <- Serve(ctx, b, ServeOptions{Link: name, Stations: line(3), Commands: commands, Say: &said, Opened: func(p string) { opened <- p }})
	}()
	if got := <-opened; got != name {
		t.Fatalf("opened %s, want %s", got, name)
	}
	port := open(t, name)
	want(t, port, "18.00,0.00,45.00\r\n") // the base is far away
	commands <- "load motor on"
	commands <- "at A"
	want(t, port, "\r\n")

	commands <- "unplug"
	commands <- "help" // taken only when the plug is out
	if _, err := os.Lstat(name); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("unplugged, the name is still there: %v", err)
	}
	if err := exhaust(port); err == nil {
		t.Error("unplugged, the port still reads")
	}
	commands <- "plug"
	<-opened
	want(t, open(t, name), "\r\n")
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	for _, word := range []string{"simulated module at", "motor at 20", "carrying the probe to A", "unplugged"} {
		if !strings.Contains(said.String(), word) {
			t.Errorf("did not say %q in:\n%s", word, said.String())
		}
	}
}

func open(t *testing.T, name string) serial.Port {
	t.Helper()
	port, err := serial.Open(name, &serial.Mode{BaudRate: 115200})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { port.Close() })
	return port
}

// want reads lines until one ends as wanted, for at most ten seconds.
func want(t *testing.T, port serial.Port, tail string) {
	t.Helper()
	if err := port.SetReadTimeout(10 * time.Second); err != nil {
		t.Fatal(err)
	}
	r := bufio.NewReader(port)
	for range 400 {
		s, err := r.ReadString('\n')
		if err != nil {
			t.Fatalf("no line %q: %v", tail, err)
		}
		if strings.HasSuffix(s, tail) {
			return
		}
	}
	t.Fatalf("no line %q among 400", tail)
}

// exhaust reads what is left until the port fails.
func exhaust(port serial.Port) error {
	buf := make([]byte, 4096)
	for range 1000 {
		if n, err := port.Read(buf); err != nil || n == 0 {
			return err
		}
	}
	return nil
}

// Nobody reads: the lines are dropped, and the bench's time goes on.
func TestServeWithoutAReader(t *testing.T) {
	port, err := openPTY()
	if err != nil {
		t.Fatal(err)
	}
	for range 300 { // some 15 kB, more than a terminal keeps
		if err := port.Send(bytes.Repeat([]byte("18.00,0.00,45.00\r\n"), 3)); err != nil {
			t.Fatal(err)
		}
	}
	if err := port.Close(); err != nil {
		t.Error(err)
	}
}

func TestServeRefusesAFileInTheWay(t *testing.T) {
	name := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(name, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	b := NewBench(plainWorld(), DefaultProbe(), Hand{}, BenchOptions{})
	if err := Serve(t.Context(), b, ServeOptions{Link: name}); err == nil || !strings.Contains(err.Error(), name) {
		t.Errorf("got %v, want an error naming the file", err)
	}
	if got, _ := os.ReadFile(name); string(got) != "mine" {
		t.Error("the file was touched")
	}
}

// Following, the probe goes from station to station by itself.
func TestServeFollowsTheWalk(t *testing.T) {
	s := &server{bench: NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{}), o: ServeOptions{Stations: line(3), FollowS: 4, Say: &bytes.Buffer{}}}
	for i, want := range []int{0, 1, 2, 0} {
		for s.bench.Now() < float64(4*i)+3.5 {
			if err := s.step(); err != nil {
				t.Fatal(err)
			}
		}
		near(t, "probe", s.bench.at, line(3)[want].At, 1e-9)
	}
}

// A hurried bench's time goes faster than the wall's, a plain one's never does.
func TestServeAtASpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, speed := range []float64{0, 20} {
			ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
			b := NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{})
			began := time.Now()
			err := Serve(ctx, b, ServeOptions{Speed: speed})
			cancel()
			wall := time.Since(began).Seconds()
			if err != nil {
				t.Fatal(err)
			}
			if speed == 0 && !(b.Now() > 0.9*wall && b.Now() <= wall) {
				t.Errorf("%.2f s went by in %.2f s", b.Now(), wall)
			}
			if speed > 0 && !(b.Now() > 0.9*speed*wall && b.Now() <= speed*wall) {
				t.Errorf("at a speed of %g: %.2f s went by in %.2f s", speed, b.Now(), wall)
			}
		}
	})
	for _, speed := range []float64{-1, fastest + 1, math.NaN(), math.Inf(1)} {
		if err := Serve(t.Context(), NewBench(plainWorld(), Probe{RateHz: 50}, Hand{}, BenchOptions{}), ServeOptions{Speed: speed}); err == nil {
			t.Errorf("a speed of %g is not refused", speed)
		}
	}
}
