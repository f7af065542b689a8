package link

import (
	"errors"
	"path/filepath"
)

var errWaited = errors.New("waited long enough")

// realName follows links such as /dev/serial/by-id/...
func realName(name string) string {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		return real
	}
	return name
}
