package main

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"quietmount/magmath/simtest"
)

// tree reads every file under a folder.
func tree(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		out[filepath.ToSlash(rel)] = data
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// demonstrated is a small demonstration that the tests share: they copy what
// they change.
var demonstrated struct {
	once     sync.Once
	top, dir string // the folder's name has a space in it
	result
}

// demonstrate makes the shared demonstration.
func demonstrate(t *testing.T) (dir string, said string) {
	t.Helper()
	d := &demonstrated
	d.once.Do(func() {
		var err error
		if d.top, err = os.MkdirTemp("", "quietmount-demo"); err == nil {
			d.dir = filepath.Join(d.top, "one folder", "x")
			d.result = call(t, d.top, "demo", "--small", "--out", "one folder/x")
		}
	})
	if d.dir == "" || d.status != 0 {
		t.Fatalf("no demonstration: exit status %d\n%s%s", d.status, d.out, d.stderr)
	}
	return d.dir, d.out
}

// A demonstration leaves a folder to go on in; a folder that holds something is
// left as it is; another seed gives another run.
func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole survey")
	}
	if simtest.Whole() {
		t.Run("twice", checkDemoRepeats)
	}
	made, said := demonstrate(t)
	top := t.TempDir()
	dir := filepath.Join(top, "one folder", "x")
	files := tree(t, made)
	copied(t, files, dir)
	for _, name := range []string{"craft.toml", "runs/0001-background.jsonl", "record/sheet.html", "record/map-shifting.png"} {
		if len(files[name]) == 0 {
			t.Errorf("%s is missing", name)
		}
	}
	refused := call(t, top, "demo", "--out", "one folder/x")
	if refused.status != 1 || !strings.Contains(refused.stderr, "not empty") {
		t.Errorf("a folder that holds something: exit status %d, %s", refused.status, refused.stderr)
	}
	for name, data := range tree(t, dir) {
		if !bytes.Equal(data, files[name]) {
			t.Errorf("%s was touched", name)
		}
	}
	checkDemoFolder(t, dir, said)
	if bytes.Equal(firstRun(t, top, "6"), files["runs/0001-background.jsonl"]) {
		t.Error("seeds 1 and 6 give the same run")
	}
}

// checkDemoRepeats makes the whole demonstration twice: the same seed gives the
// same bytes. TestExample holds the small one against what is committed.
func checkDemoRepeats(t *testing.T) {
	dir := t.TempDir()
	var one, two result
	t.Run("both", func(t *testing.T) {
		side := func(name string, into *result, args ...string) {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				*into = must(t, dir, args...)
			})
		}
		side("one", &one, "demo", "--out", "one folder/x", "--seed", "5")
		side("two", &two, "demo", "--seed=5", "--out=two folders/x")
	})
	if t.Failed() {
		return
	}
	a, b := tree(t, filepath.Join(dir, "one folder")), tree(t, filepath.Join(dir, "two folders"))
	if len(a) != len(b) {
		t.Errorf("%d files, then %d", len(a), len(b))
	}
	for name, data := range a {
		if !bytes.Equal(data, b[name]) {
			t.Errorf("%s differs between two demonstrations of one seed", name)
		}
	}
	if strings.ReplaceAll(one.out, "one folder", "F") != strings.ReplaceAll(two.out, "two folders", "F") {
		t.Error("what is printed differs")
	}
	var m mapJSON
	if ask(t, filepath.Join(dir, "one folder", "x"), &m, "map", "--runs", "1,2,3,4"); len(m.Stations) < 20 {
		t.Errorf("%d stations", len(m.Stations))
	}
}

// firstRun is the first run of a demonstration that is stopped after it.
func firstRun(t *testing.T, dir, seed string) []byte {
	t.Helper()
	cmd := exec.Command("quietmount", "demo", "--small", "--out", "stopped", "--seed", seed)
	cmd.Dir = dir
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	runs := filepath.Join(dir, "stopped", "runs")
	for range 1200 {
		time.Sleep(50 * time.Millisecond)
		if _, err := os.Stat(filepath.Join(runs, "0002-unpowered.jsonl")); err == nil {
			break
		}
	}
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	data, err := os.ReadFile(filepath.Join(runs, "0001-background.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// checkDemoFolder goes on in a demonstration's folder as a reader of its last
// lines would.
func checkDemoFolder(t *testing.T, dir, said string) {
	t.Helper()
	must(t, dir, "verify")
	must(t, dir)
	must(t, dir, "field")
	var m mapJSON
	ask(t, dir, &m, "map", "--runs", "1,2,3,4")
	if len(m.Stations) < mostSmall || m.Basis != "vector" {
		t.Errorf("basis %q, %d stations", m.Basis, len(m.Stations))
	}
	var r rankJSON
	if status := ask(t, dir, &r, "rank"); status != 0 || len(r.Spots) == 0 {
		t.Errorf("exit status %d, %d spots", status, len(r.Spots))
	}
	if !strings.Contains(said, "'one folder/x'") && !strings.Contains(said, `"one folder/x"`) {
		t.Errorf("the commands to copy do not quote a folder with a space:\n%s", said)
	}
	must(t, dir, "map", "--out", "m.png") // TestAnswerKeys draws the other formats
	if data, err := os.ReadFile(filepath.Join(dir, "m.png")); err != nil || len(data) < 1000 {
		t.Errorf("%d bytes, %v", len(data), err)
	}
}
