package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/natefinch/atomic"
)

// writeFile writes a whole file or leaves what was there. What is no ordinary
// file (a pipe, a device) is written straight into.
func writeFile(name string, data []byte) error {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		return os.WriteFile(name, data, 0o666)
	}
	tmp, err := writeBeside(name, data)
	if err != nil {
		return err
	}
	if err := atomic.ReplaceFile(tmp, name); err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", name, err), os.Remove(tmp))
	}
	return nil
}

// writeBeside writes a new file in the folder of name, with the permissions
// that the user's mask leaves, and gives its name. Nothing stays on an error.
func writeBeside(name string, data []byte) (string, error) {
	f, err := createBeside(name)
	if err != nil {
		return "", err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return "", errors.Join(fmt.Errorf("write %s: %w", name, err), os.Remove(f.Name()))
	}
	return f.Name(), nil
}

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
