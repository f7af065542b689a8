package disk

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
)

// Writers at once leave one whole file of one of them, nothing beside it, and
// its permissions as they were.
func TestWriteWholeAtOnce(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "choice.json")
	if err := os.WriteFile(name, []byte("old"), 0o640); err != nil {
		t.Fatal(err)
	}
	var writers sync.WaitGroup
	for i := range 8 {
		writers.Go(func() {
			if err := Write(name, bytes.Repeat([]byte{byte('a' + i)}, 1<<16)); err != nil && runtime.GOOS != "windows" {
				t.Error(err)
			}
		})
	}
	writers.Wait()
	got, err := os.ReadFile(name)
	if err != nil || len(got) != 1<<16 || !bytes.Equal(got, bytes.Repeat(got[:1], 1<<16)) {
		t.Errorf("%d bytes, %v: not the whole of one writer", len(got), err)
	}
	info, err := os.Stat(name)
	if err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o640 {
		t.Errorf("permissions %v, %v: not those that were", info.Mode(), err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 1 {
		t.Errorf("%d files left, %v", len(left), err)
	}
}
