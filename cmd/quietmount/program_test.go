package main

import (
	"context"
	"io"
	"os"
	"os/exec"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// program is a running quietmount: a process, or a call inside a bubble of
// testing/synctest, where no time passes while somebody waits.
type program struct {
	in     io.WriteCloser
	out    io.Reader
	stderr *safeBuffer
	kill   func()
	end    func() (status int, err error)
}

// bubble is a test of its own inside a bubble of testing/synctest.
func bubble(t *testing.T, name string, f func(t *testing.T)) {
	t.Run(name, func(t *testing.T) {
		t.Parallel()
		synctest.Test(t, f)
	})
}

// launch runs the program inside the bubble of t. It opens the ports of the
// probes there.
func launch(t *testing.T, args ...string) *program {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	in, out, status := newStream(), newStream(), make(chan int, 1)
	p := &program{in: in, out: out, stderr: &safeBuffer{}, kill: cancel}
	p.end = sync.OnceValues(func() (int, error) { return <-status, nil })
	go func() {
		s := run(ctx, args, shell{In: in, Out: out, Err: p.stderr, Now: time.Now, Getenv: os.Getenv, OpenPort: openInvented})
		out.Close()
		status <- s
	}()
	t.Cleanup(func() { cancel(); in.Close(); _, _ = p.end() })
	return p
}

// launchProcess runs the program as a process.
func launchProcess(t *testing.T, args ...string) *program {
	t.Helper()
	cmd := exec.Command("quietmount", args...)
	p := &program{stderr: &safeBuffer{}, kill: func() { _ = cmd.Process.Kill() }}
	cmd.Stderr = p.stderr
	var err error
	if p.in, err = cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if p.out, err = cmd.StdoutPipe(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p.end = sync.OnceValues(func() (int, error) {
		err := cmd.Wait()
		return cmd.ProcessState.ExitCode(), err
	})
	t.Cleanup(func() { p.kill(); _, _ = p.end() })
	return p
}

// within is call inside the bubble of t.
func within(t *testing.T, args ...string) result {
	t.Helper()
	p := launch(t, args...)
	p.in.Close()
	out, err := io.ReadAll(p.out)
	if err != nil {
		t.Fatal(err)
	}
	status, _ := p.end()
	return result{status, string(out), p.stderr.String()}
}

// stream is a pipe that holds as much as is written into it, as a pipe of the
// system does for a while.
type stream struct {
	chunks chan []byte
	close  sync.Once
	rest   []byte
}

func newStream() *stream { return &stream{chunks: make(chan []byte, 1<<14)} }

func (s *stream) Write(b []byte) (int, error) {
	s.chunks <- append([]byte(nil), b...)
	return len(b), nil
}

func (s *stream) Read(b []byte) (int, error) {
	if len(s.rest) == 0 {
		chunk, ok := <-s.chunks
		if !ok {
			return 0, io.EOF
		}
		s.rest = chunk
	}
	n := copy(b, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

func (s *stream) Close() error {
	s.close.Do(func() { close(s.chunks) })
	return nil
}
