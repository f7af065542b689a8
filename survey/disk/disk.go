// Package disk writes files so that at any moment, power cuts included, there is
// either the whole file or what was there before. In come a name and the content;
// out goes nil only when both file and folder are on the disk. Start at Write and
// Create.
package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
)

// ErrFull says that there was no room. Nothing that was written before is lost,
// and the same content may be tried again.
var ErrFull = errors.New("the disk is full")

// Write writes a whole file in place of the one that is there, with its
// permissions, else with those that the user's mask leaves. Of two writers at
// once the later wins. What is no ordinary file (a pipe, a device) is written
// straight into. The error wraps ErrFull where room is missing.
func Write(name string, data []byte) error {
	info, err := os.Stat(name)
	if err == nil && !info.Mode().IsRegular() {
		return os.WriteFile(name, data, 0o666)
	}
	if err := replace(name, data, info); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(name))
}

// Create writes a new file, and makes its folder where that is missing. A file
// that is there already is an error and left as it is; of two writers at once the
// later wins, so callers hold a lock. The error wraps ErrFull where room is missing.
func Create(name string, data []byte) error {
	dir := filepath.Dir(name)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("make the folder %s: %w", dir, err)
	}
	if _, err := os.Lstat(name); err == nil {
		return fmt.Errorf("%s is there already and is left as it is", name)
	}
	if err := replace(name, data, nil); err != nil {
		return err
	}
	return errors.Join(syncFolder(dir), syncFolder(filepath.Dir(dir)))
}

// replace writes data beside name, syncs it and renames it to name. It takes the
// permissions of like, if there is one.
func replace(name string, data []byte, like fs.FileInfo) error {
	f, err := createBeside(name)
	if err != nil {
		return placed(name, err)
	}
	_, err = f.Write(data)
	if err == nil && like != nil {
		err = f.Chmod(like.Mode().Perm())
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(placed(name, err), os.Remove(f.Name()))
	}
	return nil
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
	return nil, errors.New("too many half-written files beside it, named *.tmp: remove them")
}

// placed returns err with the name of the file, and wraps ErrFull if that is what it is.
func placed(name string, err error) error {
	if IsFull(err) {
		return fmt.Errorf("write %s: %w (%v); make room and try again", name, ErrFull, err)
	}
	return fmt.Errorf("write %s: %w", name, err)
}

// Windows' own numbers for a full disk; package syscall does not name them.
const (
	windowsHandleDiskFull = syscall.Errno(39)
	windowsDiskFull       = syscall.Errno(112)
)

// IsFull reports whether err, of a system call, is for want of room: on the disk, in
// the user's quota or for the size of one file.
func IsFull(err error) bool {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG) {
		return true
	}
	return runtime.GOOS == "windows" && (errors.Is(err, windowsDiskFull) || errors.Is(err, windowsHandleDiskFull))
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
