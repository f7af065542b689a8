package disk

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
)

// ErrDiskFull says that there was no room for a line. Nothing that was
// acknowledged before is lost, and the same line may be tried again.
var ErrDiskFull = errors.New("the disk is full")

// Windows' own numbers for a full disk; package syscall does not name them.
const (
	windowsHandleDiskFull = syscall.Errno(39)
	windowsDiskFull       = syscall.Errno(112)
)

func NoRoom(err error) bool {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG) {
		return true
	}
	return runtime.GOOS == "windows" && (errors.Is(err, windowsDiskFull) || errors.Is(err, windowsHandleDiskFull))
}

// CreateWholeIn makes dir/folder/name with the given content so that at any
// moment, power cuts included, there is either no such file or all of it. The
// caller holds the craft folder's lock.
func CreateWholeIn(dir, folder, name string, content []byte) (path string, err error) {
	inside := filepath.Join(dir, folder)
	if err := os.MkdirAll(inside, 0o755); err != nil {
		return "", fmt.Errorf("make the folder %s: %w", folder, err)
	}
	path = filepath.Join(inside, name)
	if _, err := os.Lstat(path); err == nil {
		return "", fmt.Errorf("%s is there already", path)
	}
	f, err := os.CreateTemp(inside, ".new-*")
	if err != nil {
		return "", roomError(path, err)
	}
	_, err = f.Write(content)
	err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return "", roomError(path, err)
	}
	return path, errors.Join(syncFolder(inside), syncFolder(dir))
}

func roomError(path string, err error) error {
	if NoRoom(err) {
		return fmt.Errorf("create %s: %w (%v); make room and try again", path, ErrDiskFull, err)
	}
	return fmt.Errorf("create %s: %w", path, err)
}
