package logbook_test

import (
	"bufio"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/csvfile"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

// runChildEnv makes the test binary a writer in the folder it names.
const runChildEnv = "LOGBOOK_TEST_FOLDER"

// TestRunWriterChild is the writing process of the tests below: it appends
// captures until it is killed and prints the number of each one after Append
// has returned.
func TestRunWriterChild(t *testing.T) {
	dir := os.Getenv(runChildEnv)
	if dir == "" {
		t.Skip("only as the child of another test")
	}
	w, _, err := logbook.ResumeRun(dir, 0, survey.StateUnpowered, logbooktest.Start)
	if errors.Is(err, logbook.ErrNoRun) {
		w, err = logbook.CreateRun(dir, logbooktest.Header(survey.StateUnpowered))
	}
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	rng := rand.New(rand.NewPCG(11, 0))
	fmt.Println("open")
	for n := w.Next(); ; n++ {
		if err := w.Append(logbooktest.Capture(rng, n, 40, survey.HasAcc)); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Println(n)
	}
}

func runChild(t *testing.T, dir string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestRunWriterChild$", "-test.v=false")
	cmd.Env = append(os.Environ(), runChildEnv+"="+dir)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd, bufio.NewScanner(out)
}

// TestKill kills a writer at random moments, many times over one run: every
// number it has printed is read back, and the next one takes the lock and goes on.
func TestKill(t *testing.T) {
	const seed = 4242
	rng := rand.New(rand.NewPCG(seed, 0))
	rounds := simtest.Trials(8, 25)
	dir := logbooktest.Folder(t)
	acknowledged, torn := 0, 0
	for round := range rounds {
		cmd, lines := runChild(t, dir)
		kill := time.Duration(rng.Float64() * float64(40*time.Millisecond))
		var timer *time.Timer
		for lines.Scan() {
			if lines.Text() == "open" {
				timer = time.AfterFunc(kill, func() { cmd.Process.Kill() })
				continue
			}
			n, err := strconv.Atoi(lines.Text())
			if err != nil {
				t.Fatalf("the child said %q", lines.Text())
			}
			acknowledged = max(acknowledged, n)
		}
		if timer == nil {
			t.Fatal("the child did not open the run")
		}
		_ = cmd.Wait()
		runs, err := logbook.LoadRuns(t.Context(), dir)
		if err != nil {
			t.Fatalf("seed %d, round %d: %v", seed, round, err)
		}
		if len(runs) != 1 {
			t.Fatalf("seed %d, round %d: %d runs", seed, round, len(runs))
		}
		have := map[int]int{}
		for _, c := range runs[0].Captures {
			have[c.Number] = len(c.Samples)
		}
		for n := range acknowledged {
			if have[n+1] != 40 {
				t.Fatalf("seed %d, round %d: capture %d was acknowledged and is gone (%d samples)", seed, round, n+1, have[n+1])
			}
		}
		torn = len(runs[0].Warnings)
	}
	if acknowledged < rounds {
		t.Errorf("only %d captures over %d rounds: the test hardly tests", acknowledged, rounds)
	}
	t.Logf("%d kills, %d captures acknowledged, %d torn lines", rounds, acknowledged, torn)
}

// TestTwoWriters: the second writer, in another process or in this one, is
// told so, and can write once the first is dead.
func TestTwoWriters(t *testing.T) {
	dir := logbooktest.Folder(t)
	cmd, lines := runChild(t, dir)
	if !lines.Scan() || lines.Text() != "open" {
		t.Fatalf("the child said %q", lines.Text())
	}
	_, err := logbook.CreateRun(dir, logbooktest.Header("rudder"))
	if !errors.Is(err, logbook.ErrLocked) {
		t.Fatalf("beside another process: %v", err)
	}
	if want := fmt.Sprintf("process %d since 2026-06-01T09:30:00+02:00", cmd.Process.Pid); !containsAll(err.Error(), want, dir, "try again") {
		t.Errorf("the message does not say who: %v", err)
	}
	if _, _, err := logbook.ResumeRun(dir, 0, "", logbooktest.Start); !errors.Is(err, logbook.ErrLocked) {
		t.Errorf("resume beside another process: %v", err)
	}
	if _, err := (&csvfile.Imported{Header: logbooktest.Header("rudder")}).Save(dir, nil); !errors.Is(err, logbook.ErrLocked) {
		t.Errorf("import beside another process: %v", err)
	}
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	w := logbooktest.Create(t, dir, logbooktest.Header("rudder"))
	if _, err := logbook.LockFolder(dir, logbooktest.Start); !errors.Is(err, logbook.ErrLocked) {
		t.Errorf("beside this process: %v", err)
	}
	logbooktest.Close(t, w)
	lock, err := logbook.LockFolder(dir, logbooktest.Start)
	if err != nil {
		t.Fatal(err)
	}
	if err := lock.Unlock(); err != nil {
		t.Error(err)
	}
	if _, err := logbook.LockFolder(dir+"-nowhere", logbooktest.Start); err == nil || errors.Is(err, logbook.ErrLocked) {
		t.Errorf("a folder that is not there: %v", err)
	}
}
