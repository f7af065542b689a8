package filing

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"quietmount/report/record"
)

// Files of an earlier record are named and not removed.
func TestStaleFilesAreNamed(t *testing.T) {
	dir := t.TempDir()
	files := []record.File{{Name: "sheet.html", Data: []byte("x")}}
	if err := Write(dir, files); err != nil {
		t.Fatal(err)
	}
	if stale, err := Stale(dir, files); err != nil || len(stale) > 0 {
		t.Errorf("stale %v, %v right after writing", stale, err)
	}
	old := filepath.Join(dir, Folder, "map-states-2.png")
	if err := os.WriteFile(old, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if stale, err := Stale(dir, files); err != nil || !slices.Equal(stale, []string{"map-states-2.png"}) {
		t.Errorf("stale %v, %v", stale, err)
	}
	if _, err := os.Stat(old); err != nil {
		t.Errorf("the older file is gone: %v", err)
	}
}
