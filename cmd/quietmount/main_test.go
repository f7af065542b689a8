package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets the test binary be the program itself, under its own name, for
// the scripts and for every test that starts it as a process.
//
// Some tests here wait for a stream of some samples a second rather than for the
// processor, so that more of them run at once than there are processors.
func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", "16"); err != nil {
		panic(err)
	}
	testscript.Main(tidied{m}, map[string]func(){
		"quietmount": func() { os.Exit(realMain()) },
	})
}

// tidied are all tests; the demonstration that they share goes with them.
type tidied struct{ *testing.M }

func (m tidied) Run() int {
	defer func() { _ = os.RemoveAll(demonstrated.top) }()
	return m.M.Run()
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("testdata", "script"),
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"example":  scriptExample,
			"status":   scriptStatus,
			"jsonkeys": scriptJSONKeys,
			"mode":     scriptMode,
			"magnet":   scriptMagnet,
		},
	})
}

// scriptStatus runs the program and demands an exact exit status:
// status N quietmount ARGS...
func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N COMMAND ARGS...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if exit, ok := errors.AsType[*exec.ExitError](err); ok {
		got = exit.ProcessState.String()
		got = strings.TrimPrefix(got, "exit status ")
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != args[0] {
		ts.Fatalf("exit status %s, want %s", got, args[0])
	}
}

// scriptExample copies the example folder: example DIR.
func scriptExample(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: example DIR")
	}
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(example)))
}

// scriptMode demands that files exist with at least the given permissions:
// mode 0644 FILE...
func scriptMode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: mode 0644 FILE...")
	}
	for _, name := range args[1:] {
		info, err := os.Stat(ts.MkAbs(name))
		ts.Check(err)
		if info.Mode().Perm()&0o044 != 0o044 {
			ts.Fatalf("%s has mode %v: nobody else can read it", name, info.Mode())
		}
	}
}

// result is what one call of the program came to.
type result struct {
	status      int
	out, stderr string
}

// call runs the program in dir with nothing on its standard input.
func call(t *testing.T, dir string, args ...string) result {
	t.Helper()
	return callWith(t, dir, "", args...)
}

func callWith(t *testing.T, dir, in string, args ...string) result {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "quietmount", args...)
	cmd.Dir = dir
	cmd.Stdin = strings.NewReader(in)
	var out, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &stderr
	err := cmd.Run()
	if _, ok := errors.AsType[*exec.ExitError](err); err != nil && !ok {
		t.Fatalf("quietmount %q: %v", args, err)
	}
	return result{cmd.ProcessState.ExitCode(), out.String(), stderr.String()}
}

// must is call for a call that has to end with status 0.
func must(t *testing.T, dir string, args ...string) result {
	t.Helper()
	r := call(t, dir, args...)
	if r.status != 0 {
		t.Fatalf("quietmount %q: exit status %d\n%s%s", args, r.status, r.out, r.stderr)
	}
	return r
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}
