package logbook

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

// ErrLocked reports that another process is writing in the craft folder.
var ErrLocked = errors.New("another process is writing in this craft folder")

// The file that is locked, and the one that says by whom. They are two
// because Windows lets nobody read a locked file. Only the lock itself counts:
// its file stays when it is given back, lest two processes lock two files of
// that name; the holder's goes.
const (
	lockName   = ".lock"
	holderName = ".lock-holder"
)

// A Lock is the right to write in a craft folder. It ends with Unlock or with
// the process, however that ends.
type Lock struct {
	dir string
	f   *flock.Flock
}

// LockFolder takes the lock of the craft folder dir, which must exist. It does
// not wait: if another process holds the lock, the error wraps ErrLocked and
// names the holder and the time, if known. The time now is stored with the lock
// for that message.
func LockFolder(dir string, now time.Time) (*Lock, error) {
	f := flock.New(filepath.Join(dir, lockName), flock.SetPermissions(0o644))
	ok, err := f.TryLock()
	if err != nil {
		return nil, fmt.Errorf("lock the craft folder %s (it must exist, be writable and lie on a disk that knows locks): %w", dir, err)
	}
	if !ok {
		return nil, fmt.Errorf("%s: %w%s; stop it or let it finish, then try again", dir, ErrLocked, holder(dir))
	}
	// Who holds it is only a courtesy: a full disk must not keep us from reading.
	text := fmt.Sprintf("process %d since %s\n", os.Getpid(), now.Format(time.RFC3339))
	_ = os.WriteFile(filepath.Join(dir, holderName), []byte(text), 0o644)
	return &Lock{dir: dir, f: f}, nil
}

func holder(dir string) string {
	b, err := os.ReadFile(filepath.Join(dir, holderName))
	text := strings.TrimSpace(string(b))
	if err != nil || text == "" || len(text) > 200 {
		return ""
	}
	return " (" + text + ")"
}

// Unlock gives the lock back. A second call does nothing.
func (l *Lock) Unlock() error {
	if l.f.Locked() {
		_ = os.Remove(filepath.Join(l.dir, holderName)) // a courtesy, as it was
	}
	return l.f.Unlock()
}
