package logbook_test

import (
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// smallDisk is a folder on a file system of 256 kB, 100 of them taken by a
// file called ballast.
func smallDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=256k"); err != nil {
		t.Skipf("a small disk needs the right to mount one (root on Linux): %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Errorf("unmount %s: %v", dir, err)
		}
	})
	if err := os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 100<<10), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}
