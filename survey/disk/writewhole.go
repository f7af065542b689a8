package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"

	"github.com/natefinch/atomic"
)

// WriteWhole writes a whole file or leaves what was there: beside it first,
// synced, then in its place, with the permissions of the file that was there,
// else those that the user's mask leaves. Of two writers at once the later
// wins. What is no ordinary file (a pipe, a device) is written straight into.
func WriteWhole(name string, data []byte) error {
	info, err := os.Stat(name)
	if err == nil && !info.Mode().IsRegular() {
		return os.WriteFile(name, data, 0o666)
	}
	f, err := createBeside(name)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil && info != nil {
		err = f.Chmod(info.Mode().Perm())
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = atomic.ReplaceFile(f.Name(), name)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", name, err), os.Remove(f.Name()))
	}
	return syncFolder(filepath.Dir(name))
}

// createBeside makes a new file in the folder of name.
func createBeside(name string) (*os.File, error) {
	const tries = 100
	for i := range tries {
		f, err := os.OpenFile(fmt.Sprintf("%s.%d-%d.tmp", name, os.Getpid(), i), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
	return nil, fmt.Errorf("write %s: too many half-written files beside it, named *.tmp: remove them", name)
}

// syncFolder puts a folder's entries on the disk. Windows has no such call
// and writes them by itself.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync the folder: %w", err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, syscall.ENOTSUP) {
		return fmt.Errorf("sync the folder: %w", err)
	}
	return nil
}
