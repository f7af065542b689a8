package main

import (
	"archive/zip"
	"bytes"
	"flag"
	"io"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"quietmount/report/filing"
)

var update = flag.Bool("update", false, "make the example folder again")

// example is the example craft folder.
const example = "../../testdata/example-sandpiper"

// kept says whether the example folder keeps a file: all but the pictures of
// the record, which the sheet holds anyway.
func kept(name string) bool {
	inRecord := strings.HasPrefix(name, filing.Folder+"/")
	return !strings.HasPrefix(path.Base(name), ".") && (!inRecord || slices.Contains([]string{".html", ".json", ".csv"}, path.Ext(name)) || path.Base(name) == "sheet.pdf")
}

// The example folder is what the small demonstration makes. Run with -update to make it again; look at the sheet
// before you commit it.
func TestExample(t *testing.T) {
	dir, _ := demonstrate(t)
	made := tree(t, dir)
	for name := range made {
		if !kept(name) {
			delete(made, name)
		}
	}
	if *update {
		rewrite(t, example, made)
	}
	committed := tree(t, example)
	total := 0
	for _, data := range committed {
		total += len(data)
	}
	if total > 3_000_000 {
		t.Errorf("the example folder has %d bytes", total)
	}
	if runtime.GOARCH != "amd64" {
		t.Skip("other processors round the last digit otherwise")
	}
	same(t, committed, made)
	if t.Failed() {
		t.Log("after a change of numbers or of the sheet: go test ./cmd/quietmount -run 'TestExample$' -update, and read the sheet")
	}
}

func same(t *testing.T, want, got map[string][]byte) {
	t.Helper()
	for name, data := range want {
		if !bytes.Equal(data, got[name]) {
			t.Errorf("%s differs: %d bytes, want %d", name, len(got[name]), len(data))
		}
	}
	for name := range got {
		if want[name] == nil {
			t.Errorf("%s is not among the committed files", name)
		}
	}
}

// copied writes a tree of files without their record's pictures.
func copied(t *testing.T, files map[string][]byte, dir string) {
	t.Helper()
	for name, data := range files {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

func rewrite(t *testing.T, dir string, files map[string][]byte) {
	t.Helper()
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	copied(t, files, dir)
}

// Everything that verify and record need is in the bundle: unpacked elsewhere,
// record makes the same record, byte for byte, and the same bundle. The sheet is
// about the chosen spot, whichever it is.
func TestBundle(t *testing.T) {
	if testing.Short() {
		t.Skip("two records")
	}
	dir := t.TempDir()
	copied(t, tree(t, example), filepath.Join(dir, "here"))
	copied(t, map[string][]byte{"notes.txt": []byte("mine"), ".lock": nil}, filepath.Join(dir, "here"))
	must(t, dir, "rank", "here", "--choose", "70,0,-20")
	if r := call(t, dir, "prove", "here"); r.status != 3 || !strings.Contains(r.out, "x 70, y 0 mm") {
		t.Errorf("prove is not about the chosen spot: exit status %d, %s%s", r.status, r.out, r.stderr)
	}
	must(t, dir, "record", "here", "--paper", "letter", "--bundle", "one.zip")
	one := tree(t, dir)["one.zip"]
	files := unzipped(t, one)
	for _, strange := range []string{"notes.txt", ".lock"} {
		if files[strange] != nil {
			t.Errorf("%s is in the bundle", strange)
		}
	}
	record := map[string][]byte{}
	for name, data := range files {
		if strings.HasPrefix(name, filing.Folder+"/") {
			record[strings.TrimPrefix(name, filing.Folder+"/")] = data
			delete(files, name)
		}
	}
	for _, want := range []string{"The chosen spot", "by hand, ", "Not proved:", "At another spot.", "Against a constraint", "keepout hatch"} {
		if !strings.Contains(string(record["sheet.html"]), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if sheet := string(record["sheet.html"]); !strings.Contains(sheet, "size: letter") || !strings.Contains(sheet, "quietmount record --paper letter") {
		t.Error("not for letter paper, or not stamped with it")
	}
	there := filepath.Join(dir, "elsewhere", "deep")
	copied(t, files, there)
	must(t, dir, "verify", filepath.Join("elsewhere", "deep"))
	must(t, dir, "record", "--paper=letter", "--bundle=two.zip", filepath.Join("elsewhere", "deep"))
	same(t, record, tree(t, filepath.Join(there, filing.Folder)))
	if !bytes.Equal(one, tree(t, dir)["two.zip"]) {
		t.Error("the bundle of what a bundle held differs from it")
	}
	if r := call(t, dir, "record", "here", "--bundle", "one.tar"); r.status != 2 {
		t.Errorf("a bundle named .tar: exit status %d", r.status)
	}
}

func unzipped(t *testing.T, data []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if out[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		r.Close()
	}
	return out
}

// Without a choice the proof is about the place where proofs were captured.
func TestProveWithoutAChoice(t *testing.T) {
	dir := t.TempDir()
	files := tree(t, example)
	delete(files, "choice.json")
	copied(t, files, dir)
	if r := call(t, dir, "prove"); r.status != 0 {
		t.Errorf("exit status %d, %s%s", r.status, r.out, r.stderr)
	}
}
